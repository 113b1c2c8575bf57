"""Which format do the stamps of a file have? Found from samples, proven by the file, or told."""

import re
from dataclasses import replace
from functools import cache

from analysis.errors import LogError
from analysis.logs.stamps import CLOCK, ZONE_HOURS, StampFormat
from analysis.units import SECONDS_PER_DAY

_DAY = int(SECONDS_PER_DAY)
_NAMED_ZONES = "|".join(sorted(ZONE_HOURS, key=len, reverse=True))
_ZONE = rf"\s*(?P<z>Z|z|(?:UTC|GMT)?[+-]\d{{2}}(?::?\d{{2}})?|{_NAMED_ZONES})"
_BETWEEN = r"(?:T|,?\s+|_|\s+-\s+)"
_WEEKDAY = r"(?:[^\W\d_]{2,10}\.?,?\s+)?"


def _format(says: str, day: str, *, aware: bool = False) -> StampFormat:
    clock = f"{_BETWEEN}{CLOCK}{_ZONE}" if aware else f"(?:{_BETWEEN}{CLOCK})?"
    pattern = re.compile(f"{_WEEKDAY}{day}{clock}", re.ASCII if "b>" not in day else 0)
    return StampFormat(says=says, pattern=pattern, aware=aware, by_parser=aware)


_Y, _SHORT_Y, _M, _D = r"(?P<Y>\d{4})", r"(?P<y>\d{2})", r"(?P<m>\d{1,2})", r"(?P<d>\d{1,2})"
_B = r"(?P<b>[^\W\d_]{3,10}\.?)"
_COMPACT = r"(?P<Y>\d{4})(?P<m>\d{2})(?P<d>\d{2})[T _-]?(?P<H>\d{2}):?(?P<M>\d{2})"
_COMPACT += r"(?::?(?P<S>\d{2}))?"

# What the columnar parser takes for a stamp with zone.
_PARSER_ISO = re.compile(
    r"\d{4}-\d{2}-\d{2}[ T]\d{2}:\d{2}(?::\d{2}(?:\.\d{1,6})?)?(?:Z|[+-]\d{2}(?::?\d{2})?)"
)
# Says, and the day: orders of which a file may leave several open stand together.
_DAYS: tuple[tuple[tuple[str, str], ...], ...] = (
    (("ISO 8601", f"{_Y}-{_M}-{_D}"),),
    (("year/month/day", f"{_Y}/{_M}/{_D}"),),
    (("year.month.day", rf"{_Y}\.{_M}\.{_D}"),),
    (("day.month.year", rf"{_D}\.{_M}\.{_Y}"),),
    (("day month in letters year", rf"{_D}[. /-]+{_B}[ /,-]+{_Y}"),),
    (("month in letters day, year", rf"{_B}[ /-]+{_D}[ /,-]+{_Y}"),),
    (("day month in letters short year", rf"{_D}[. /-]+{_B}[ /,-]+{_SHORT_Y}"),),
    (("day/month/year", f"{_D}/{_M}/{_Y}"), ("month/day/year", f"{_M}/{_D}/{_Y}")),
    (("day-month-year", f"{_D}-{_M}-{_Y}"), ("month-day-year", f"{_M}-{_D}-{_Y}")),
    (
        ("day.month.short year", rf"{_D}\.{_M}\.{_SHORT_Y}"),
        ("short year.month.day", rf"{_SHORT_Y}\.{_M}\.{_D}"),
    ),
    (
        ("day/month/short year", f"{_D}/{_M}/{_SHORT_Y}"),
        ("month/day/short year", f"{_M}/{_D}/{_SHORT_Y}"),
        ("short year/month/day", f"{_SHORT_Y}/{_M}/{_D}"),
    ),
    (
        ("day-month-short year", f"{_D}-{_M}-{_SHORT_Y}"),
        ("month-day-short year", f"{_M}-{_D}-{_SHORT_Y}"),
        ("short year-month-day", f"{_SHORT_Y}-{_M}-{_D}"),
    ),
)
ISO_AWARE = _format("ISO 8601 with its offset from UTC", _DAYS[0][0][1], aware=True)
_FAMILIES: tuple[tuple[StampFormat, ...], ...] = (
    (ISO_AWARE,),
    *(
        tuple(_format(f"{says} without zone" if n == 0 else says, day) for says, day in family)
        for n, family in enumerate(_DAYS)
    ),
    *(
        tuple(_format(f"{says} with its zone", day, aware=True) for says, day in family)
        for family in _DAYS[1:]
    ),
    (StampFormat(says="compact ISO 8601 without zone", pattern=re.compile(_COMPACT, re.ASCII)),),
    (
        StampFormat(
            says="compact ISO 8601 with its offset from UTC",
            pattern=re.compile(_COMPACT + _ZONE, re.ASCII),
            aware=True,
        ),
    ),
    # Bare compact days last: many numbers look like one.
    (
        StampFormat(
            says="compact ISO 8601 without zone",
            pattern=re.compile(r"(?P<Y>(?:19|20)\d{2})(?P<m>\d{2})(?P<d>\d{2})", re.ASCII),
        ),
    ),
)


