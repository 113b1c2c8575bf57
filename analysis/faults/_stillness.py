"""Runs in which a channel repeats one value to the last digit."""

from collections.abc import Iterable
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from analysis.case import Case
from analysis.compiled import given
from analysis.faults._repeats_kernel import find_repeats
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

    def longer(self, least_s: float, among: Bools | bool = True) -> tuple[ConstantRun, ...]:
        """Give the runs of at least this length [s], those among which they are looked for."""
        return tuple(
            ConstantRun(
                day=int(self.day[run]),
                rows=slice(int(self.first[run]), int(self.last[run]) + 1),
                start_s=int(self.start_s[run]),
                end_s=int(self.end_s[run]),
                value=float(self.value[run]),
            )
            for run in np.flatnonzero((self.end_s - self.start_s >= least_s) & among).tolist()
        )


def stillness(case: Case, names: Iterable[str]) -> dict[str, Stillness]:
    """Give the runs of channels that were logged; a few missing values are passed over."""
    # Two faults ask for a channel: it is gone through once for a case.
    known = _KNOWN.setdefault(case, {})
    asked = list(names)
    if missing := [name for name in asked if name not in known]:
        every = _Rows.of(case)
        known |= {name: _of_channel(case, name, every) for name in missing}
    return {name: known[name] for name in asked}


_KNOWN: WeakKeyDictionary[Case, dict[str, Stillness]] = WeakKeyDictionary()


def _of_channel(case: Case, name: str, every: "_Rows") -> Stillness:
    values = case.record.columns[name]
    read = case.read[name]
    if read.all():
        return _runs(every, values)
    rows = np.flatnonzero(read)
    return _runs(_Rows.of(case, rows), values[rows])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Rows:
    """The rows in which a channel was read.

    Attributes
    ----------
    row : their numbers in the record
    day, start_s, step_s : of each
    edge : which begin anew: on another day, or after a hole in which the value may have been any,
        as night before and night after are no whole day; and the one after the last
    fewest : so many rows a run has at least
    """

    row: Ints
    day: Ints
    start_s: Ints
    step_s: Floats
    edge: Ints
    fewest: int

    @staticmethod
    def of(case: Case, row: Ints | None = None) -> "_Rows":
        """Take these rows of a case; None: all."""
        day, start_s, step_s = case.day, case.record.start_s, case.record.step_s
        edge = case.row_edge
        if row is None:
            row = np.arange(len(day))
        else:
            day, start_s, step_s = day[row], start_s[row], step_s[row]
            edge = np.searchsorted(row, edge)
        between_s = np.diff(start_s)
        hole = between_s > _LONGEST_HOLE_S
        widest_s = between_s.max(initial=1, where=~hole)
        return _Rows(
            row=row,
            day=day,
            start_s=start_s,
            step_s=step_s,
            edge=np.union1d(edge, np.flatnonzero(hole) + 1),
            fewest=1 + max(int((SHORTEST_S - step_s.max(initial=0.0)) / widest_s), 0),
        )


def _runs(rows: _Rows, values: Floats) -> Stillness:
    first, last = np.empty((2, values.size // rows.fewest), dtype=np.int64)
    count = find_repeats(given(values), given(rows.edge), rows.fewest, first, last)
    first, last = first[:count], last[:count]
    start_s, end_s = rows.start_s[first], rows.start_s[last] + rows.step_s[last].astype(np.int64)
    long = end_s - start_s >= SHORTEST_S
    first, last = first[long], last[long]
    follows = np.minimum(last + 1, len(values) - 1)
    return Stillness(
        day=rows.day[first],
        first=rows.row[first],
        last=rows.row[last],
        start_s=start_s[long],
        end_s=end_s[long],
        value=values[first],
        reaches_end=(last == follows) | (rows.day[follows] != rows.day[first]),
    )
