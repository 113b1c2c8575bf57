"""The fastest reader: blocks of plain rows, compiled; it declines whatever is not plain.

Most logs hold nothing but numbers in digits and stamps that differ in their digits alone. Those are
read here in a third of the time of the columnar parser, to the same values.
"""

import re
from dataclasses import dataclass

import numpy as np

from analysis.compiled import given
from analysis.logs import plain_kernel as kernel
from analysis.logs.bounds import Bounds, Ends, known_of
from analysis.logs.rows import Part, RowReader
from analysis.logs.stamps import StampFormat, offset_of
from analysis.logs.words import MISSING
from analysis.record import Ints

_PARTS = {
    "Y": kernel.YEAR,
    "y": kernel.YEAR,
    "m": kernel.MONTH,
    "d": kernel.DAY,
    "H": kernel.HOUR,
    "M": kernel.MINUTE,
    "S": kernel.SECOND,
}
_ZONE = "z"
_CENTURY = 2000
# The first stamp of a block is looked for in so many signs.
_HEAD = 4096


def _words() -> kernel.Signs:
    """Give the words for a missing value, each with its length before it."""
    table = np.zeros((len(MISSING), max(map(len, MISSING)) + 1), dtype=np.uint8)
    for row, word in zip(table, MISSING, strict=True):
        row[: len(word) + 1] = [len(word), *word.encode()]
    return given(table)


_MISSING = _words()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlainReader:
    """Reads blocks of a file whose columns can be plain.

    Attributes
    ----------
    delimiter, decimal : the sign between cells and the one within numbers
    holds : shape (cells,), what each cell of a row holds, as `plain_kernel.read_plain` wants it
    stamp : the place of the stamp
    format : how it is written
    """

    delimiter: str
    decimal: str
    holds: Ints
    stamp: int
    format: StampFormat

    def read(self, block: kernel.Signs, *, first_line: int, most: int) -> Part | None:
        """Read a block.

        Parameters
        ----------
        block : shape (n,)
            Whole lines.
        first_line : int
            Number of its first line [-].
        most : int
            How many lines it has [-].

        Returns
        -------
        Part or None
            None where not all of it is plain.
        """
        match = self._first_stamp(block)
        parts = {} if match is None else {k: v for k, v in match.groupdict().items() if v}
        if match is None or not parts.keys() <= {*_PARTS, _ZONE} or {"Y", "y"} <= parts.keys():
            return None
        belongs = np.full(match.end(), kernel.FIXED)
        for name in parts.keys() - {_ZONE}:
            belongs[slice(*match.span(name))] = _PARTS[name]
        # A row has a sign behind each cell, which bounds what empty lines could claim.
        most = min(most, block.size // self.holds.size + 1)
        stamp_s, lines = np.empty(most, dtype=np.int64), np.empty(most, dtype=np.int32)
        columns = int(self.holds.max()) + 1
        values, ends = np.empty((columns, most)), np.empty((columns, 3))
        rows = kernel.read_plain(
            given(block),
            kernel.Dialect(
                delimiter=ord(self.delimiter),
                decimal=ord(self.decimal),
                century=_CENTURY if "y" in parts else 0,
                offset_s=offset_of(parts.get(_ZONE)),
            ),
            first_line,
            self.holds,
            given(np.frombuffer(match.string.encode(), dtype=np.uint8)),
            given(belongs),
            _MISSING,
            stamp_s,
            lines,
            values,
            ends,
            np.zeros(kernel.SECOND + 1, dtype=np.int64),
        )
        if rows == kernel.DECLINED:
            return None
        bounds = tuple(
            Bounds(values=column[:rows], ends=_ends(*told))
            for column, told in zip(values, ends.tolist(), strict=True)
        )
        return Part(
            stamp_s=stamp_s[:rows],
            values=tuple(one.values for one in bounds),
            lines=lines[:rows],
            read=rows,
            bounds=known_of(bounds),
        )

    def _first_stamp(self, block: kernel.Signs) -> re.Match[str] | None:
        cells = bytes(block[:_HEAD]).lstrip(b"\r\n").split(self.delimiter.encode())
        if len(cells) <= self.stamp or not cells[self.stamp].isascii():
            return None
        match = self.format.pattern.fullmatch(cells[self.stamp].decode())
        return (
            match
            if match and (match.groupdict().get(_ZONE) is not None) == self.format.aware
            else None
        )


def _ends(lowest: float, highest: float, missing: float) -> Ends:
    """Give the ends of a column; of no number at all they are unknown."""
    if lowest > highest:
        lowest, highest = np.nan, np.nan
    return Ends(lowest, highest, whole=not missing)


def plain_reader(rows: RowReader) -> PlainReader | None:
    """Give the reader of a file, None where a column is written otherwise or stamps are counted."""
    dialect, stamp = rows.dialect, rows.layout.stamp
    columns = rows.layout.columns
    if stamp.count_s is not None or len(stamp.places) > 1 or not columns:
        return None
    if len(dialect.delimiter.encode()) > 1 or dialect.delimiter in (" ", dialect.decimal):
        return None
    if any(one.by_word or one.numbers.decimal != dialect.decimal for one in columns):
        return None
    holds = np.full(len(dialect.heads), kernel.PASSED_OVER)
    for number, column in enumerate(columns):
        holds[column.place] = number
    holds[stamp.places[0]] = kernel.STAMP
    return PlainReader(
        delimiter=dialect.delimiter,
        decimal=dialect.decimal,
        holds=given(holds),
        stamp=stamp.places[0],
        format=stamp.formats[0],
    )
