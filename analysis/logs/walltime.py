"""From a logger's wall clock to UTC.

In spring an hour of the wall clock does not exist, in autumn one comes twice. Rows in the missing
hour are set aside. Rows in the doubled hour are told apart only where their order proves it: they
stand together and the clock goes back exactly once among them, or exactly one step of an even log
is short by the change. Where an even log runs straight through the doubled hour, its clock did not
go back with the zone: which zone it follows only a person can say.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

GOOD, MISSING_HOUR, DOUBLED_HOUR, STRAIGHT_ON = 0, 1, 2, 3
# Engineering judgement: the step of a log is known from so many rows on either side of the hour
# together; steps scatter by less than this share of themselves and of the change; a log with
# longer steps than the second may keep to the hours of the wall by intent [s].
_ROUND_ABOUT, _LEAST_STEPS = 12, 6
_SCATTER_FRAC = 0.25
_LONGEST_S, _LONGEST_STRAIGHT_S = 6 * SECONDS_PER_HOUR, SECONDS_PER_HOUR
_DAY = int(SECONDS_PER_DAY)


@dataclass(frozen=True, slots=True)
class _Step:
    """One change of a zone's offset from UTC [s]."""

    at_s: int
    before_s: int
    after_s: int


def utc_from_wall(
    wall_s: NDArray[np.int64], *, zone: str
) -> tuple[NDArray[np.int64], NDArray[np.int8]]:
    """Turn wall-clock stamps into UTC.

    Parameters
    ----------
    wall_s : ndarray of int64, shape (n,)
        Wall-clock stamps as if they were UTC epoch seconds, in the order of the file [s].
    zone : str
        IANA name of the zone that the clock runs on.

    Returns
    -------
    tuple of ndarray, shape (n,)
        UTC epoch seconds [s], and for each row GOOD, MISSING_HOUR, DOUBLED_HOUR or, of a doubled
        hour that an even log passes once, STRAIGHT_ON; the seconds of rows that are not GOOD mean
        nothing.
    """
    state = np.zeros(len(wall_s), dtype=np.int8)
    if not len(wall_s):
        return wall_s, state
    lowest, highest = int(wall_s.min()) // _DAY, int(wall_s.max()) // _DAY
    first_s, steps = _steps(zone, lowest - 2, highest + 3)
    if not steps:
        return wall_s - first_s, state
    # Up to the later of the two wall readings of a change the earlier offset holds.
    edges = np.array([step.at_s + max(step.before_s, step.after_s) for step in steps])
    offsets = np.array([first_s, *(step.after_s for step in steps)], dtype=np.int64)
    utc_s = wall_s - offsets[np.searchsorted(edges, wall_s, side="right")]
    for step in steps:
        from_s = step.at_s + min(step.before_s, step.after_s)
        to_s = step.at_s + max(step.before_s, step.after_s)
        rows = np.flatnonzero((wall_s >= from_s) & (wall_s < to_s))
        if not len(rows):
            continue
        if step.after_s > step.before_s:
            state[rows] = MISSING_HOUR
            continue
        back, straight = _goes_back_once(wall_s[rows], rows), False
        if back is None:
            back, straight = _by_the_step(wall_s, rows, step.before_s - step.after_s)
        if back is None:
            state[rows] = STRAIGHT_ON if straight else DOUBLED_HOUR
        else:
            utc_s[rows[:back]] = wall_s[rows[:back]] - step.before_s
            utc_s[rows[back:]] = wall_s[rows[back:]] - step.after_s
    return utc_s, state


def _goes_back_once(wall_s: NDArray[np.int64], rows: NDArray[np.intp]) -> int | None:
    """Give the place among rows of a doubled hour where its second run begins, if proven."""
    together = int(rows[-1] - rows[0]) == len(rows) - 1
    falls = np.flatnonzero(np.diff(wall_s) < 0)
    if not together or len(falls) != 1:
        return None
    return int(falls[0]) + 1


def _by_the_step(
    wall_s: NDArray[np.int64], rows: NDArray[np.intp], change_s: int
) -> tuple[int | None, bool]:
    """Give the same place by the even steps of a log, and whether it runs straight through."""
    before, after = int(rows[0]) - 1, int(rows[-1]) + 1
    if after - before != len(rows) + 1 or before < 0 or after >= len(wall_s):
        return None, False
    usual_s = np.concatenate(
        [
            np.diff(wall_s[max(before - _ROUND_ABOUT, 0) : before + 1]),
            np.diff(wall_s[after : after + _ROUND_ABOUT + 1]),
        ]
    )
    step_s = float(np.median(usual_s)) if len(usual_s) >= _LEAST_STEPS else 0.0
    if not 0.0 < step_s <= _LONGEST_S:
        return None, False
    near_s = _SCATTER_FRAC * min(step_s, change_s)
    steps_s = np.diff(wall_s[before : after + 1])
    even = np.abs(steps_s - step_s) <= near_s
    short = np.abs(steps_s + change_s - step_s) <= near_s
    if even.all():
        return None, step_s <= _LONGEST_STRAIGHT_S
    if short.sum() == 1 and (even | short).all():
        return int(np.flatnonzero(short)[0]), False
    return None, False


@lru_cache(maxsize=64)
def _steps(zone: str, first_day: int, last_day: int) -> tuple[int, tuple[_Step, ...]]:
    """Give the offset at the first day and every change of it up to the last [s]."""
    info = ZoneInfo(zone)

    def offset_s(at_s: int) -> int:
        offset = datetime.fromtimestamp(at_s, tz=UTC).astimezone(info).utcoffset()
        return 0 if offset is None else int(offset.total_seconds())

    first = known = offset_s(first_day * _DAY)
    steps = []
    for day in range(first_day, last_day):
        after = offset_s((day + 1) * _DAY)
        if after == known:
            continue
        low, high = day * _DAY, (day + 1) * _DAY
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if offset_s(middle) != known else (middle, high)
        steps.append(_Step(high, known, after))
        known = after
    return first, tuple(steps)
