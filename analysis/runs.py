"""From flagged bins to runs within days: least duration and bridging of short holes.

A hole in the data ends a run unless it is short enough to bridge; a hole never starts one.
"""

from dataclasses import dataclass

import numpy as np

from analysis.grid import BIN_S
from analysis.record import Bools, Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class BinRun:
    """Bins `first` to `last` (excluded) of one day."""

    day: int
    first: int
    last: int

    @property
    def length_s(self) -> int:
        """How long the run is [s]."""
        return (self.last - self.first) * BIN_S

    @property
    def bins(self) -> slice:
        """The bins as a slice of the day's row."""
        return slice(self.first, self.last)


def bin_runs(flags: Bools, *, least_s: float, bridge_s: float = 0.0) -> tuple[BinRun, ...]:
    """Give runs of flagged bins within each day.

    Parameters
    ----------
    flags : shape (days, bins)
    least_s : shorter runs are dropped, after bridging [s]
    bridge_s : holes up to this are bridged [s]
    """
    padded = np.pad(flags, ((0, 0), (1, 1))).astype(np.int8)
    change = np.diff(padded, axis=1)
    day, first = np.nonzero(change == 1)
    _, last = np.nonzero(change == -1)
    runs: list[BinRun] = []
    for row, begin, end in zip(day.tolist(), first.tolist(), last.tolist(), strict=True):
        close = runs and runs[-1].day == row and (begin - runs[-1].last) * BIN_S <= bridge_s
        if close:
            runs[-1] = BinRun(day=row, first=runs[-1].first, last=end)
        else:
            runs.append(BinRun(day=row, first=begin, last=end))
    return tuple(run for run in runs if run.length_s >= least_s)


def day_span(flags: Bools) -> dict[int, tuple[int, int]]:
    """Give for each day with a flag its first flagged bin and the one after its last."""
    spans: dict[int, tuple[int, int]] = {}
    for day in np.flatnonzero(flags.any(axis=1)).tolist():
        seen = np.flatnonzero(flags[day])
        spans[day] = (int(seen[0]), int(seen[-1]) + 1)
    return spans


def long_runs(flags: Bools, least: int) -> Bools:
    """Keep only runs of at least so many bins, within each day."""
    kept = np.zeros(flags.shape, dtype=np.bool_)
    for run in bin_runs(flags, least_s=least * BIN_S):
        kept[run.day, run.bins] = True
    return kept


def day_peak(values: Floats) -> Floats:
    """Give the greatest known value of each day; shape (days,), NaN where there is none."""
    greatest = np.where(np.isnan(values), -np.inf, values).max(axis=1, initial=-np.inf)
    return np.asarray(np.where(np.isfinite(greatest), greatest, np.nan))
