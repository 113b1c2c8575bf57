"""Stamps of one layout, a matrix of signs: a row each, digits always in the same places.

Rows follow each other, so the date stands still from one to the next: each date is worked out once,
and only the time of day in every row.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

_DAY, _HOUR = int(SECONDS_PER_DAY), int(SECONDS_PER_HOUR)
_NOUGHT, _NINE = np.uint8(ord("0")), np.uint8(9)
# Makes a letter small.
_SMALL = np.uint8(32)
_WORD = 8
_CLOCK = ("H", "M", "S", "s")

Signs = NDArray[np.uint8]
Spans = Mapping[str, tuple[int, int]]


def seconds_of(
    signs: Signs, spans: Spans, *, month: int | None, offset_s: int
) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Read rows of one layout.

    Parameters
    ----------
    signs : ndarray of uint8, shape (n, width)
        ASCII signs of each stamp; the first row has the layout.
    spans : mapping of str to (int, int)
        Named parts of the layout to the places of their signs: Y, y, m, d, H, M, S, f, p and s as
        in `StampFormat`. The other signs are the same in every row of the layout.
    month : int or None
        Number of the month that those others name in letters, None where digits do.
    offset_s : int
        Offset from UTC that those others name [s].

    Returns
    -------
    tuple of ndarray, shape (n,)
        Which rows have the layout and are a possible time, and epoch seconds [s]; those of others
        mean nothing.
    """
    words = _words(signs)
    fixed, dated = np.ones(signs.shape[1], dtype=np.bool_), np.zeros(signs.shape[1], dtype=np.bool_)
    for name, (start, end) in spans.items():
        fixed[start:end] = False
        dated[start:end] = name in ("Y", "y", "m", "d")
    good = _same(words, words[:1], fixed)
    new = np.append(True, ~_same(words[1:], words[:-1], dated))
    good_day, day_s = _days_s(signs[new], spans, month)
    run = np.cumsum(new) - 1
    good_time, of_day_s = _of_day_s(signs, spans)
    good &= good_day[run] & good_time
    return good, (day_s - offset_s)[run] + of_day_s


def _words(signs: Signs) -> NDArray[np.uint64]:
    """Give rows as words of eight signs, so that they are compared eight at a time."""
    rows, width = signs.shape
    padded = np.zeros((rows, -(-width // _WORD) * _WORD), dtype=np.uint8)
    padded[:, :width] = signs
    return padded.view(np.uint64)


def _same(
    one: NDArray[np.uint64], other: NDArray[np.uint64], places: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Tell which rows are the same in these places."""
    masks = _words(np.where(places, 255, 0).astype(np.uint8)[None, :])[0]
    differ = np.zeros(max(len(one), len(other)), dtype=np.uint64)
    for at in np.flatnonzero(masks).tolist():
        differ |= (one[:, at] ^ other[:, at]) & masks[at]
    return np.asarray(differ == 0)


def _number(
    signs: Signs, spans: Spans, name: str, good: NDArray[np.bool_]
) -> NDArray[np.int32] | int:
    """Give the number in a part, 0 where the layout has none; rows without one are no good."""
    if name not in spans:
        return 0
    value = np.zeros(len(signs), dtype=np.int32)
    for place in range(*spans[name]):
        digit = signs[:, place] - _NOUGHT  # wraps far above 9 for what is no digit
        good &= digit <= _NINE
        value *= 10
        value += digit
    return value


def _of_day_s(signs: Signs, spans: Spans) -> tuple[NDArray[np.bool_], NDArray[np.int32]]:
    good = np.ones(len(signs), dtype=np.bool_)
    hour, minute, second, of_day_s = (_number(signs, spans, name, good) for name in _CLOCK)
    if "p" in spans:
        letter = signs[:, spans["p"][0]] | _SMALL
        afternoon = letter == ord("p")
        good &= (afternoon | (letter == ord("a"))) & (hour >= 1) & (hour <= 12)
        hour = hour % 12 + 12 * afternoon
    good &= (hour <= 23) & (minute <= 59) & (second <= 59) & (of_day_s <= _DAY)
    return good, np.zeros(len(signs), dtype=np.int32) + (
        hour * _HOUR + minute * 60 + second + of_day_s
    )


def _days_s(
    signs: Signs, spans: Spans, month: int | None
) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Give the midnights of rows; the month stands in letters where it is given."""
    good = np.ones(len(signs), dtype=np.bool_)
    long, short, of_year, day = (_number(signs, spans, name, good) for name in ("Y", "y", "m", "d"))
    year = long if "Y" in spans else 2000 + short
    of_year = of_year if month is None else month
    good &= (of_year >= 1) & (of_year <= 12) & (day >= 1) & (year >= 1)
    months = np.asarray((year - 1970) * 12 + np.where(good, of_year, 1) - 1, dtype=np.int64)
    first = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    after = (months + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    good &= day <= after - first
    return good, (first + day - 1) * _DAY
