"""Five-minute bins of local days: rows of any step on one rectangular table.

Weather and the healthy loop are worked out on these bins, a day a row, so that all days go through
the same vectorised steps side by side. Bins count from local midnight; a day of 23 hours leaves its
last bins empty, one of 25 hours has twelve more.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.compiled import given
from analysis.days import LocalDays
from analysis.grid_kernel import SLACK_FRAC, bin_means, bin_peaks, bin_seconds, lay_rows
from analysis.record import Bools, Floats, Ints, Record
from analysis.units import SECONDS_PER_DAY

BIN_S = 300
# A usual day has so many; the grid has more where one of its days has 25 hours. What looks at a
# whole day at once takes these, or a day would say something else beside such a one.
DAY_BINS = int(SECONDS_PER_DAY / BIN_S)


@dataclass(frozen=True, kw_only=True, eq=False)
class Grid:
    """Where each piece of a row falls.

    Attributes
    ----------
    shape : (days, bins)
    start_s : shape (days, bins), start of each bin, UTC epoch seconds
    day : shape (n,), the day that each row's middle falls in, -1 outside all days
    row : shape (m,), the row a piece comes from
    cell : shape (m,), the flat bin it falls in
    seconds : shape (m,), how long it is [s]
    whole : every row is one piece, in order
    """

    shape: tuple[int, int]
    start_s: Ints
    day: Ints
    row: Ints
    cell: Ints
    seconds: Floats
    whole: bool

    def seconds_where(self, flags: Bools) -> Floats:
        """Give how long a condition on rows held in each bin [s]."""
        # Most conditions on what is known hold throughout.
        return self.length_s if flags.all() else self._seconds_of(self._pieces(flags))

    def mean(self, values: Floats) -> Floats:
        """Give the mean over the known part of each bin, NaN where nothing is known."""
        return self.mean_of(self._pieces(values))

    def mean_of(self, values: Floats) -> Floats:
        """Give the same of a value of each piece, shape (m,)."""
        mean = np.empty(self.shape)
        bin_means(given(values), given(self.cell), given(self.seconds), mean.ravel())
        return mean

    def where(self, flags: Bools) -> "Grid":
        """Give the pieces in which a condition on rows held."""
        some = np.flatnonzero(self._pieces(flags))
        row, cell, seconds = self.row[some], self.cell[some], self.seconds[some]
        return replace(self, row=row, cell=cell, seconds=seconds, whole=False)

    def peak(self, values: Floats) -> Floats:
        """Give the greatest known value of each bin, -inf where nothing is known."""
        peak = np.empty(self.shape)
        bin_peaks(given(self._pieces(values)), given(self.cell), peak.ravel())
        return peak

    @cached_property
    def length_s(self) -> Floats:
        """How much of each bin the rows cover [s]."""
        return self._seconds_of(np.ones(self.cell.shape, dtype=np.bool_))

    def _seconds_of(self, flags: Bools) -> Floats:
        total = np.empty(self.shape)
        bin_seconds(given(flags), given(self.cell), given(self.seconds), total.ravel())
        return total

    def _pieces(self, values: NDArray[Any]) -> NDArray[Any]:
        """Give each piece its row's value."""
        return values if self.whole else values[self.row]


def grid_of(record: Record, days: LocalDays) -> Grid:
    """Lay rows onto the bins of their days.

    Parameters
    ----------
    record : the rows
    days : local days
    """
    bins = int(np.ceil(days.length_s.max() / BIN_S)) if len(days) else 0
    starts, steps = given(record.start_s), given(record.step_s)
    most = len(record)
    if steps.max() > BIN_S:
        most = int(np.maximum(np.ceil(steps / BIN_S - SLACK_FRAC), 1.0).sum())
    day, row, cell = (np.empty(size, dtype=np.int64) for size in (len(record), most, most))
    seconds = np.empty(most)
    count = lay_rows(starts, steps, given(days.edge_s), bins, BIN_S, day, row, cell, seconds)
    row, cell, seconds = row[:count], cell[:count], seconds[:count]
    whole = count == most == len(record)
    # The record's own array: a copy less to hold.
    seconds = record.step_s if whole else seconds
    seconds.setflags(write=False)
    start = days.edge_s[:-1, None] + BIN_S * np.arange(bins, dtype=np.int64)[None, :]
    return Grid(
        shape=(len(days), bins),
        start_s=start,
        day=day,
        row=row,
        cell=cell,
        seconds=seconds,
        whole=whole,
    )
