"""Five-minute bins of local days: rows of any step on one rectangular table.

Weather and the healthy loop are worked out on these bins, a day a row, so that all days go through
the same vectorised steps side by side. Bins count from local midnight; a day of 23 hours leaves its
last bins empty, one of 25 hours has twelve more.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.days import LocalDays
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
    row : shape (m,), the row a piece comes from
    cell : shape (m,), the flat bin it falls in
    seconds : shape (m,), how long it is [s]
    whole : every row is one piece, in order
    """

    shape: tuple[int, int]
    start_s: Ints
    row: Ints
    cell: Ints
    seconds: Floats
    whole: bool

    def seconds_where(self, flags: Bools) -> Floats:
        """Give how long a condition on rows held in each bin [s]."""
        return self._summed(self.seconds * self._pieces(flags))

    def mean(self, values: Floats) -> Floats:
        """Give the mean over the known part of each bin, NaN where nothing is known."""
        taken = self._pieces(values)
        known = np.isfinite(taken)
        if known.all():
            total, length = self._summed(taken * self.seconds), self.length_s
        else:
            weight = self.seconds * known
            total, length = self._summed(np.where(known, taken, 0.0) * weight), self._summed(weight)
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(length > 0.0, total / length, np.nan)

    def mean_where(self, values: Floats, flags: Bools) -> Floats:
        """Give the mean over the part of each bin in which a condition on rows held."""
        return self.mean(np.where(flags, values, np.nan))

    @cached_property
    def length_s(self) -> Floats:
        """How much of each bin is logged at all; shape (days, bins) [s]."""
        return self._summed(self.seconds)

    def _pieces(self, values: NDArray[Any]) -> NDArray[Any]:
        """Give each piece its row's value."""
        return values if self.whole else values[self.row]

    def _summed(self, weight: Floats) -> Floats:
        size = self.shape[0] * self.shape[1]
        total = np.bincount(self.cell, weights=weight, minlength=size).astype(np.float64)
        return np.asarray(total.reshape(self.shape))


def grid_of(record: Record, days: LocalDays, day: Ints) -> Grid:
    """Lay rows onto the bins of their days.

    Parameters
    ----------
    record : the rows
    days : local days
    day : shape (n,), each row's day, -1 outside (see `analysis.days.day_index`)
    """
    bins = int(np.ceil(days.length_s.max() / BIN_S)) if len(days) else 0
    parts = np.maximum(np.ceil(record.step_s / BIN_S - 0.01).astype(np.int64), 1)
    parts[day < 0] = 0
    row, whole = np.arange(len(record)), bool((parts == 1).all())
    if whole:
        first_s, seconds, on_day = record.start_s, record.step_s, day
        middle = first_s + 0.5 * seconds
    else:
        row = np.repeat(row, parts)
        piece = np.arange(row.shape[0]) - np.repeat(np.cumsum(parts) - parts, parts)
        seconds, on_day = record.step_s[row] / parts[row], day[row]
        middle = record.start_s[row] + (piece + 0.5) * seconds
    number = ((middle - days.edge_s[:-1][on_day]) // BIN_S).astype(np.int64)
    number = np.clip(number, 0, bins - 1)
    start = days.edge_s[:-1, None] + BIN_S * np.arange(bins, dtype=np.int64)[None, :]
    return Grid(
        shape=(len(days), bins),
        start_s=start,
        row=row,
        cell=on_day * bins + number,
        seconds=seconds,
        whole=whole,
    )
