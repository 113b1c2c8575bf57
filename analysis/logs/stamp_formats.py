"""Which format do the stamps of a file have? Found from samples, proven by the file, or told."""

import re
from dataclasses import replace

from analysis.errors import LogError
from analysis.logs.stamps import CLOCK, StampFormat
from analysis.units import SECONDS_PER_DAY

_DAY = int(SECONDS_PER_DAY)
_ZONE = r"(?:\s*(?P<z>Z|z|UTC|[+-]\d{2}(?::?\d{2})?))?"
_BETWEEN = r"(?:T|,?\s+)"


def _format(says: str, day: str, *, aware: bool = False) -> StampFormat:
    zone = _ZONE if aware else ""
    pattern = re.compile(f"{day}(?:{_BETWEEN}{CLOCK}{zone})?", re.ASCII)
    return StampFormat(says=says, pattern=pattern, aware=aware, by_parser=aware)


_YMD = r"(?P<Y>\d{4})%s(?P<m>\d{1,2})%s(?P<d>\d{1,2})"
_DMY = r"(?P<d>\d{1,2})%s(?P<m>\d{1,2})%s(?P<Y>\d{4})"
_MDY = r"(?P<m>\d{1,2})%s(?P<d>\d{1,2})%s(?P<Y>\d{4})"
_COMPACT = r"(?P<Y>\d{4})(?P<m>\d{2})(?P<d>\d{2})"

# What the columnar parser takes for a stamp with zone.
_PARSER_ISO = re.compile(
    r"\d{4}-\d{2}-\d{2}[ T]\d{2}:\d{2}(?::\d{2}(?:\.\d{1,6})?)?(?:Z|[+-]\d{2}(?::?\d{2})?)"
)
ISO_AWARE = _format("ISO 8601 with its offset from UTC", _YMD % ("-", "-"), aware=True)
_PLAIN = (
    _format("ISO 8601 without zone", _YMD % ("-", "-")),
    _format("year/month/day", _YMD % ("/", "/")),
    _format("year.month.day", _YMD % (r"\.", r"\.")),
    _format("day.month.year", _DMY % (r"\.", r"\.")),
    StampFormat(
        says="compact ISO 8601 without zone",
        pattern=re.compile(
            _COMPACT + r"[T ]?(?P<H>\d{2}):?(?P<M>\d{2})(?::?(?P<S>\d{2}))?", re.ASCII
        ),
    ),
)
_COMPACT_AWARE = StampFormat(
    says="compact ISO 8601 with its offset from UTC",
    pattern=re.compile(
        _COMPACT + r"[T ]?(?P<H>\d{2}):?(?P<M>\d{2})(?::?(?P<S>\d{2}))?" + _ZONE, re.ASCII
    ),
    aware=True,
)
_UNSURE = (
    (
        _format("day/month/year", _DMY % ("/", "/")),
        _format("month/day/year", _MDY % ("/", "/")),
    ),
    (
        _format("day-month-year", _DMY % ("-", "-")),
        _format("month-day-year", _MDY % ("-", "-")),
    ),
)


def format_of(samples: list[str]) -> StampFormat | tuple[StampFormat, StampFormat] | None:
    """Find the format that most of the sample stamps have.

    Parameters
    ----------
    samples : list of str
        Stamps from the head of a file.

    Returns
    -------
    StampFormat, pair or None
        A pair (day first, month first) where only more of the file can tell; None where the
        samples are no stamps.
    """
    samples = [sample for sample in samples if sample.strip()]
    if not samples:
        return None
    least = max(1, (len(samples) + 1) // 2)
    for one in (ISO_AWARE, *_PLAIN, _COMPACT_AWARE):
        if sum(one.one(sample) is not None for sample in samples) >= least:
            strict = all(_PARSER_ISO.fullmatch(sample.strip()) for sample in samples)
            return replace(one, by_parser=one.by_parser and strict)
    for pair in _UNSURE:
        read = sum(
            pair[0].one(sample) is not None or pair[1].one(sample) is not None for sample in samples
        )
        if read >= least:
            return pair
    return None


def looks_like_time_of_day(samples: list[str]) -> bool:
    """Tell whether the samples are clock times without a date."""
    clock = re.compile(CLOCK, re.ASCII)
    samples = [sample for sample in samples if sample.strip()]
    return bool(samples) and all(clock.fullmatch(sample.strip()) for sample in samples)


def proven(pair: tuple[StampFormat, StampFormat], days: list[str]) -> StampFormat | None:
    """Tell day first from month first by all dates of a file.

    A number above 12 proves it. So do two or more dates that are days in a row when read one way
    and not when read the other.

    Parameters
    ----------
    pair : tuple of StampFormat
        Day first, month first.
    days : list of str
        The date parts of all stamps, each once.

    Returns
    -------
    StampFormat or None
        None where nothing proves either.
    """
    read = [[one.one(f"{day} 00:00") for day in days] for one in pair]
    count = [sum(value is not None for value in values) for values in read]
    if count[0] != count[1]:
        return pair[0] if count[0] > count[1] else pair[1]
    in_a_row = []
    for values in read:
        seen = {value for value in values if value is not None}
        in_a_row.append(len(seen) >= 2 and max(seen) - min(seen) == (len(seen) - 1) * _DAY)
    if in_a_row[0] != in_a_row[1]:
        return pair[0] if in_a_row[0] else pair[1]
    return None


_DIRECTIVES = {
    "Y": r"(?P<Y>\d{4})",
    "y": r"(?P<y>\d{2})",
    "m": r"(?P<m>\d{1,2})",
    "d": r"(?P<d>\d{1,2})",
    "H": r"(?P<H>\d{1,2})",
    "I": r"(?P<H>\d{1,2})",
    "M": r"(?P<M>\d{1,2})",
    "S": r"(?P<S>\d{1,2})",
    "f": r"(?P<f>\d{1,9})",
    "p": r"(?P<p>[AaPp])[Mm]",
    "z": r"(?P<z>Z|[+-]\d{2}:?\d{2})",
    "T": r"(?P<H>\d{1,2}):(?P<M>\d{1,2}):(?P<S>\d{1,2})",
    "F": r"(?P<Y>\d{4})-(?P<m>\d{1,2})-(?P<d>\d{1,2})",
    "%": "%",
}


def format_told(told: str) -> StampFormat:
    """Make the format that the site file or map tells with % signs.

    Parameters
    ----------
    told : str
        A format as C's strptime knows it, such as `%d.%m.%Y %H:%M`.

    Returns
    -------
    StampFormat
        The format.

    Raises
    ------
    LogError
        It gives no day.
    """
    parts = re.split(r"%(.)", told)
    says = f'as told, "{told}"'
    aware = "z" in parts[1::2]
    if all(sign in _DIRECTIVES for sign in parts[1::2]):
        text = "".join(
            _DIRECTIVES[part] if place % 2 else re.sub(r"(?:\\ )+", r"\\s+", re.escape(part))
            for place, part in enumerate(parts)
        )
        try:
            pattern = re.compile(text, re.ASCII)
        except re.error:  # a directive stands twice
            pattern = None
        if pattern is not None and {"m", "d"} <= pattern.groupindex.keys():
            return StampFormat(says=says, pattern=pattern, aware=aware)
    if not any(sign in parts[1::2] for sign in "djDcx"):
        raise LogError(f'time_format "{told}" gives no day; write one like "%d.%m.%Y %H:%M"')
    return StampFormat(says=says, pattern=re.compile("(?!)"), aware=aware, told=told)
