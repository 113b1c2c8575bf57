"""Runs in which a channel repeats one value to the last digit."""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.record import Bools, Floats, Ints
from analysis.units import SECONDS_PER_HOUR

_LONGEST_HOLE_S = 2 * SECONDS_PER_HOUR


@dataclass(frozen=True, slots=True, kw_only=True)
class ConstantRun:
    """Rows `rows` of one day with one value."""

    day: int
    rows: slice
    start_s: int
    end_s: int
    value: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stillness:
    """All runs of one repeated value within days; arrays with one entry for each run.

    Attributes
    ----------
    day : the day of the run
    first, last : its rows, both included
    start_s, end_s : when it begins and ends [s]
    value : what is repeated
    reaches_end : it goes to the day's last row
    """

    day: Ints
    first: Ints
    last: Ints
    start_s: Ints
    end_s: Ints
    value: Floats
    reaches_end: Bools

    def longer(self, least_s: float) -> tuple[ConstantRun, ...]:
        """Give the runs of at least this length [s]."""
        return tuple(
            ConstantRun(
                day=int(self.day[run]),
                rows=slice(int(self.first[run]), int(self.last[run]) + 1),
                start_s=int(self.start_s[run]),
                end_s=int(self.end_s[run]),
                value=float(self.value[run]),
            )
            for run in np.flatnonzero(self.end_s - self.start_s >= least_s).tolist()
        )


def stillness(case: Case, name: str) -> Stillness:
    """Give a channel's runs; a few missing values are passed over.

    Parameters
    ----------
    case : the rows and their days
    name : a channel that was logged
    """
    record = case.record
    known = np.flatnonzero(np.isfinite(record.columns[name]) & (case.day >= 0))
    # Slices spare copies of what is whole, as most channels are.
    rows = slice(None) if known.size == len(record) else known
    values, day, start_s = record.columns[name][rows], case.day[rows], record.start_s[rows]
    new = np.ones(known.size, dtype=np.bool_)
    # In a hole the value may have been any: night before and night after are no whole day.
    new[1:] = (
        (values[1:] != values[:-1])
        | (day[1:] != day[:-1])
        | (start_s[1:] - start_s[:-1] > _LONGEST_HOLE_S)
    )
    first = np.flatnonzero(new)
    last = np.append(first[1:], known.size)[: first.size] - 1
    closing = np.ones(first.size, dtype=np.bool_)
    closing[:-1] = day[first[1:]] != day[first[:-1]]
    last_row = known[last]
    return Stillness(
        day=day[first],
        first=known[first],
        last=last_row,
        start_s=start_s[first],
        end_s=record.start_s[last_row] + record.step_s[last_row].astype(np.int64),
        value=values[first],
        reaches_end=closing,
    )
