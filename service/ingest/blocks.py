"""Rows of one UTC day in the store: what changed, what they hash to, and their bytes.

Pure: no database here. The bytes of a block (`analysis.blocks`) are an Arrow IPC stream with zstd,
which any Arrow library reads.
"""

import hashlib
from dataclasses import dataclass

import numpy as np

from analysis.blocks import Block
from analysis.record import Ints

# A day with fewer distinct values than this is not told apart from another site's quiet day.
_DISTINCT = 100
# Units are converted when read; beyond this many decimals two conversions may differ.
_DECIMALS = 3


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
