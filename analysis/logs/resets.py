"""A logger's clock that fell back to the day it counts from, and went on from there."""

import numpy as np
from numpy.typing import NDArray

from analysis.units import SECONDS_PER_DAY

_DAY = int(SECONDS_PER_DAY)
# Engineering judgement: a clock without power falls back by years, to a new year's midnight; a
# log whose files were put together in the wrong order does not.
_FALL_S = 400 * _DAY
_AFTER_NEW_YEAR_S = _DAY
_MOST_FRAC = 0.5


def clock_resets(stamp_s: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Mark the rows that were stamped by a clock that had been reset.

    Parameters
    ----------
    stamp_s : ndarray of int64, shape (n,)
        Stamps in the order of the file, epoch seconds of UTC or of the wall clock [s].

    Returns
    -------
    ndarray of bool, shape (n,)
        Rows from a fall of more than a year to the first day of some year, until the stamps rise
        above where they fell from. None where that would be half of the file and more.
    """
    marked = np.zeros(len(stamp_s), dtype=np.bool_)
    falls = np.flatnonzero(np.diff(stamp_s) < -_FALL_S) + 1
    until = 0
    for fall in falls.tolist():
        if fall < until:
            continue
        landed = stamp_s[fall]
        year = landed.astype("datetime64[s]").astype("datetime64[Y]").astype("datetime64[s]")
        if landed - year.astype(np.int64) > _AFTER_NEW_YEAR_S:
            continue
        until = _reaches(stamp_s, fall, int(stamp_s[fall - 1]))
        marked[fall:until] = True
    if marked.sum() > _MOST_FRAC * len(stamp_s):
        return np.zeros(len(stamp_s), dtype=np.bool_)
    return marked


def _reaches(stamp_s: NDArray[np.int64], start: int, level_s: int) -> int:
    """Give the first row from one on that reaches a level; costs no more than the way there."""
    size = 64
    while start < len(stamp_s):
        there = stamp_s[start : start + size] >= level_s
        if there.any():
            return start + int(np.argmax(there))
        start, size = start + size, size * 2
    return len(stamp_s)
