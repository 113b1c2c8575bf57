"""Blocks whose lines are whole but whose cells are not all numbers, column by column.

A sensor that reports "err" all summer must not make the reader slow for all summer: sound columns
stay with the columnar parser, and of the others each different text is looked at once.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.logs.buffers import coded, floats
from analysis.logs.layout import Column
from analysis.logs.rows import RowReader, value_of


def mixed_values(
    reader: RowReader, table: Any, lines: NDArray[np.int32]
) -> tuple[tuple[NDArray[np.float64], ...], NDArray[np.bool_]]:
    """Read columns of texts into numbers, and tell what is none.

    Parameters
    ----------
    reader : RowReader
        Its layout names the columns, its problems take what is no number.
    table : pyarrow.Table
        The used columns as texts, n rows, the words for missing as nulls.
    lines : ndarray of int32, shape (n,)
        Physical line of each row [-].

    Returns
    -------
    tuple
        Values of each column, and which rows are of use: all but those with a cell that is no
        number and none that is.
    """
    values: list[NDArray[np.float64]] = []
    bad: list[tuple[NDArray[np.intp], Column, list[str], NDArray[np.int64]]] = []
    any_bad = np.zeros(len(lines), dtype=np.bool_)
    for column in reader.layout.columns:
        texts = table.column(f"c{column.place}")
        plain = None if column.by_word else _cast(texts, column.numbers.decimal)
        if plain is not None:
            values.append(plain)
            continue
        words, places = coded(texts)
        read = [value_of(word, column) for word in words]
        known = np.array([math.nan if one is None else one for one in read] + [math.nan])
        values.append(known[places])
        wrong = np.array([one is None for one in read] + [False])[places]
        if wrong.any() and (column.channel is not None or column.tells):
            any_bad |= wrong
            bad.append((np.flatnonzero(wrong), column, words, places))
    _tell(reader, bad, lines)
    use = ~any_bad
    for held in values:
        use |= ~np.isnan(held)
    return tuple(values), use


def _cast(texts: Any, decimal: str) -> NDArray[np.float64] | None:
    """Let the columnar library read a column of numbers; None where it holds other things."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if decimal == ",":
        if pc.any(pc.match_substring(texts, ".")).as_py():
            return None
        texts = pc.replace_substring(texts, pattern=",", replacement=".", max_replacements=1)
    try:
        values = floats(pc.cast(texts, pa.float64()))
    except pa.ArrowInvalid:
        return None
    return None if np.isinf(values).any() else values


def _tell(
    reader: RowReader,
    bad: list[tuple[NDArray[np.intp], Column, list[str], NDArray[np.int64]]],
    lines: NDArray[np.int32],
) -> None:
    """Add a problem for each cell, by line and then by column."""
    cells = [(int(row), order) for order, (rows, *_) in enumerate(bad) for row in rows.tolist()]
    for row, order in sorted(cells):
        _, column, words, places = bad[order]
        reader.reject_cell(int(lines[row]), column, words[int(places[row])])
