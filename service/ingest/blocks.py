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
class Change:
    """What became of a day.

    Attributes
    ----------
    new, changed, gone : rows that are there now, that say something else, that are away
    touched_s : their stamps, rising [s]
    columns : whether a column came or went
    """

    new: int
    changed: int
    gone: int
    touched_s: Ints
    columns: bool


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


def merge(old: Block, new: Block) -> Block:
    """Lay newer rows over older ones: per stamp and channel, the newer value wins if it is one."""
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


def change(old: Block | None, new: Block | None) -> Change:
    """Give what is different between a day as it was and as it is."""
    empty = Block(stamp_s=np.zeros(0, dtype=np.int64), columns={})
    old, new = old or empty, new or empty
    common, at_old, at_new = np.intersect1d(
        old.stamp_s, new.stamp_s, assume_unique=True, return_indices=True
    )
    differs = np.zeros(common.shape[0], dtype=np.bool_)
    nothing = np.broadcast_to(np.nan, common.shape)
    for name in {*old.columns, *new.columns}:
        was = old.columns[name][at_old] if name in old.columns else nothing
        now = new.columns[name][at_new] if name in new.columns else nothing
        differs |= (was != now) & ~(np.isnan(was) & np.isnan(now))
    came = np.setdiff1d(new.stamp_s, common, assume_unique=True)
    went = np.setdiff1d(old.stamp_s, common, assume_unique=True)
    return Change(
        new=int(came.shape[0]),
        changed=int(differs.sum()),
        gone=int(went.shape[0]),
        touched_s=np.sort(np.concatenate([came, went, common[differs]])),
        columns=set(old.columns) != set(new.columns),
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
    """Turn a block into bytes; equal blocks give equal bytes."""
    import pyarrow as pa

    names = sorted(block.columns)
    # A negative zero would be another byte for the same value.
    table = pa.RecordBatch.from_arrays(
        [pa.array(block.stamp_s), *(pa.array(block.columns[name] + 0.0) for name in names)],
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


def channels_in(data: bytes) -> tuple[str, ...]:
    """Give the channels of a block without its values."""
    import pyarrow as pa

    with pa.ipc.open_stream(pa.py_buffer(data)) as reader:
        return tuple(name for name in reader.schema.names if name != "stamp_s")
