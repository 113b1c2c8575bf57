"""What was set aside, with what stood there: for the list that a person downloads."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from analysis.errors import LogError
from analysis.logs.cells import cells_of
from analysis.logs.dialect import find_dialect
from analysis.logs.shapes import LogSource
from analysis.logs.text import clean_text
from analysis.results import Problem
from analysis.site import LogMap

_LONGEST = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """A row or cell that was set aside: where it stands, what stands there, and why."""

    file: str
    line: int | None
    column: str | None
    value: str
    why: str


def set_aside(
    problems: Sequence[Problem], *, sources: Iterable[LogSource], told: LogMap
) -> Iterator[SetAside]:
    """Put to each problem what stands at its place.

    Parameters
    ----------
    problems : sequence of Problem
        As reading listed them.
    sources : iterable of LogSource
        The files that were read.
    told : LogMap
        The map that they were read with.

    Yields
    ------
    SetAside
        In the order of the problems; the value is the cell, or the whole line where the column is
        not one of the file's.
    """
    named = {problem.file for problem in problems if problem.line is not None}
    written = {one.name: _Written.of(one, told) for one in sources if one.name in named}
    for problem in problems:
        held = written.get(problem.file)
        yield SetAside(
            file=problem.file,
            line=problem.line,
            column=problem.column,
            value="" if held is None else held.at(problem.line, problem.column),
            why=problem.why,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Written:
    """The lines of a file, and the place of each column in them."""

    lines: Sequence[bytes]
    delimiter: str
    places: dict[str, int]

    @classmethod
    def of(cls, source: LogSource, told: LogMap) -> "_Written | None":
        try:
            text, _ = clean_text(source.name, source.data)
        except LogError:
            return None
        try:
            dialect = find_dialect(source.name, text, told)
        except LogError:
            return cls(lines=text.split(b"\n"), delimiter="", places={})
        places = {head or f"column {n + 1}": n for n, head in enumerate(dialect.heads)}
        return cls(lines=text.split(b"\n"), delimiter=dialect.delimiter, places=places)

    def at(self, line: int | None, column: str | None) -> str:
        if line is None or not 1 <= line <= len(self.lines):
            return ""
        whole = self.lines[line - 1].decode("utf-8", errors="replace").rstrip("\r")
        place = self.places.get(column) if column is not None else None
        if place is None:
            return whole[:_LONGEST]
        cells = cells_of(whole, self.delimiter)
        return (cells[place].strip() if place < len(cells) else whole)[:_LONGEST]
