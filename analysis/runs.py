"""From flagged bins to runs within days: least duration and bridging of short holes.

A hole in the data ends a run unless it is short enough to bridge; a hole never starts one.
"""

from dataclasses import dataclass

import numpy as np

from analysis.compiled import given
from analysis.grid import BIN_S
from analysis.record import Bools, Floats, Ints
from analysis.runs_kernel import find_short, keep_long, latch, stay


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
    day, first, last = _ends(flags)
    if not day.size:
        return ()
    near = (day[1:] == day[:-1]) & ((first[1:] - last[:-1]) * BIN_S <= bridge_s)
    begins, ends = np.append(True, ~near), np.append(~near, True)
    day, first, last = day[begins], first[begins], last[ends]
    kept = (last - first) * BIN_S >= least_s
    return tuple(
        BinRun(day=row, first=begin, last=end)
        for row, begin, end in zip(
            day[kept].tolist(), first[kept].tolist(), last[kept].tolist(), strict=True
        )
    )


def _ends(flags: Bools) -> tuple[Ints, Ints, Ints]:
    """Give for each run of flagged bins its day, its first bin and the one after its last."""
    padded = np.zeros((flags.shape[0], flags.shape[1] + 2), dtype=np.bool_)
    padded[:, 1:-1] = flags
    # Where a flag differs from the one before, a run begins or has ended, in turn.
    change = np.flatnonzero(padded[:, 1:] != padded[:, :-1])
    day, place = np.divmod(change, flags.shape[1] + 1)
    return day[::2], place[::2], place[1::2]


def day_ends(flags: Bools) -> tuple[Ints, Ints, Ints]:
    """Give the days with a flag, and for each its first flagged bin and the one after its last."""
    days = np.flatnonzero(flags.any(axis=1))
    first = flags[days].argmax(axis=1)
    last = flags.shape[1] - flags[days, ::-1].argmax(axis=1)
    return days, first, last


def day_span(flags: Bools) -> dict[int, tuple[int, int]]:
    """Give for each day with a flag its first flagged bin and the one after its last."""
    days, first, last = day_ends(flags)
    spans = zip(first.tolist(), last.tolist(), strict=True)
    return dict(zip(days.tolist(), spans, strict=True))


def long_runs(flags: Bools, least: int) -> Bools:
    """Keep only runs of at least so many bins, within each day."""
    kept = np.zeros(flags.shape, dtype=np.bool_)
    keep_long(given(flags), least, kept)
    return kept


def short_holes(flags: Bools, most: int) -> Bools:
    """Give the holes of at most so many bins between flagged bins, within each day."""
    holes = np.zeros(flags.shape, dtype=np.bool_)
    find_short(given(flags), most, holes)
    return holes


def latched(sets: Bools, holds: Bools, before: Bools | None = None) -> Bools:
    """Tell bins in which a state is on that some bins set, and that lasts while others hold it.

    Parameters
    ----------
    sets, holds : shape (days, bins); a bin that sets needs no holding
    before : shape (days,), the state before the first bin; None: off
    """
    on = np.empty(sets.shape, dtype=np.bool_)
    first = np.zeros(sets.shape[0], dtype=np.bool_) if before is None else before
    latch(given(sets), given(holds), given(first), on)
    return on


def lately(flags: Bools, most: int) -> Bools:
    """Tell bins that are flagged or come at most so many bins after a flagged one of their day."""
    late = np.empty(flags.shape, dtype=np.bool_)
    stay(given(flags), most, late)
    return late


def in_a_row(join: np.ufunc, values: Floats, count: int) -> Floats:
    """Join each so many values in a row, as the greatest or the least of them.

    Parameters
    ----------
    join : a ufunc that may take a value twice: `numpy.maximum`, `numpy.minimum`
    values : shape (..., m)
    count : 1 to m

    Returns
    -------
    shape (..., m - count + 1)
    """
    joined, width = values, 1
    while 2 * width <= count:
        joined, width = join(joined[..., width:], joined[..., :-width]), 2 * width
    rest = count - width
    return joined if not rest else np.asarray(join(joined[..., rest:], joined[..., :-rest]))


def day_peak(values: Floats) -> Floats:
    """Give the greatest known value of each day; shape (days,), NaN where there is none."""
    return np.asarray(np.fmax.reduce(values, axis=1, initial=np.nan))
