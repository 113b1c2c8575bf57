"""Rows of one UTC day in the store: what changed, what they hash to, and their bytes.

Pure: no database here. The bytes of a block (`analysis.blocks`) are a zstd frame around an Arrow
IPC stream, which any Arrow library reads; a frame for each column would take four times as long. As
loggers write few decimals, a column is whole numbers where these, over the field's `per_unit`, are
exactly its values; null is "no value". `steps_s` is the first stamp, then the time from row to row.
Blocks that an older version stored are a bare stream with `stamp_s` and plain columns.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from analysis.blocks import Block
from analysis.record import Floats, Ints

if TYPE_CHECKING:
    import pyarrow as pa

# A day with fewer distinct values than this is not told apart from another site's quiet day.
_DISTINCT = 100
# Units are converted when read; beyond this many decimals two conversions may differ.
_DECIMALS = 3
# What whole numbers are divided by, the coarsest that fits first.
_PER_UNIT = (1, 10, 100, 1000)
_MOST_SHORT, _MOST_LONG = 2**15 - 1, 2**31 - 1
_STAMPS, _STEPS, _SCALE = "stamp_s", "steps_s", b"per_unit"
_FRAME = b"\x28\xb5\x2f\xfd"  # how a zstd frame begins (RFC 8878, 3.1.1)


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
    if not len(old):
        return Change(
            new=len(new),
            changed=0,
            gone=0,
            touched_s=new.stamp_s,
            columns=set(old.columns) != set(new.columns),
        )
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
    names = sorted(block.columns)
    names = [name for name in names if not np.isnan(block.columns[name]).all()]
    if not names:
        return None
    # All columns in one go: a call for each of them costs more than its numbers.
    values = np.round(_stacked(block, names), _DECIMALS) + 0.0  # no negative zero
    values[np.isnan(values)] = np.nan
    every = values[~np.isnan(values)]
    # A part tells almost always, and sorting it is soon done.
    if all(np.unique(some).shape[0] < _DISTINCT for some in (every[::16], every)):
        return None
    digest = hashlib.sha256(block.stamp_s.tobytes())
    for name, own in zip(names, values, strict=True):
        digest.update(name.encode())
        digest.update(own.tobytes())
    return digest.hexdigest()


def encode(block: Block) -> bytes:
    """Turn a block into bytes; equal blocks give equal bytes."""
    import pyarrow as pa

    fields, arrays = [pa.field(_STEPS, pa.int64())], [pa.array(np.diff(block.stamp_s, prepend=0))]
    names = sorted(block.columns)
    values = _stacked(block, names)
    unknown = np.isnan(values)
    holes = np.asarray(unknown.any(axis=1))
    for place, (whole, per_unit) in enumerate(_as_whole(np.where(unknown, 0.0, values))):
        # A negative zero would be another byte for the same value.
        stored = values[place] + 0.0 if whole is None else whole
        mask = unknown[place] if holes[place] and whole is not None else None
        arrays.append(pa.array(stored, mask=mask))
        told = {} if whole is None else {_SCALE: str(per_unit)}
        fields.append(pa.field(names[place], arrays[-1].type, metadata=told))
    batch = pa.RecordBatch.from_arrays(arrays, schema=pa.schema(fields))
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, batch.schema) as writer:
        writer.write_batch(batch)
    return bytes(pa.compress(sink.getvalue(), codec="zstd", asbytes=True))


def _stacked(block: Block, names: Sequence[str]) -> Floats:
    """Give columns one above the other; shape (columns, rows)."""
    columns = [block.columns[name] for name in names]
    return np.array(columns, dtype=np.float64).reshape(len(columns), len(block))


def _as_whole(values: Floats) -> list[tuple[NDArray[np.signedinteger] | None, int]]:
    """Give each row as whole numbers and what divides them; None where nothing does exactly."""
    found: list[tuple[NDArray[np.signedinteger] | None, int]] = [(None, 1)] * len(values)
    most = np.abs(values).max(axis=1, initial=0.0)
    left = np.arange(len(values))
    for per_unit in _PER_UNIT:
        left = left[most[left] * per_unit <= _MOST_LONG]
        whole = np.rint(values[left] * per_unit)
        fits = (whole / per_unit == values[left]).all(axis=1)
        for place, own in zip(left[fits].tolist(), whole[fits], strict=True):
            short = most[place] * per_unit <= _MOST_SHORT
            found[place] = (own.astype(np.int16 if short else np.int32), per_unit)
        left = left[~fits]
    return found


def decode(data: bytes) -> Block:
    """Turn bytes into the block again."""
    with _reader(data) as reader:
        batch = reader.read_next_batch()
    columns: dict[str, Floats] = {}
    for field, column in zip(batch.schema, batch.columns, strict=True):
        values = np.asarray(column.to_numpy(zero_copy_only=False))
        told = field.metadata
        columns[field.name] = values if told is None else values / int(told[_SCALE])
    if _STEPS in columns:
        stamp_s = np.cumsum(columns.pop(_STEPS), dtype=np.int64)
    else:
        stamp_s = columns.pop(_STAMPS).astype(np.int64, copy=False)
    return Block(stamp_s=stamp_s, columns=columns)


def channels_in(data: bytes) -> tuple[str, ...]:
    """Give the channels of a block without its values."""
    with _reader(data) as reader:
        return tuple(name for name in reader.schema.names if name not in (_STAMPS, _STEPS))


def _reader(data: bytes) -> "pa.RecordBatchReader":
    import pyarrow as pa

    stream = pa.BufferReader(data)
    if data.startswith(_FRAME):
        stream = pa.CompressedInputStream(stream, "zstd")
    return pa.ipc.open_stream(stream)
