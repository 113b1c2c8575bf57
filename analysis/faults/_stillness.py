"""Runs in which a channel repeats one value to the last digit."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.record import Bools, Floats, Ints
from analysis.units import SECONDS_PER_HOUR

_LONGEST_HOLE_S = 2 * SECONDS_PER_HOUR
# Readings of fine steps repeat a few times by themselves; less than this is no run.
SHORTEST_S = SECONDS_PER_HOUR


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
    """A channel's runs of one repeated value within days, from an hour on; an entry for each.

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


def stillness(case: Case, names: Iterable[str]) -> dict[str, Stillness]:
    """Give the runs of channels that were logged; a few missing values are passed over."""
    apart = _apart(case.day, case.record.start_s)
    return {name: _runs(case, case.record.columns[name], apart) for name in names}


def _apart(day: Ints, start_s: Ints) -> Bools:
    """Tell which rows but the first begin anew: on another day, or after a long hole.

    In a hole the value may have been any: night before and night after are no whole day.
    """
    return np.asarray((day[1:] != day[:-1]) | (start_s[1:] - start_s[:-1] > _LONGEST_HOLE_S))


def _runs(case: Case, values: Floats, apart: Bools) -> Stillness:
    record, day = case.record, case.day
    read = np.isfinite(values)
    rows, start_s = np.arange(len(values)), record.start_s
    if not read.all():
        rows = np.flatnonzero(read)
        values, day, start_s = values[rows], day[rows], start_s[rows]
        apart = _apart(day, start_s)
    new = np.ones(rows.size, dtype=np.bool_)
    new[1:] = values[1:] != values[:-1]
    new[1:] |= apart
    first = np.flatnonzero(new)
    follows = np.append(first[1:], rows.size)[: first.size]
    # Hardly a run is long, and whether its rows lie apart is soon said.
    least_s = SHORTEST_S - record.step_s.max()
    far = start_s[follows - 1] - start_s[first] >= least_s
    first, follows = first[far], follows[far]
    last = follows - 1
    ends = follows == rows.size
    closing = ends | (day[np.where(ends, 0, follows)] != day[first])
    start_s, end_s = start_s[first], start_s[last] + record.step_s[rows[last]].astype(np.int64)
    long = end_s - start_s >= SHORTEST_S
    first, last = first[long], last[long]
    return Stillness(
        day=day[first],
        first=rows[first],
        last=rows[last],
        start_s=start_s[long],
        end_s=end_s[long],
        value=values[first],
        reaches_end=closing[long],
    )
