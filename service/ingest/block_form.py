"""The bytes of a block of rows, and the hash that knows equal values. Pure: no database here.

Loggers write few decimals, so a column is kept as whole numbers where these, over a power of ten,
are exactly its values; as what is added from row to row, they are small and take little room.
Little-endian, in this order:

    b"SUN1"
    rows            unsigned, 4 bytes
    first stamp     signed, 8 bytes [s]
    width of steps  1 byte: 4 or 8
    length of the table of columns, 2 bytes; each column, by name: width 2, 4 or 8, decimals, length
                    of the name (a byte each), the name in UTF-8
    one zstd frame: the steps from stamp to stamp, then the columns of width 8, 4 and 2

A column of width 2 or 4 holds the differences of whole numbers, the first to 0; the lowest number
is "no value". One of width 8 holds the values themselves.
"""

import hashlib
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from analysis.blocks import MOST_DECIMALS, Block
from analysis.record import Bools, Floats, Ints

if TYPE_CHECKING:
    import pyarrow as pa

MAGIC = b"SUN1"
_HEAD = struct.Struct("<IqBH")
_PER_UNIT = np.array([1.0, 10.0, 100.0, 1000.0])
_WIDTHS: dict[int, np.dtype[Any]] = {
    2: np.dtype("<i2"),
    4: np.dtype("<i4"),
    8: np.dtype("<f8"),
}
_NOTHING = {2: -(2**15), 4: -(2**31)}
_MOST_SHORT, _MOST_LONG = 2**15 - 1, 2**31 - 1
# So many rows show how many decimals a column has, and whether a day has many values, mostly.
_SHOWN = 48
# A day with fewer distinct values than this is not told apart from another site's quiet day.
_DISTINCT = 100


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Packed:
    """A block made ready for its bytes and its hash.

    Attributes
    ----------
    names : of the channels, rising
    values : shape (channels, rows), without negative zeros, NaN missing
    whole : the same as whole numbers; anything where the width is 8 or there is no value
    unknown : where there is no value; None where there are values throughout
    decimals, width : of each channel
    """

    stamp_s: Ints
    names: tuple[str, ...]
    values: Floats
    whole: Floats
    unknown: Bools | None
    decimals: Ints
    width: Ints

    def data(self) -> bytes:
        """Give the bytes; equal blocks give equal bytes."""
        return framed(*self.written())

    def written(self) -> tuple[bytes, bytes]:
        """Give the bytes before the frame, and those that are compressed into it."""
        steps = np.diff(self.stamp_s)
        long = bool((steps > _MOST_LONG).any())
        first = int(self.stamp_s[0]) if len(self.stamp_s) else 0
        columns = _table(self.names, tuple(self.width.tolist()), tuple(self.decimals.tolist()))
        head = _HEAD.pack(len(self.stamp_s), first, 8 if long else 4, len(columns))
        parts = [steps.astype("<i8" if long else "<i4").tobytes()]
        parts.extend(self._numbers(width) for width in (8, 4, 2))
        return b"".join((MAGIC, head, columns)), b"".join(parts)

    def _numbers(self, width: int) -> bytes:
        of = np.flatnonzero(self.width == width)
        if not of.size:
            return b""
        # Mostly all columns are of one width: those are taken as they stand.
        rows = slice(None) if of.size == len(self.names) else of
        kind = _WIDTHS[width]
        if width == 8:
            return self.values[rows].astype(kind).tobytes()
        whole = self.whole[rows].astype(kind)
        if self.unknown is not None:
            whole[self.unknown[rows]] = _NOTHING[width]
        added = whole.copy()
        added[:, 1:] -= whole[:, :-1]
        return added.tobytes()

    def values_hash(self) -> str | None:
        """Give a hash that is equal for equal rows, or None where they prove nothing."""
        # Whole numbers over at most a thousand are rounded to three decimals already.
        rounded = self.values
        if bool((self.width == 8).any()):
            rounded = np.round(self.values, MOST_DECIMALS) + 0.0
            rounded[np.isnan(rounded)] = np.nan
        if not _tells(_some(rounded)) and not _tells(rounded):
            return None
        told = [self.stamp_s.tobytes()]
        for name, own in zip(self.names, rounded, strict=True):
            if self.unknown is None or not np.isnan(own).all():
                told.extend((name.encode(), own.tobytes()))
        # In one piece: hashed by pieces, each would wait for the interpreter.
        return hashlib.sha256(b"".join(told)).hexdigest()


