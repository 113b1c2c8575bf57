"""The fast reader: whole blocks of lines by the columnar CSV parser, types told beforehand.

A block that it declines (a damaged line, a word among numbers, an impossible date) is cut in
pieces and those are tried again; where only cells are at fault they are read column by column
(`analysis.logs.mixed`), and only the smallest piece around a damaged line goes to the tolerant
reader. So sixty bad lines in a year cost sixty small pieces, not a slow year.
"""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.logs.buffers import coded, floats, integers
from analysis.logs.layout import Column
from analysis.logs.mixed import mixed_values
from analysis.logs.rows import Part, RowReader, value_of
from analysis.logs.shapes import ProblemList
from analysis.logs.stamps import UnreadableStampError
from analysis.logs.words import MISSING

_BLOCK = 2 << 20
_PIECES = 16
_MIXED = _BLOCK // _PIECES
_SMALLEST = 4 << 10
_TIRED = 3
_THREADS = 2
_MICROSECONDS = 1_000_000
_FARTHEST_S = 1e11


class _DeclinedError(Exception):
    """The fast reader cannot vouch for this block."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockReader:
    """Reads a body of lines, fast where it is sound."""

    rows: RowReader

    def read(self, text: bytes) -> list[Part]:
        """Read all rows of a file.

        Parameters
        ----------
        text : bytes
            The file as clean UTF-8; rows begin where the dialect says.

        Returns
        -------
        list of Part
            Stretches of rows in the order of the file.
        """
        dialect, problems = self.rows.dialect, self.rows.problems
        blocks = list(_blocks(text, dialect.body_at, dialect.first_line))
        parts: list[Part] = []
        # The parser lets go of the interpreter's lock, so two blocks are read at a time.
        with ThreadPoolExecutor(max_workers=_THREADS) as pool:
            for found, own in pool.map(lambda block: self._block(text, *block), blocks):
                parts.extend(found)
                problems.extend(own)
        return parts

    def _block(
        self, text: bytes, start: int, stop: int, line: int
    ) -> tuple[list[Part], ProblemList]:
        own = ProblemList(most=self.rows.problems.most)
        reader = replace(self, rows=replace(self.rows, problems=own))
        parts: list[Part] = []
        reader._stretch(text, start, stop, line, size=_BLOCK, parts=parts)
        return parts, own

    def _stretch(
        self, text: bytes, start: int, end: int, line: int, *, size: int, parts: list[Part]
    ) -> None:
        """Read from one offset to another in blocks of about this size."""
        declined = 0
        while start < end:
            stop = text.find(b"\n", min(start + size, end) - 1, end) + 1 or end
            count = text.count(b"\n", start, stop)
            # After several refusals in a row the rest is of the same kind: do not try it twice.
            part = None
            if declined < _TIRED:
                part = self._fast(text, start, stop, line, count, texts=False)
                declined = 0 if part is not None else declined + 1
            if part is None and _SMALLEST < size <= _MIXED:
                part = self._fast(text, start, stop, line, count, texts=True)
            if part is not None:
                parts.append(part)
            elif size <= _SMALLEST or stop - start <= _SMALLEST:
                parts.append(self.rows.read(text[start:stop], line))
            else:
                piece = max(size // _PIECES, _SMALLEST)
                self._stretch(text, start, stop, line, size=piece, parts=parts)
            line += count
            start = stop

    def _fast(
        self, text: bytes, start: int, stop: int, line: int, count: int, *, texts: bool
    ) -> Part | None:
        """Read a block by the columnar parser, values as numbers or as texts; None: declined."""
        import pyarrow as pa

        try:
            table = self._table(pa.py_buffer(text).slice(start, stop - start), texts=texts)
            lines = _lines(text, start, stop, line, count, rows=table.num_rows)
            stamp_s = self._stamps(table)
            if not texts:
                values = tuple(self._numbers(table, one) for one in self.rows.layout.columns)
                return Part(stamp_s=stamp_s, values=values, lines=lines, read=len(lines))
        except (pa.ArrowInvalid, _DeclinedError, UnreadableStampError):
            return None
        values, use = mixed_values(self.rows, table, lines)
        part = Part(stamp_s=stamp_s, values=values, lines=lines, read=len(lines))
        return part if use.all() else part.of_rows(use)

    def _numbers(self, table: Any, column: Column) -> NDArray[np.float64]:
        held = table.column(f"c{column.place}")
        if not self._by_word(column):
            values = floats(held)
            # "inf" is a word to us, and the parser takes it for a number: let the others say so.
            if np.isinf(values).any():
                raise _DeclinedError
            return values
        words, places = coded(held)
        read = [value_of(word, column) for word in words]
        if None in read:
            raise _DeclinedError
        return np.array([*read, np.nan], dtype=np.float64)[places]

    def _by_word(self, column: Column) -> bool:
        """Whether the parser, which knows one decimal sign, cannot read the column's numbers."""
        return column.by_word or column.numbers.decimal != self.rows.dialect.decimal

    def _table(self, block: Any, *, texts: bool) -> Any:
        import pyarrow as pa
        from pyarrow import csv

        dialect, layout = self.rows.dialect, self.rows.layout
        names = [f"c{place}" for place in range(len(dialect.heads))]
        types = {
            f"c{column.place}": pa.string() if texts or self._by_word(column) else pa.float64()
            for column in layout.columns
        }
        for place in layout.stamp.places:
            types[f"c{place}"] = self._stamp_type()
        return csv.read_csv(
            pa.BufferReader(block),
            read_options=csv.ReadOptions(
                column_names=names, use_threads=False, block_size=len(block) + 1
            ),
            parse_options=csv.ParseOptions(delimiter=dialect.delimiter),
            convert_options=csv.ConvertOptions(
                column_types=types,
                include_columns=list(types),
                null_values=list(MISSING),
                strings_can_be_null=True,
                decimal_point=dialect.decimal,
            ),
        )

    def _stamp_type(self) -> Any:
        import pyarrow as pa

        stamp = self.rows.layout.stamp
        if stamp.count_s is not None:
            return pa.float64()
        if stamp.formats[0].by_parser and len(stamp.places) == 1:
            return pa.timestamp("us", tz="UTC")
        return pa.string()

    def _stamps(self, table: Any) -> NDArray[np.int64]:
        stamp = self.rows.layout.stamp
        columns = [table.column(f"c{place}") for place in stamp.places]
        if any(column.null_count for column in columns):
            raise _DeclinedError
        if stamp.count_s is not None:
            counted = floats(columns[0]) * stamp.count_s + stamp.origin_s
            if not (np.abs(counted) < _FARTHEST_S).all():
                raise _DeclinedError
            whole: NDArray[np.int64] = np.floor(counted + 0.5).astype(np.int64)
            return whole
        one = stamp.formats[0]
        if one.by_parser and len(columns) == 1:
            return integers(columns[0]) // _MICROSECONDS
        if len(columns) > 1:
            import pyarrow.compute as pc

            columns = [pc.utf8_trim_whitespace(column) for column in columns]
            columns = [pc.binary_join_element_wise(*columns, " ")]
        chunks = [one.many(chunk) for chunk in columns[0].chunks if len(chunk)]
        return np.concatenate(chunks) if chunks else np.zeros(0, dtype=np.int64)


def _blocks(text: bytes, start: int, line: int) -> Iterator[tuple[int, int, int]]:
    """Cut a body at line ends: offsets of each block and its first line."""
    while start < len(text):
        stop = text.find(b"\n", min(start + _BLOCK, len(text)) - 1) + 1 or len(text)
        yield start, stop, line
        line += text.count(b"\n", start, stop)
        start = stop


def _lines(
    text: bytes, start: int, stop: int, line: int, count: int, *, rows: int
) -> NDArray[np.int32]:
    """Give the physical line of each row of a block, empty lines passed over."""
    whole = count + (text[stop - 1 : stop] != b"\n")
    if rows == whole:
        return np.arange(line, line + rows, dtype=np.int32)
    signs = np.frombuffer(text, dtype=np.uint8, count=stop - start, offset=start)
    ends = np.append(np.flatnonzero(signs == 10), len(signs))
    begins = np.append(0, ends[:-1] + 1)
    returned = (ends > begins) & (signs[np.maximum(ends - 1, 0)] == 13)
    filled = np.flatnonzero(ends - begins - returned > 0)
    if len(filled) != rows:
        raise _DeclinedError
    return (filled + line).astype(np.int32)