# The colon stays possible, so that a date alone can be tried with one.
_BARE_CLOCK = "hours and minutes without a colon", r"(?P<H>\d{0,2}?):?(?P<M>\d{1,2})"
# As people write it: `14h05`, `14.05`, `14:05 Uhr`.
_SPOKEN = (
    r"(?P<H>\d{1,2})[h.:](?P<M>\d{2})(?:(?:min|[m.:])(?P<S>\d{2})s?)?(?:\s?(?:h|hrs|Uhr|uur))?"
)
_SPOKEN_CLOCK = "a time of day as people write it", _SPOKEN
_ENDS_SPOKEN = re.compile(rf".*\s{_SPOKEN}", re.ASCII)
_SECOND = "seconds of the day", r"(?P<s>\d{1,5})(?::00)?"
# Decimal hours in steps of a half or a quarter would look like times of day.
_MAY_BE_DECIMAL = ({"00", "50"}, {"00", "25", "50"})


@cache
def _beside_days(says: str, clock: str) -> tuple[tuple[StampFormat, ...], ...]:
    """Give the families of dates with another time of day behind them."""
    return tuple(
        tuple(
            StampFormat(
                says=f"{day_says}, {says}",
                pattern=re.compile(rf"{day}\s+{clock}", re.ASCII if "b>" not in day else 0),
            )
            for day_says, day in family
        )
        for family in _DAYS
    )


