"""The tolerant reader: one line at a time, for the few stretches that the fast one declines.

It gives the same values as `analysis.logs.blocks` for sound lines, and says for every other line
what is wrong with it.
"""

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from analysis.logs.bounds import Known
from analysis.logs.cells import cells_of, is_comment
from analysis.logs.conversions import UNITS, folded_unit
from analysis.logs.dialect import Dialect
from analysis.logs.headers import bare
from analysis.logs.layout import ANY_UNIT, Column, Layout
from analysis.logs.numbers import split_unit
from analysis.logs.shapes import ProblemList, quoted
from analysis.logs.timecolumns import stamp_of
from analysis.logs.words import MISSING_FOLDED, WORDS

# Marks "on" until the whole column tells whether 1 or 100 means it.
ON = math.inf


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """A stretch of rows: stamps as written, values as written, physical lines.

    `stamp_s` is of the wall clock where the format carries no zone; `read` counts rejected rows
    too; `bounds` are those of `values`, as far as they are known.
    """

    stamp_s: NDArray[np.int64]
    values: tuple[NDArray[np.float64], ...]
    lines: NDArray[np.int32]
    read: int
    bounds: Known = field(default_factory=dict)

    def of_rows(self, keep: NDArray[np.bool_]) -> "Part":
        """Give the part with only these rows; how many were read stays."""
        return replace(
            self,
            stamp_s=self.stamp_s[keep],
            values=tuple(held[keep] for held in self.values),
            lines=self.lines[keep],
            bounds={},
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RowReader:
    """Reads lines one by one.

    `group` is the number of the group that it reads of several side by side, each with stamps of
    its own: the first tells of damaged lines, and where a shorter one has ended there is no row.
    """

    file: str
    dialect: Dialect
    layout: Layout
    problems: ProblemList
    group: int | None = None

    def read(self, text: bytes, first_line: int) -> Part:
        """Read a stretch of whole lines.

        Parameters
        ----------
        text : bytes
            Whole lines, UTF-8.
        first_line : int
            Physical line number of the first of them [-].

        Returns
        -------
        Part
            The rows that have a stamp and were not rejected.
        """
        stamps: list[int] = []
        table: list[list[float]] = []
        numbers: list[int] = []
        read = 0
        lines = text.decode("utf-8").split("\n")
        for number, line in enumerate(lines, start=first_line):
            line = line.rstrip("\r")
            if not line.strip() or is_comment(line, self.dialect.delimiter):
                continue
            cells = cells_of(line, self.dialect.delimiter)
            if bare(cells) in self.dialect.headers.again:
                continue
            if self.group is not None and self._is_over(cells):
                continue
            read += 1
            # A line that a line end closes was written to its end, though its last sign lacks.
            if number - first_line < len(lines) - 1 and self._lacks_last_sign(cells):
                cells.append("")
            row = self._row(cells, number)
            if row is not None:
                stamps.append(row[0])
                table.append(row[1])
                numbers.append(number)
        values = np.array(table, dtype=np.float64).reshape(len(table), len(self.layout.columns))
        return Part(
            stamp_s=np.array(stamps, dtype=np.int64),
            values=tuple(values[:, place].copy() for place in range(values.shape[1])),
            lines=np.array(numbers, dtype=np.int32),
            read=read,
        )

    def _lacks_last_sign(self, cells: list[str]) -> bool:
        return len(cells) == len(self.dialect.heads) - 1 and self.dialect.ends_in_sign

    def _is_over(self, cells: list[str]) -> bool:
        places = (*self.layout.stamp.places, *(one.place for one in self.layout.columns))
        return not any(cells[place].strip() for place in places if place < len(cells))

    def _reject(self, number: int, column: str | None, why: str) -> None:
        self.problems.add(file=self.file, line=number, column=column, why=why)

    def reject_cell(self, number: int, column: Column, text: str) -> None:
        """Count and list a cell that is no number, in a column whose meaning is known."""
        if column.channel is None and not column.tells:
            return
        why = f"{quoted(text)} is not a number"
        if column.numbers.two_meanings(text):
            why = f"{quoted(text)} can be thousands or have decimals, and the file does not tell"
        elif column.numbers.decimal == "," and "." in text:
            why += " where the decimal sign is a comma"
        self._reject(number, column.head, why)

    def _row(self, cells: list[str], number: int) -> tuple[int, list[float]] | None:
        width = len(self.dialect.heads)
        if len(cells) > width and not any(cell.strip() for cell in cells[width:]):
            cells = cells[:width]
        if len(cells) != width:
            what = "cut off or damaged" if len(cells) < width else "damaged"
            cell_word = "cell" if len(cells) == 1 else "cells"
            why = f"{len(cells)} {cell_word} where {width} are expected: the line is {what}"
            if not self.group:
                self._reject(number, None, why)
            return None
        stamp_s = stamp_of(self.layout.stamp, cells)
        if stamp_s is None:
            text = " ".join(cells[place] for place in self.layout.stamp.places)
            why = f"the time {quoted(text)} cannot be read" if text.strip() else "the time is empty"
            self._reject(number, self.layout.stamp.head, why)
            return None
        values, bad = self._values(cells, number)
        if bad and all(math.isnan(value) for value in values):
            return None
        return stamp_s, values

    def _values(self, cells: list[str], number: int) -> tuple[list[float], bool]:
        values = []
        bad = False
        for column in self.layout.columns:
            value = value_of(cells[column.place], column)
            if value is None:
                bad = bad or column.channel is not None or column.tells
                value = math.nan
                self.reject_cell(number, column, cells[column.place])
            values.append(value)
        return values, bad


def value_of(text: str, column: Column) -> float | None:
    """Read one cell: NaN where it is empty, None where it is no number."""
    if column.code is not None:
        return column.code(text)
    bare = text.strip()
    folded = bare.lower()
    if folded in MISSING_FOLDED:
        return math.nan
    if column.is_share and folded in WORDS:
        return ON if WORDS[folded] else 0.0
    value = column.numbers.value(bare)
    if value is not None or not column.cell_unit:
        return value
    split = split_unit(bare)
    value = None if split is None else column.numbers.value(split[0])
    if split is None or value is None:
        return None
    return value if column.cell_unit == ANY_UNIT else value * unit_ratio(split[1], column.cell_unit)


def unit_ratio(unit: str, usual: str) -> float:
    """Give the factor from the unit of a cell to the usual one of its column, else NaN."""
    unit, usual = folded_unit(unit), folded_unit(usual)
    if unit == usual:
        return 1.0
    for table in UNITS.values():
        if unit in table and usual in table and table[unit].shift == table[usual].shift:
            return table[unit].factor / table[usual].factor
    return math.nan
