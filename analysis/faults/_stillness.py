"""Runs in which a channel repeats one value to the last digit."""

from collections.abc import Iterable
from dataclasses import dataclass
from weakref import WeakKeyDictionary

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
    read = np.isfinite(values)
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
    apart : shape (n - 1,), which but the first begin anew: on another day, or after a long hole, in
        which the value may have been any: night before and night after are no whole day
    fewest : so many rows a run has at least
    """

    row: Ints
    day: Ints
    start_s: Ints
    step_s: Floats
    apart: Bools
    fewest: int

    @staticmethod
    def of(case: Case, row: Ints | None = None) -> "_Rows":
        """Take these rows of a case; None: all."""
        day, start_s, step_s = case.day, case.record.start_s, case.record.step_s
        if row is None:
            row = np.arange(len(day))
        else:
            day, start_s, step_s = day[row], start_s[row], step_s[row]
        between_s = np.diff(start_s)
        apart = (day[1:] != day[:-1]) | (between_s > _LONGEST_HOLE_S)
        widest_s = between_s.max(initial=0, where=~apart)
        least_s = SHORTEST_S - case.record.step_s.max()
        fewest = int(least_s / widest_s) if widest_s else 0
        return _Rows(row=row, day=day, start_s=start_s, step_s=step_s, apart=apart, fewest=fewest)


def _runs(rows: _Rows, values: Floats) -> Stillness:
    new = np.ones(len(values) + 1, dtype=np.bool_)
    np.not_equal(values[1:], values[:-1], out=new[1:-1])
    new[1:-1] |= rows.apart
    near = _near_repeats(values, rows.fewest)
    new[:-1] &= near
    # Rows that are not looked at end the run before them, and are none themselves.
    new[1:-1] |= near[:-1] & ~near[1:]
    edge = np.flatnonzero(new)
    # Hardly a run is long, and how many rows it has is soon said.
    many = np.flatnonzero(np.diff(edge) > rows.fewest)
    first, last = edge[many], edge[many + 1] - 1
    looked = near[first]
    first, last = first[looked], last[looked]
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


def _near_repeats(values: Floats, fewest: int) -> Bools:
    """Tell rows about which a run of so many may lie.

    Every such run holds two rows that lie half of it apart, counted from the first row of all; it
    goes on for less than that beyond the outermost two that it holds.
    """
    apart = fewest // 2
    if apart < 2:
        return np.ones(len(values), dtype=np.bool_)
    some = values[::apart]
    same = some[1:] == some[:-1]
    near = np.zeros(some.size + 2, dtype=np.bool_)
    for moved in range(3):
        near[moved : moved + same.size] |= same
    return np.repeat(near[1:], apart)[: len(values)]