def framed(head: bytes, content: bytes) -> bytes:
    """Give the bytes of a block: its head, and its content compressed."""
    return head + bytes(_zstd().compress(content, asbytes=True))


def pack(block: Block) -> Packed:
    """Find how each column is written with the fewest decimals."""
    return pack_alike([block])[0]


def pack_alike(blocks: Sequence[Block]) -> list[Packed]:
    """Find that for blocks of the same columns and as many rows: together they cost less."""
    names = tuple(sorted(blocks[0].columns))
    values = np.empty((len(blocks) * len(names), len(blocks[0])))
    own = [slice(at * len(names), (at + 1) * len(names)) for at in range(len(blocks))]
    for block, lines in zip(blocks, own, strict=True):
        for line, name in zip(values[lines], names, strict=True):
            line[:] = block.columns[name]
    missing = np.isnan(values)
    unknown = missing if bool(missing.any()) else None
    if unknown is not None:
        values[unknown] = 0.0
    with np.errstate(over="ignore", invalid="ignore"):  # too large for whole numbers at any rate
        decimals, fits, most, whole = _as_whole(values)
    # No negative zero: another byte, another hash for the same value.
    values += 0.0
    if unknown is not None:
        values[unknown] = np.nan
    decimals = np.where(fits, decimals, 0)
    width = np.where(fits, np.where(most > _MOST_SHORT, 4, 2), 8)
    return [
        Packed(
            stamp_s=block.stamp_s,
            names=names,
            values=values[lines],
            whole=whole[lines],
            unknown=None if unknown is None else unknown[lines],
            decimals=decimals[lines],
            width=width[lines],
        )
        for block, lines in zip(blocks, own, strict=True)
    ]


def _as_whole(values: Floats) -> tuple[Ints, Bools, Floats, Floats]:
    """Give of each row the fewest decimals, whether whole numbers are exactly it, the largest of
    these, and these.
    """
    shown = _some(values)
    scaled = np.rint(shown * _PER_UNIT[:, None, None]) / _PER_UNIT[:, None, None]
    decimals = np.argmax((scaled == shown).all(axis=2), axis=0)
    whole, most, fits = _at(values, decimals)
    while True:
        # What few rows show may lack decimals that others have.
        more = np.flatnonzero(~fits & (decimals < MOST_DECIMALS))
        if not more.size:
            return decimals, fits, most, whole
        decimals[more] += 1
        whole[more], most[more], fits[more] = _at(values[more], decimals[more])


def _at(values: Floats, decimals: Ints) -> tuple[Floats, Floats, Bools]:
    per_unit = _PER_UNIT[decimals][:, None]
    whole = values * per_unit
    np.rint(whole, out=whole)
    most = np.maximum(whole.max(axis=1, initial=0.0), -whole.min(axis=1, initial=0.0))
    fits = (whole / per_unit == values).all(axis=1)
    return whole, most, fits & (most <= _MOST_LONG)


