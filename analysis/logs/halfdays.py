"""A clock that shows twelve hours and neither am nor pm: the order of rows tells the half.

Within a date such a clock falls back once, at noon. What stands before the fall is of the morning
and what stands after it of the afternoon. A date without a fall is told where its rows run on from
the date before, or into the next one; else nothing tells.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

AS_WRITTEN, TOLD, UNTOLD = 0, 1, 2
_DAY, _HOUR = int(SECONDS_PER_DAY), int(SECONDS_PER_HOUR)
_HALF = _DAY // 2
_LOOKED_AT = 1000
# Engineering judgement: the fall at noon is of nearly twelve hours; two files with the same
# morning, put together, fall back by less. It comes on at least this share of the dates.
_NOON_FALL_S = 9 * _HOUR
_LEAST_FRAC = 0.5
# Two runs are one where no more than this many usual steps lie between them.
_NEAR_STEPS = 3


def halves_told(wall_s: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int8]]:
    """Bring the stamps of a clock of twelve hours to 24.

    Parameters
    ----------
    wall_s : ndarray of int64, shape (n,)
        Wall-clock stamps as if they were UTC epoch seconds, in the order of the file, oldest
        first [s].

    Returns
    -------
    tuple of ndarray, shape (n,)
        Stamps [s], and for each row AS_WRITTEN (all of them, where the clock has 24 hours), TOLD or
        UNTOLD; the seconds of rows that are UNTOLD mean nothing.
    """
    state = np.zeros(len(wall_s), dtype=np.int8)
    # Most clocks show 24 hours in any few of their rows.
    if not _twelve(wall_s[:: len(wall_s) // _LOOKED_AT + 1]) or not _twelve(wall_s):
        return wall_s, state
    day_s = wall_s - wall_s % _DAY
    within_s = wall_s % _HALF
    change = np.diff(within_s)
    same_day = np.diff(day_s) == 0
    noons = int((same_day & (change <= -_NOON_FALL_S)).sum())
    if not noons or noons < _LEAST_FRAC * len(np.unique(day_s)):
        return wall_s, state
    # A fall of one hour may be the end of summer time.
    starts = np.flatnonzero(np.append(True, ~same_day | (change < -_HOUR)))
    ends = np.append(starts[1:], len(wall_s)) - 1
    forward = change[same_day & (change > 0)]
    near_s = _NEAR_STEPS * int(np.median(forward)) if len(forward) else 0
    afternoon = _afternoons(day_s[starts], within_s, starts, ends, near_s)
    of_row = np.repeat(afternoon, ends - starts + 1)
    state[:] = np.where(of_row < 0, UNTOLD, TOLD)
    return day_s + within_s + np.where(of_row > 0, _HALF, 0), state


def _twelve(wall_s: NDArray[np.int64]) -> bool:
    """Tell whether no stamp shows more than the hours of half a day."""
    hours = wall_s % _DAY // _HOUR
    return len(hours) > 0 and bool((hours.min() >= 1 and hours.max() <= 12) or hours.max() <= 11)


def _afternoons(
    day_s: NDArray[np.int64],
    within_s: NDArray[np.int64],
    starts: NDArray[np.intp],
    ends: NDArray[np.intp],
    near_s: int,
) -> NDArray[np.int64]:
    """Tell of each run of rows whether it is of the afternoon; -1 where nothing tells."""
    _, first, count = np.unique(day_s, return_index=True, return_counts=True)
    runs = np.zeros(len(day_s), dtype=np.int64)
    runs[first] = count
    told = np.full(len(day_s), -1, dtype=np.int64)
    for run in first[count == 2].tolist():
        if run + 1 < len(day_s) and day_s[run + 1] == day_s[run]:
            told[run : run + 2] = 0, 1
    begin_s = day_s + within_s[starts]
    end_s = day_s + within_s[ends]
    for run in sorted(first[count == 1].tolist()):
        gaps = np.diff(within_s[starts[run] : ends[run] + 1])
        if len(gaps) and gaps.max() > near_s:
            continue
        before = after = False
        if run > 0 and told[run - 1] >= 0:
            before = begin_s[run] - end_s[run - 1] - _HALF * told[run - 1] <= near_s
        if run + 1 < len(day_s) and runs[run + 1] == 2:
            after = begin_s[run + 1] - end_s[run] - _HALF <= near_s
        if before != after:
            told[run] = int(after)
    return told
