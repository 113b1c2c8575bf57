"""Time stamps as loggers write them, and how a whole column of them is read at once.

A `StampFormat` is a regular expression with named groups (Y y m b d H M S f z p; j is the day of
the year, s the second of the day). Columns whose
rows have the same layout, which is nearly all, are read as a matrix of bytes; a row of another
layout is read alone. Impossible dates are never bent into possible ones.
"""

import re
from calendar import isleap
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.logs.stamp_matrix import seconds_of
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

_DAY = int(SECONDS_PER_DAY)
_HOUR = int(SECONDS_PER_HOUR)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MANY_LAYOUTS = 32

# The first letters of the months in English, German, French, Spanish, Italian and Dutch.
_MONTHS = (
    "jan jän ene gen", "feb fév fev febr", "mar mär mrt maa mär", "apr avr abr", "may mai mag mei",
    "jun juin giu", "jul juil lug", "aug aoû aou ago", "sep set", "oct okt ott", "nov",
    "dec dez déc dic",
)  # fmt: skip
_MONTH = {word: number for number, words in enumerate(_MONTHS, 1) for word in words.split()}
# Hours from UTC that letters after a stamp stand for (common practice; IANA tz data for Europe).
ZONE_HOURS = {
    "UTC": 0, "GMT": 0, "WET": 0, "WEST": 1, "BST": 1, "CET": 1, "MEZ": 1, "CEST": 2, "MESZ": 2,
    "EET": 2, "EEST": 3,
}  # fmt: skip

CLOCK = (
    r"(?P<H>\d{1,2}):(?P<M>\d{2})(?::(?P<S>\d{2})(?:[.,](?P<f>\d{1,9}))?)?"
    r"(?:\s*(?P<p>[AaPp])\.?[Mm]\.?)?"
)