def _some(values: Floats) -> Floats:
    """Give some of the rows of columns that lie one above the other."""
    return values[:, :: max(1, values.shape[1] // _SHOWN)]


def _tells(values: Floats) -> bool:
    known = np.sort(values, axis=None)  # NaN last
    return 1 + int((known[1:] > known[:-1]).sum()) >= _DISTINCT


def unpack(blocks: Sequence[bytes]) -> Block:
    """Turn the bytes of blocks into one again: those of at least one day, of rising days."""
    heads = [_head(data) for data in blocks]
    names = sorted({name for head in heads for name in head.columns.names})
    rows = sum(head.rows for head in heads)
    stamp_s = np.empty(rows, dtype=np.int64)
    values = np.empty((len(names), rows))
    first = 0
    for data, head in zip(blocks, heads, strict=True):
        last = first + head.rows
        if len(head.columns.names) < len(names):
            values[:, first:last] = np.nan
        _unpack(data, head, stamp_s[first:last], values[:, first:last], names)
        first = last
    return Block(stamp_s=stamp_s, columns=dict(zip(names, values, strict=True)))


def _unpack(
    data: bytes, head: "_Head", stamp_s: Ints, values: Floats, names: Sequence[str]
) -> None:
    """Write the rows of a block into columns of these names."""
    columns, count = head.columns, max(head.rows - 1, 0)
    sizes = [len(columns.of(width)) * head.rows * width for width in (8, 4, 2)]
    content: bytes = _zstd().decompress(
        memoryview(data)[head.size :],
        decompressed_size=count * head.step_width + sum(sizes),
        asbytes=True,
    )
    steps = np.frombuffer(content, "<i8" if head.step_width == 8 else "<i4", count)
    stamp_s[:1] = head.first_s
    np.cumsum(steps, out=stamp_s[1:])
    stamp_s[1:] += head.first_s
    at = count * head.step_width
    for width, size in zip((8, 4, 2), sizes, strict=True):
        of = columns.of(width)
        if of:
            numbers = np.frombuffer(content, _WIDTHS[width], len(of) * head.rows, at)
            # Mostly all columns are of one width: those are written as they stand.
            rows = slice(None) if len(of) == len(names) else [names.index(name) for name in of]
            values[rows] = _values(numbers.reshape(len(of), head.rows), columns)
        at += size


def _values(numbers: np.ndarray, columns: "_Columns") -> Floats:
    kind = numbers.dtype
    if kind == _WIDTHS[8]:
        return numbers
    # Summed in wide numbers, which is four times as fast; what they have more falls away.
    whole = np.cumsum(numbers, axis=1, dtype=np.int64).astype(kind)
    values: Floats = whole / columns.per_unit[kind.itemsize]
    unknown = whole == _NOTHING[kind.itemsize]
    if bool(unknown.any()):
        values[unknown] = np.nan
    return values


def names_in(data: bytes) -> tuple[str, ...]:
    """Give the channels of a block without its values."""
    return _head(data).columns.names


class _Head(NamedTuple):
    """What stands before the frame of a block, and how many bytes that takes."""

    rows: int
    first_s: int
    step_width: int
    columns: "_Columns"
    size: int


def _head(data: bytes) -> _Head:
    rows, first_s, step_width, length = _HEAD.unpack_from(data, len(MAGIC))
    begin = len(MAGIC) + _HEAD.size
    size = begin + length
    return _Head(rows, first_s, step_width, _columns(data[begin:size]), size)


class _Columns:
    """A table of columns, read."""

    def __init__(self, table: bytes) -> None:
        names: list[str] = []
        by_width: dict[int, list[str]] = {8: [], 4: [], 2: []}
        decimals: dict[int, list[int]] = {8: [], 4: [], 2: []}
        at = 0
        while at < len(table):
            width, places, length = table[at : at + 3]
            name = table[at + 3 : at + 3 + length].decode()
            names.append(name)
            by_width[width].append(name)
            decimals[width].append(places)
            at += 3 + length
        self.names = tuple(names)
        self._by_width = by_width
        self.per_unit = {width: _PER_UNIT[own][:, None] for width, own in decimals.items() if own}

    def of(self, width: int) -> Sequence[str]:
        """Give the columns of a width."""
        return self._by_width[width]


# All days of a site have a table or two.
@lru_cache(maxsize=512)
def _table(names: Sequence[str], widths: Sequence[int], decimals: Sequence[int]) -> bytes:
    """Write a table of columns."""
    return b"".join(
        bytes((width, places, len(name.encode()))) + name.encode()
        for name, width, places in zip(names, widths, decimals, strict=True)
    )


@lru_cache(maxsize=512)
def _columns(table: bytes) -> _Columns:
    return _Columns(table)


@lru_cache(maxsize=1)
def _zstd() -> "pa.Codec":
    import pyarrow as pa

    return pa.Codec("zstd", compression_level=1)
