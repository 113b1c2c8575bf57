"""Stamped rows as blocks: cut by UTC day, laid over one another, put one after another.

A block holds stamps as the log gave them and every channel in its canonical unit; NaN is "no
value". The bytes that one is stored as are the service's business.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np

from analysis.common_rows import day_edges
from analysis.record import Floats, Ints
from analysis.units import SECONDS_PER_DAY

_DAY_S = int(SECONDS_PER_DAY)
_EPOCH = date(1970, 1, 1)
# Units are converted when rows are read; beyond so many decimals two conversions may differ.
MOST_DECIMALS = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Block:
    """Rows on strictly rising stamps.

    Attributes
    ----------
    stamp_s : shape (n,), UTC epoch seconds as stamped
    columns : channel to values of shape (n,), NaN missing
    """

    stamp_s: Ints
    columns: Mapping[str, Floats]

    def __len__(self) -> int:
        return int(self.stamp_s.shape[0])


def utc_day(stamp_s: int) -> date:
    """Give the UTC day of a stamp."""
    return _EPOCH + timedelta(days=stamp_s // _DAY_S)


def split_days(block: Block) -> dict[date, Block]:
    """Cut rows by UTC day."""
    if len(block) == 0:
        return {}
    return {
        utc_day(int(block.stamp_s[first])): part_of(block, first, last)
        for first, last in pairwise(day_edges(block.stamp_s))
    }


def part_of(block: Block, first: int, last: int) -> Block:
    """Give rows `first` to `last` (excluded), sharing memory."""
    return Block(
        stamp_s=block.stamp_s[first:last],
        columns={name: values[first:last] for name, values in block.columns.items()},
    )


def merge(old: Block, new: Block) -> Block:
    """Lay newer rows over older ones: per stamp and channel, the newer value wins if it is one."""
    if len(old) and len(new) and old.stamp_s[-1] < new.stamp_s[0]:
        return _joined([old, new])  # as a gateway's mostly are
    stamp_s = np.union1d(old.stamp_s, new.stamp_s)
    at_old = np.searchsorted(stamp_s, old.stamp_s)
    at_new = np.searchsorted(stamp_s, new.stamp_s)
    columns: dict[str, Floats] = {}
    for name in sorted({*old.columns, *new.columns}):
        values = np.full(stamp_s.shape[0], np.nan)
        if name in old.columns:
            values[at_old] = old.columns[name]
        if name in new.columns:
            fresh = new.columns[name]
            given = ~np.isnan(fresh)
            values[at_new[given]] = fresh[given]
        columns[name] = values
    return Block(stamp_s=stamp_s, columns=columns)


def join(blocks: Iterable[Block]) -> Block | None:
    """Put blocks of separate, rising days one after another; None where there are none."""
    parts = list(blocks)
    return _joined(parts) if parts else None


def _joined(parts: Sequence[Block]) -> Block:
    names = sorted({name for part in parts for name in part.columns})
    rows = sum(len(part) for part in parts)
    columns = {name: np.full(rows, np.nan) for name in names}
    stamp_s = np.concatenate([part.stamp_s for part in parts])
    first = 0
    for part in parts:
        for name, values in part.columns.items():
            columns[name][first : first + len(part)] = values
        first += len(part)
    return Block(stamp_s=stamp_s, columns=columns)