class UnreadableStampError(Exception):
    """At least one stamp of a column does not have the format."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StampFormat:
    """One way to write a stamp.

    Attributes
    ----------
    says : in plain words
    pattern : the layout, with named groups
    aware : whether each stamp carries its offset from UTC; else it is a wall clock
    told : a strptime format that the pattern cannot express, or None
    by_parser : whether the columnar parser reads it by itself, impossible dates refused
    """

    says: str
    pattern: re.Pattern[str]
    aware: bool = False
    told: str | None = None
    by_parser: bool = False

    def one(self, text: str) -> int | None:
        """Read one stamp: epoch seconds (of the wall clock where not aware), or None [s]."""
        if self.told is not None:
            return _by_strptime(text.strip(), self.told)
        match = self.pattern.fullmatch(text.strip())
        if match is None or (match.groupdict().get("z") is not None) != self.aware:
            return None
        return _of_groups(match.groupdict())

    def many(self, texts: Any) -> NDArray[np.int64]:
        """Read a column of stamps.

        Parameters
        ----------
        texts : pyarrow.StringArray, length n
            The stamps as written; none of them null.

        Returns
        -------
        ndarray of int64, shape (n,)
            Epoch seconds, of the wall clock where the format is not aware [s].

        Raises
        ------
        UnreadableStampError
            At least one stamp does not have this format.
        """
        out = np.zeros(len(texts), dtype=np.int64)
        slow = np.ones(len(texts), dtype=np.bool_)
        if self.told is None and len(texts) and "j" not in self.pattern.groupindex:
            self._by_layout(texts, out, slow)
        for row in np.flatnonzero(slow).tolist():
            value = self.one(texts[row].as_py())
            if value is None:
                raise UnreadableStampError
            out[row] = value
        return out

    def _by_layout(self, texts: Any, out: NDArray[np.int64], slow: NDArray[np.bool_]) -> None:
        """Fill in the rows that share the layout of another row of their length."""
        _, offset_buffer, byte_buffer = texts.buffers()
        offsets = np.frombuffer(offset_buffer, dtype=np.int32)
        offsets = offsets[texts.offset : texts.offset + len(texts) + 1].astype(np.int64)
        signs = np.frombuffer(byte_buffer, dtype=np.uint8)
        lengths = np.diff(offsets)
        widths = lengths[:1] if (lengths == lengths[0]).all() else np.unique(lengths)
        if len(widths) > _MANY_LAYOUTS:
            return
        for width in widths.tolist():
            rows = np.flatnonzero(lengths == width)
            # Another month in letters or another zone is another layout of the same length.
            for _ in range(_MANY_LAYOUTS):
                first = texts[int(rows[0])].as_py()
                match = self.pattern.fullmatch(first)
                if match is None or not first.isascii() or self.one(first) is None:
                    break
                if len(rows) == len(texts):
                    matrix = signs[offsets[0] : offsets[-1]].reshape(len(rows), width)
                else:
                    matrix = signs[offsets[rows][:, None] + np.arange(width)]
                good, seconds = _of_matrix(matrix, match)
                if good.all():
                    out[rows], slow[rows] = seconds, False
                    break
                out[rows[good]] = seconds[good]
                slow[rows[good]] = False
                rows = rows[~good]


def _by_strptime(text: str, told: str) -> int | None:
    try:
        moment = datetime.strptime(text, told)  # noqa: DTZ007 - the zone is applied by the caller
    except ValueError:
        return None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    return (moment - _EPOCH) // timedelta(seconds=1)


def _of_groups(groups: dict[str, str | None]) -> int | None:
    year = int(groups["Y"] or 0) if groups.get("Y") else 2000 + int(groups["y"] or 0)
    hour, minute = int(groups.get("H") or 0), int(groups.get("M") or 0)
    half = groups.get("p")
    month = month_of(groups["b"] or "") if groups.get("b") else int(groups.get("m") or 0)
    day, of_day_s = int(groups.get("d") or 0), int(groups.get("s") or 0)
    of_year = int(groups.get("j") or 0)
    if of_year:
        month, day = 1, 1
    if of_day_s > _DAY or of_year > 365 + isleap(year):
        return None
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half in "pP" else 0)
    second = int(groups.get("S") or 0)
    # ISO 8601 lets a day end at 24:00:00.
    end_of_day = hour == 24 and minute == 0 and second == 0
    try:
        moment = datetime(
            year,
            month,
            day,
            0 if end_of_day else hour,
            minute,
            second,
            tzinfo=UTC,
        )
    except ValueError:
        return None
    seconds = (moment - _EPOCH) // timedelta(seconds=1) + (_DAY if end_of_day else 0)
    seconds += of_day_s + max(of_year - 1, 0) * _DAY
    return seconds - offset_of(groups.get("z"))


def month_of(word: str) -> int:
    """Give the number of a month written in letters, 0 where it is none."""
    bare = word.rstrip(".").lower()
    return next((_MONTH[bare[:n]] for n in (4, 3) if bare[:n] in _MONTH), 0)


def offset_of(zone: str | None) -> int:
    """Give how far a zone, as written behind a stamp, is ahead of UTC; none is not [s]."""
    if zone is None or zone in ("Z", "z"):
        return 0
    if zone in ZONE_HOURS:
        return ZONE_HOURS[zone] * _HOUR
    zone = zone.removeprefix("UTC").removeprefix("GMT")
    digits = zone[1:].replace(":", "").ljust(4, "0")
    seconds = int(digits[:2]) * _HOUR + int(digits[2:]) * 60
    return -seconds if zone[0] == "-" else seconds


def _of_matrix(
    matrix: NDArray[np.uint8], match: re.Match[str]
) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Read rows of equal width: which of them have the layout of the match, and their seconds."""
    groups = match.groupdict()
    # Rows with another zone or another month in letters than the first are another layout.
    spans = {
        name: match.span(name) for name, text in groups.items() if text and name not in ("z", "b")
    }
    month = month_of(groups["b"]) if groups.get("b") else None
    return seconds_of(matrix, spans, month=month, offset_s=offset_of(groups.get("z")))
