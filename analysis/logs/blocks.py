"""The fast reader: whole blocks of lines by the columnar CSV parser, types told beforehand.

A block that it declines (a damaged line, a word among numbers, an impossible date) is cut in
pieces and those are tried again; where only cells are at fault they are read column by column
(`analysis.logs.mixed`), and only the smallest piece around a damaged line goes to the tolerant
reader. So sixty bad lines in a year cost sixty small pieces, not a slow year.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from itertools import pairwise
from threading import Event
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.logs.bounds import Bounds, ends_of, known_of
from analysis.logs.buffers import coded, floats, integers
from analysis.logs.gathered import Gathered
from analysis.logs.layout import Column
from analysis.logs.mixed import mixed_values
from analysis.logs.plain import PlainReader, plain_reader
from analysis.logs.rows import Part, RowReader, value_of
from analysis.logs.shapes import ProblemList
from analysis.logs.stamps import UnreadableStampError
from analysis.logs.words import MISSING

_BLOCK = 4 << 20
_PIECES = 32
# Less is read before a second thread has begun.
_ALONE = 512 << 10
_MIXED = _BLOCK // _PIECES
_SMALLEST = 4 << 10
_TIRED = 3
_THREADS = 2
_MICROSECONDS = 1_000_000
_FARTHEST_S = 1e11
_LINE_END, _RETURN = 10, 13
_NOTHING = ("",)
_WORDS = frozenset(MISSING) - frozenset(_NOTHING)


class _DeclinedError(Exception):
    """The fast reader cannot vouch for this block."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockReader:
    """Reads a body of lines, fast where it is sound.

    `words_seen` is set once there may be words for missing values: to look for none is faster.
    `plain` reads what is plain, where to have it compiled is worth it.
    """

    rows: RowReader
    words_seen: Event = field(default_factory=Event)
    plain: PlainReader | None = None

    def read(self, text: bytes) -> Part:
        """Read all rows of a file.

        Parameters
        ----------
        text : bytes
            The file as clean UTF-8; rows begin where the dialect says.

        Returns
        -------
        Part
            The rows in the order of the file.
        """
        dialect = self.rows.dialect
        by_word = any(self._by_word(column) for column in self.rows.layout.columns)
        if by_word or any(cell.strip() in _WORDS for row in dialect.samples for cell in row):
            self.words_seen.set()
        body = _Stretch(dialect.body_at, len(text), dialect.first_line, 0)
        size = body.stop - body.start
        if size <= _ALONE:
            return self._gathered(text, list(_cut(text, body, _BLOCK)), each=map)
        reader = replace(self, plain=plain_reader(self.rows))
        # Counting and parsing let go of the interpreter's lock: two blocks are read at a time,
        # as many by one thread as by the other.
        size = -(-size // (-(-size // (_BLOCK * _THREADS)) * _THREADS))
        with ThreadPoolExecutor(max_workers=_THREADS) as pool:
            blocks = list(_cut(text, body, size, each=pool.map))
            return reader._gathered(text, blocks, each=pool.map)

    def _gathered(self, text: bytes, blocks: Sequence["_Stretch"], *, each: "_Each") -> Part:
        dialect, problems = self.rows.dialect, self.rows.problems
        # A row needs a delimiter between each two cells, which bounds what empty lines could claim.
        least = max(len(dialect.heads) - 1, 1)
        most = [min(one.lines, (one.stop - one.start) // least + 1) for one in blocks]
        whole = Gathered(most, columns=len(self.rows.layout.columns))

        def lay(number: int) -> ProblemList:
            own = ProblemList(most=problems.most)
            reader = replace(self, rows=replace(self.rows, problems=own))
            parts: list[Part] = []
            reader._one(text, blocks[number], size=_BLOCK, parts=parts)
            whole.lay(number, parts)
            return own

        for own in each(lay, range(len(blocks))):
            problems.extend(own)
        return whole.part()

    def _one(
        self, text: bytes, one: "_Stretch", *, size: int, parts: list[Part], tired: bool = False
    ) -> bool:
        """Read a stretch of about this size; whether the fast reader took it as it is."""
        part = None if tired else self._fast(text, one, texts=False)
        sound = part is not None
        if part is None and _SMALLEST < size <= _MIXED:
            part = self._fast(text, one, texts=True)
        if part is not None:
            parts.append(part)
        elif size <= _SMALLEST or one.stop - one.start <= _SMALLEST:
            parts.append(self.rows.read(text[one.start : one.stop], one.line))
        else:
            self._pieces(text, one, size=max(size // _PIECES, _SMALLEST), parts=parts)
        return sound

    def _pieces(self, text: bytes, whole: "_Stretch", *, size: int, parts: list[Part]) -> None:
        declined = 0
        for one in _cut(text, whole, size):
            # After several refusals in a row the rest is of the same kind: do not try it twice.
            sound = self._one(text, one, size=size, parts=parts, tired=declined >= _TIRED)
            declined = 0 if sound else declined + 1

    def _fast(self, text: bytes, one: "_Stretch", *, texts: bool) -> Part | None:
        """Read a block as numbers or as texts; None: it was declined."""
        if self.plain is not None and not texts:
            signs = _signs(text, one)
            part = self.plain.read(signs, first_line=one.line, most=one.lines)
            if part is not None:
                return part
        if not texts and not self.words_seen.is_set():
            part = self._parsed(text, one, texts=False, missing=_NOTHING)
            if part is not None:
                return part
            self.words_seen.set()
        return self._parsed(text, one, texts=texts, missing=MISSING)

    def _parsed(
        self, text: bytes, one: "_Stretch", *, texts: bool, missing: Sequence[str]
    ) -> Part | None:
        import pyarrow as pa

        try:
            table = self._table(text, one, texts=texts, missing=missing)
            lines = _lines(text, one, rows=table.num_rows)
            stamp_s = self._stamps(table)
            if not texts:
                bounds = tuple(self._numbers(table, column) for column in self.rows.layout.columns)
                return Part(
                    stamp_s=stamp_s,
                    values=tuple(one.values for one in bounds),
                    lines=lines,
                    read=len(lines),
                    bounds=known_of(bounds),
                )
        except (pa.ArrowInvalid, _DeclinedError, UnreadableStampError):
            return None
        values, use = mixed_values(self.rows, table, lines)
        part = Part(stamp_s=stamp_s, values=values, lines=lines, read=len(lines))
        return part if use.all() else part.of_rows(use)

    def _numbers(self, table: Any, column: Column) -> Bounds:
        held = table.column(f"c{column.place}")
        if not self._by_word(column):
            values = floats(held)
            ends = ends_of(values)
            # "inf" is a word to us, and the parser takes it for a number: let the others say so.
            if np.isinf([ends.lowest, ends.highest]).any():
                raise _DeclinedError
            return Bounds(values=values, ends=ends)
        words, places = coded(held)
        read = [value_of(word, column) for word in words]
        if None in read:
            raise _DeclinedError
        values = np.array([*read, np.nan], dtype=np.float64)[places]
        return Bounds(values=values, ends=ends_of(values))

    def _by_word(self, column: Column) -> bool:
        """Whether the parser, which knows one decimal sign, cannot read the column's numbers."""
        return column.by_word or column.numbers.decimal != self.rows.dialect.decimal

    def _table(self, text: bytes, one: "_Stretch", *, texts: bool, missing: Sequence[str]) -> Any:
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
        block = pa.py_buffer(text).slice(one.start, one.stop - one.start)
        quoted = text.find(b'"', one.start, one.stop) >= 0
        return csv.read_csv(
            pa.BufferReader(block),
            read_options=csv.ReadOptions(
                column_names=names, use_threads=False, block_size=len(block) + 1
            ),
            parse_options=csv.ParseOptions(
                delimiter=dialect.delimiter, quote_char='"' if quoted else False
            ),
            convert_options=csv.ConvertOptions(
                column_types=types,
                include_columns=list(types),
                null_values=list(missing),
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


class _Stretch(NamedTuple):
    """Some lines of a text: offsets of the first byte and after the last, number of the first line,
    how many lines.
    """

    start: int
    stop: int
    line: int
    lines: int


# Does something with each of some things, as `map` does, perhaps with several at once.
_Each = Callable[[Callable[[Any], Any], Iterable[Any]], Iterable[Any]]


def _cut(text: bytes, whole: _Stretch, size: int, *, each: _Each = map) -> Iterator[_Stretch]:
    """Cut a stretch at line ends into some of about this size."""
    edges = [whole.start]
    while edges[-1] < whole.stop:
        before = min(edges[-1] + size, whole.stop) - 1
        edges.append(text.find(b"\n", before, whole.stop) + 1 or whole.stop)
    signs = np.frombuffer(text, dtype=np.uint8)

    def count(edge: tuple[int, int]) -> int:
        # Many times as fast as to count a sign of the text itself.
        ends = np.count_nonzero(signs[slice(*edge)] == _LINE_END)
        return int(ends) + int(signs[edge[1] - 1] != _LINE_END)

    line = whole.line
    for edge, lines in zip(pairwise(edges), each(count, pairwise(edges)), strict=True):
        yield _Stretch(*edge, line, lines)
        line += lines


def _signs(text: bytes, one: _Stretch) -> NDArray[np.uint8]:
    return np.frombuffer(text, dtype=np.uint8, count=one.stop - one.start, offset=one.start)


def _lines(text: bytes, one: _Stretch, *, rows: int) -> NDArray[np.int32]:
    """Give the physical line of each row of a stretch, empty lines passed over."""
    if rows == one.lines:
        return np.arange(one.line, one.line + rows, dtype=np.int32)
    signs = _signs(text, one)
    ends = np.append(np.flatnonzero(signs == _LINE_END), len(signs))
    begins = np.append(0, ends[:-1] + 1)
    returned = (ends > begins) & (signs[np.maximum(ends - 1, 0)] == _RETURN)
    filled = np.flatnonzero(ends - begins - returned > 0)
    if len(filled) != rows:
        raise _DeclinedError
    return (filled + one.line).astype(np.int32)