def format_of(samples: list[str]) -> StampFormat | tuple[StampFormat, ...] | None:
    """Find the format that most of the sample stamps have.

    Parameters
    ----------
    samples : list of str
        Stamps from the head of a file.

    Returns
    -------
    StampFormat, several or None
        Several (day first, month first, year first) where only more of the file can tell; None
        where the samples are no stamps.
    """
    samples = [sample for sample in samples if sample.strip()]
    if not samples:
        return None
    least = max(1, (len(samples) + 1) // 2)
    for family in _FAMILIES:
        read = sum(any(one.one(sample) is not None for one in family) for sample in samples)
        if read < least:
            continue
        if len(family) > 1:
            return family
        one = family[0]
        strict = one.by_parser and all(_PARSER_ISO.fullmatch(sample.strip()) for sample in samples)
        return replace(one, by_parser=strict)
    if all(_ENDS_SPOKEN.fullmatch(sample.strip()) for sample in samples):
        spoken = _all_read(_beside_days(*_SPOKEN_CLOCK), samples)
        return spoken[0] if spoken is not None and len(spoken) == 1 else spoken
    return None


def bare_clock_format_of(samples: list[str]) -> tuple[StampFormat, ...] | None:
    """Find the format of dates with a time of day without a colon: `0005`, `5`, `1430`, `14.05`.

    Parameters
    ----------
    samples : list of str
        Date and time of day, a blank between them.

    Returns
    -------
    tuple of StampFormat or None
        Several where only more of the file can tell the order; None where one sample is no such
        stamp, no time goes beyond the first hour and all have fewer than four digits, or times may
        be decimal hours.
    """
    spoken = [_ENDS_SPOKEN.fullmatch(sample.strip()) for sample in samples if sample.strip()]
    if spoken and all(spoken):
        minutes = {match["M"] for match in spoken if match is not None}
        padded = any(match["H"].startswith("0") for match in spoken if match is not None)
        return (
            _all_read(_beside_days(*_SPOKEN_CLOCK), samples)
            if padded and minutes not in _MAY_BE_DECIMAL
            else None
        )
    clocks = [sample.split()[-1] for sample in samples if sample.strip()]
    if not clocks or not all(clock.isdigit() for clock in clocks):
        return None
    if not any(int(clock) >= 100 for clock in clocks) and {len(clock) for clock in clocks} != {4}:
        return None
    return _all_read(_beside_days(*_BARE_CLOCK), samples)


def seconds_format_of(samples: list[str]) -> tuple[StampFormat, ...] | None:
    """Find the format of dates with the second of the day behind them, None where it is none.

    Parameters
    ----------
    samples : list of str
        Date and second, a blank between them.
    """
    return _all_read(_beside_days(*_SECOND), samples)


def _all_read(
    families: tuple[tuple[StampFormat, ...], ...], samples: list[str]
) -> tuple[StampFormat, ...] | None:
    for family in families:
        if all(any(one.one(sample) is not None for one in family) for sample in samples):
            return family
    return None


def looks_like_time_of_day(samples: list[str]) -> bool:
    """Tell whether the samples are clock times without a date."""
    samples = [sample for sample in samples if sample.strip()]
    return bool(samples) and all(_TIME_OF_DAY.fullmatch(sample.strip()) for sample in samples)


# 1 January 2005: no year of two digits in a log is before it (engineering judgement).
_EARLIEST_SHORT_S = 1_104_537_600
_TIME_OF_DAY = re.compile(f"{CLOCK}(?:{_ZONE})?", re.ASCII)
ORDERS = {"d": "day_first", "m": "month_first", "y": "year_first", "Y": "year_first"}


def order_of(one: StampFormat) -> str:
    """Name the order of a format as a map does: day_first, month_first or year_first."""
    return ORDERS[min("dmyY", key=lambda name: one.pattern.groupindex.get(name, 99))]


def proven(
    family: tuple[StampFormat, ...], days: list[str], *, latest_s: int | None = None
) -> tuple[StampFormat, ...]:
    """Tell orders of day, month and year apart by all dates of a file.

    A number above 12, or a day in the future, rules an order out. So do days that follow each
    other when read in another order and never when read in this one: a logger writes days in a
    row, not the same day of each month.

    Parameters
    ----------
    family : tuple of StampFormat
        The orders that are possible.
    days : list of str
        The date parts of all stamps, each once.
    latest_s : int, optional
        The latest that a stamp can be, epoch seconds [s].

    Returns
    -------
    tuple of StampFormat
        The orders that are left; one is proof.
    """
    read = [[one.one(f"{day} 00:00") for day in days] for one in family]
    count = [
        sum(
            value is not None
            and (latest_s is None or value <= latest_s)
            and ("y" not in one.pattern.groupindex or value >= _EARLIEST_SHORT_S)
            for value in values
        )
        for one, values in zip(family, read, strict=True)
    ]
    fits = [place for place in range(len(family)) if count[place] == max(count)]
    follows = {}
    for place in fits:
        seen = {value for value in read[place] if value is not None}
        follows[place] = sum(value + _DAY in seen for value in seen)
    most = max(follows.values(), default=0)
    # Days of a year read in the wrong order follow each other by chance, but for few of them.
    kept = [place for place in fits if follows[place] * 2 >= most]
    return tuple(family[place] for place in kept)


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
