"""Rows of one UTC day in the store: what changed, what they hash to, and their bytes.

Pure: no database here. The bytes are those of `service.ingest.block_form`. Blocks that older
versions stored are Arrow IPC streams, in a zstd frame or bare: with `steps_s` (the first stamp,
then the time from row to row) and columns of whole numbers over the field's `per_unit`, or with
`stamp_s` and plain columns.
"""

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np

from analysis.blocks import Block, join
from analysis.record import Floats, Ints
from service.ingest import block_form

if TYPE_CHECKING:
    import pyarrow as pa

_STAMPS, _STEPS, _SCALE = "stamp_s", "steps_s", b"per_unit"
# Packing so many days at once takes fewer calls; more of them gain nothing (measured).
_AT_ONCE = 8
# So many days, and those of one lot, wait at most to be compressed.
_WAITING = 64
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
    at_old: Ints | slice
    at_new: Ints | slice
    if len(old) <= len(new) and np.array_equal(old.stamp_s, new.stamp_s[: len(old)]):
        # Rows came behind, or none did.
        common, at_old = old.stamp_s, slice(None)
        at_new, came, went = slice(len(old)), new.stamp_s[len(old) :], old.stamp_s[:0]
    else:
        common, at_old, at_new = np.intersect1d(
            old.stamp_s, new.stamp_s, assume_unique=True, return_indices=True
        )
        came = np.setdiff1d(new.stamp_s, common, assume_unique=True)
        went = np.setdiff1d(old.stamp_s, common, assume_unique=True)
    differs = np.zeros(common.shape[0], dtype=np.bool_)
    nothing = np.broadcast_to(np.nan, common.shape)
    for name in {*old.columns, *new.columns}:
        was = old.columns[name][at_old] if name in old.columns else nothing
        now = new.columns[name][at_new] if name in new.columns else nothing
        other = was != now
        if other.any():
            differs |= other & ~(np.isnan(was) & np.isnan(now))
    return Change(
        new=int(came.shape[0]),
        changed=int(differs.sum()),
        gone=int(went.shape[0]),
        touched_s=np.sort(np.concatenate([came, went, common[differs]])),
        columns=set(old.columns) != set(new.columns),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sealed:
    """A block ready to be written: its bytes, and the hash of its values where they prove it."""

    rows: int
    data: bytes
    values_hash: str | None


def seal(block: Block) -> Sealed:
    """Make a block ready to be written."""
    packed = block_form.pack(block)
    return Sealed(rows=len(block), data=packed.data(), values_hash=packed.values_hash())


def seal_days(days: Mapping[date, Block]) -> dict[date, Sealed]:
    """Make days ready to be written: some are packed and hashed while others are compressed."""
    told: list[str | None] = []
    framed: list[Future[bytes]] = []
    with ThreadPoolExecutor(1) as beside:
        for blocks in _alike(days):
            if len(framed) >= _WAITING:
                framed[-_WAITING].result()
            alike = block_form.pack_alike(blocks)
            # Lot by lot, as threads wait for each other wherever they take turns.
            written = [packed.written() for packed in alike]
            framed.extend(beside.submit(block_form.framed, *one) for one in written)
            told.extend(packed.values_hash() for packed in alike)
    return {
        day: Sealed(rows=len(block), data=data.result(), values_hash=values_hash)
        for (day, block), data, values_hash in zip(days.items(), framed, told, strict=True)
    }


def _alike(days: Mapping[date, Block]) -> Iterator[list[Block]]:
    """Give these blocks by and by, a few of the same columns and number of rows at once."""
    for _, alike in groupby(days.values(), lambda one: (len(one), one.columns.keys())):
        blocks = list(alike)
        for first in range(0, len(blocks), _AT_ONCE):
            yield blocks[first : first + _AT_ONCE]


def values_hash(block: Block) -> str | None:
    """Give a hash that is equal for equal rows, or None where they prove nothing."""
    return block_form.pack(block).values_hash()


def encode(block: Block) -> bytes:
    """Turn a block into bytes; equal blocks give equal bytes."""
    return block_form.pack(block).data()


def decode(data: bytes) -> Block:
    """Turn bytes into the block again."""
    if data.startswith(block_form.MAGIC):
        return block_form.unpack([data])
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


def decode_days(days: Sequence[bytes]) -> Block | None:
    """Turn the bytes of separate, rising days into one block; None where there are none."""
    if days and all(data.startswith(block_form.MAGIC) for data in days):
        return block_form.unpack(days)
    return join(map(decode, days))


def channels_in(data: bytes) -> tuple[str, ...]:
    """Give the channels of a block without its values."""
    if data.startswith(block_form.MAGIC):
        return block_form.names_in(data)
    with _reader(data) as reader:
        return tuple(name for name in reader.schema.names if name not in (_STAMPS, _STEPS))


def _reader(data: bytes) -> "pa.RecordBatchReader":
    import pyarrow as pa

    stream = pa.BufferReader(data)
    if data.startswith(_FRAME):
        stream = pa.CompressedInputStream(stream, "zstd")
    return pa.ipc.open_stream(stream)
