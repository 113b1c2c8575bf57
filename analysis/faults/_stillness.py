"""Runs in which a channel repeats one value to the last digit."""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.units import SECONDS_PER_HOUR

_LONGEST_HOLE_S = 2 * SECONDS_PER_HOUR


@dataclass(frozen=True, slots=True, kw_only=True)
class ConstantRun:
    """Rows `rows` of one day with one value; `reaches_end`: to the day's last row."""

    day: int
    rows: slice
    start_s: int
    end_s: int
    value: float
    reaches_end: bool


def constant_runs(case: Case, name: str, *, least_s: float) -> tuple[ConstantRun, ...]:
    """Give runs of one repeated value within days; a few missing values are passed over.

    Parameters
    ----------
    case : the rows and their days
    name : channel
    least_s : shorter runs are left out [s]
    """
    record = case.record
    known = np.flatnonzero(np.isfinite(record.columns[name]) & (case.day >= 0))
    if known.size == 0:
        return ()
    values, day = record.columns[name][known], case.day[known]
    new = np.ones(known.size, dtype=np.bool_)
    new[1:] = (values[1:] != values[:-1]) | (day[1:] != day[:-1])
    # In a hole the value may have been any: night before and night after are no whole day.
    new[1:] |= np.diff(record.start_s[known]) > _LONGEST_HOLE_S
    first = np.flatnonzero(new)
    last = np.append(first[1:], known.size) - 1
    start = record.start_s[known[first]]
    end = record.start_s[known[last]] + record.step_s[known[last]].astype(np.int64)
    long = np.flatnonzero(end - start >= least_s)
    closing = np.ones(first.size, dtype=np.bool_)
    closing[:-1] = day[first[1:]] != day[first[:-1]]
    return tuple(
        ConstantRun(
            day=int(day[first[run]]),
            rows=slice(int(known[first[run]]), int(known[last[run]]) + 1),
            start_s=int(start[run]),
            end_s=int(end[run]),
            value=float(values[first[run]]),
            reaches_end=bool(closing[run]),
        )
        for run in long.tolist()
    )
