"""Columns of the columnar parser as numpy arrays, straight from their buffers.

The parser's own `to_numpy` loads pandas first, which costs more than reading half a year.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray


def floats(column: Any) -> NDArray[np.float64]:
    """Give a column of doubles (pyarrow.ChunkedArray or Array, length n); null becomes NaN."""
    array = _one(column)
    values = _plain(array, np.dtype(np.float64))
    return np.where(_valid(array), values, np.nan) if array.null_count else values


def integers(column: Any) -> NDArray[np.int64]:
    """Give a column of 64-bit integers or stamps without nulls (length n)."""
    return _plain(_one(column), np.dtype(np.int64)).astype(np.int64, copy=False)


def coded(column: Any) -> tuple[list[str], NDArray[np.int64]]:
    """Give the different texts of a column and, for each row, the place of its text.

    A null has the place after the last text.
    """
    array = _one(column).dictionary_encode()
    words: list[str] = array.dictionary.to_pylist()
    indices = array.indices
    places = _plain(indices, np.dtype(np.int32)).astype(np.int64)
    return words, np.where(_valid(indices), places, len(words)) if indices.null_count else places


def _one(column: Any) -> Any:
    return column.combine_chunks() if hasattr(column, "combine_chunks") else column


def _plain(array: Any, dtype: np.dtype[Any]) -> NDArray[Any]:
    if not len(array):
        return np.zeros(0, dtype=dtype)
    held = array.buffers()[1]
    return np.frombuffer(held, dtype=dtype, count=array.offset + len(array))[array.offset :]


def _valid(array: Any) -> NDArray[np.bool_]:
    bits = np.frombuffer(array.buffers()[0], dtype=np.uint8)
    unpacked = np.unpackbits(bits, bitorder="little")
    return unpacked[array.offset : array.offset + len(array)].astype(np.bool_)
