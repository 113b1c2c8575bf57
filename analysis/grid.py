"""Five-minute bins of local days: rows of any step on one rectangular table.

Weather and the healthy loop are worked out on these bins, a day a row, so that all days go through
the same vectorised steps side by side. Bins count from local midnight; a day of 23 hours leaves its
last bins empty, one of 25 hours has twelve more.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.compiled import given
from analysis.days import LocalDays
from analysis.grid_kernel import bin_means, lay_rows
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
        size = self.shape[0] * self.shape[1]
        weight = self.seconds * (flags if self.whole else flags[self.row])
        total = np.bincount(self.cell, weights=weight, minlength=size).astype(np.float64)
        return np.asarray(total.reshape(self.shape))

    def mean(self, values: Floats) -> Floats:
        """Give the mean over the known part of each bin, NaN where nothing is known."""
        return self.mean_where(values, self._every)

    def mean_where(self, values: Floats, flags: Bools) -> Floats:
        """Give the mean over the part of each bin in which a condition on rows held."""
        mean = np.empty(self.shape)
        bin_means(given(values), given(flags), self.row, self.cell, self.seconds, mean.ravel())
        return mean

    @cached_property
    def _every(self) -> Bools:
        return np.ones(int(self.row[-1]) + 1 if self.row.size else 0, dtype=np.bool_)


def grid_of(record: Record, days: LocalDays) -> Grid:
    """Lay rows onto the bins of their days.

    Parameters
    ----------
    record : the rows
    days : local days
    """
    bins = int(np.ceil(days.length_s.max() / BIN_S)) if len(days) else 0
    day, row, cell, seconds = lay_rows(record.start_s, record.step_s, days.edge_s, bins, BIN_S)
    whole = row.size == len(record) and bool((np.diff(row) == 1).all())
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
