"""Rows of one UTC day as a block: cutting, merging, and the bytes they are stored as.

Pure: no database here. A block holds stamps as the log gave them and every channel in its
canonical unit; NaN is "no value". The bytes are an Arrow IPC stream with zstd, which any Arrow
library reads.
"""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_DAY_S = 86_400
_EPOCH = date(1970, 1, 1)
# A day with fewer distinct values than this is not told apart from another site's quiet day.
_DISTINCT = 100
# Units are converted when read; beyond this many decimals two conversions may differ.
_DECIMALS = 3


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Merged:
    """Two blocks as one, and what the newer one brought.

    `touched_s` are the stamps of rows that are new or changed.
    """

    block: Block
    new: int
    changed: int
    touched_s: Ints


def utc_day(stamp_s: int) -> date:
    """Give the UTC day of a stamp."""
    return _EPOCH + timedelta(days=stamp_s // _DAY_S)


def split_days(block: Block) -> dict[date, Block]:
    """Cut rows by UTC day."""
    if len(block) == 0:
        return {}
    number = block.stamp_s // _DAY_S
    edges = [0, *(np.flatnonzero(np.diff(number)) + 1).tolist(), len(block)]
    days: dict[date, Block] = {}
    for first, last in pairwise(edges):
        days[_EPOCH + timedelta(days=int(number[first]))] = Block(
            stamp_s=block.stamp_s[first:last],
            columns={name: values[first:last] for name, values in block.columns.items()},
        )
    return days


def merge(old: Block | None, new: Block) -> Merged:
    """Lay newer rows over older ones: per stamp and channel, the newer value wins if it is one."""
    if old is None:
        return Merged(block=new, new=len(new), changed=0, touched_s=new.stamp_s)
    stamp_s = np.union1d(old.stamp_s, new.stamp_s)
    at_old = np.searchsorted(stamp_s, old.stamp_s)
    at_new = np.searchsorted(stamp_s, new.stamp_s)
    known = np.zeros(stamp_s.shape[0], dtype=np.bool_)
    known[at_old] = True
    changed = np.zeros(stamp_s.shape[0], dtype=np.bool_)
    columns: dict[str, Floats] = {}
    for name in sorted({*old.columns, *new.columns}):
        values = np.full(stamp_s.shape[0], np.nan)
        if name in old.columns:
            values[at_old] = old.columns[name]
        if name in new.columns:
            fresh = new.columns[name]
            given = ~np.isnan(fresh)
            place = at_new[given]
            changed[place] |= values[place] != fresh[given]
            values[place] = fresh[given]
        columns[name] = values
    changed &= known
    return Merged(
        block=Block(stamp_s=stamp_s, columns=columns),
        new=int(stamp_s.shape[0] - len(old)),
        changed=int(changed.sum()),
        touched_s=stamp_s[changed | ~known],
    )


def join(blocks: Iterable[Block]) -> Block | None:
    """Put blocks of separate, rising days one after another; None where there are none."""
    parts = list(blocks)
    if not parts:
        return None
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


def values_hash(block: Block) -> str | None:
    """Give a hash that is equal for equal rows, or None where they prove nothing."""
    filled = {
        name: np.round(values, _DECIMALS) + 0.0  # no negative zero
        for name, values in block.columns.items()
        if not bool(np.isnan(values).all())
    }
    if not filled:
        return None
    every = np.concatenate(list(filled.values()))
    if np.unique(every[~np.isnan(every)]).shape[0] < _DISTINCT:
        return None
    digest = hashlib.sha256(block.stamp_s.tobytes())
    for name in sorted(filled):
        values = filled[name]
        digest.update(name.encode())
        digest.update(np.where(np.isnan(values), np.nan, values).tobytes())
    return digest.hexdigest()


def encode(block: Block) -> bytes:
    """Turn a block into bytes."""
    import pyarrow as pa

    names = list(block.columns)
    table = pa.RecordBatch.from_arrays(
        [pa.array(block.stamp_s), *(pa.array(block.columns[name]) for name in names)],
        names=["stamp_s", *names],
    )
    sink = pa.BufferOutputStream()
    options = pa.ipc.IpcWriteOptions(compression="zstd")
    with pa.ipc.new_stream(sink, table.schema, options=options) as writer:
        writer.write_batch(table)
    return bytes(sink.getvalue().to_pybytes())


def decode(data: bytes) -> Block:
    """Turn bytes into the block again."""
    import pyarrow as pa

    with pa.ipc.open_stream(pa.py_buffer(data)) as reader:
        batch = reader.read_next_batch()
    arrays = {
        name: np.asarray(column.to_numpy(zero_copy_only=False))
        for name, column in zip(batch.schema.names, batch.columns, strict=True)
    }
    stamp_s = arrays.pop("stamp_s")
    return Block(stamp_s=stamp_s, columns=arrays)
