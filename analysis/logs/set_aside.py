"""What was set aside, with what stood there: for the list that a person downloads."""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from analysis.errors import LogError
from analysis.logs.cells import cells_of
from analysis.logs.dialect import find_dialect
from analysis.logs.planning import FilePlan
from analysis.logs.shapes import LogSource, ProblemList
from analysis.logs.text import clean_text
from analysis.problem_groups import ProblemGroup
from analysis.results import Problem
from analysis.site import LogMap

_LONGEST, _SHORT = 500, 60
# The reason itself quotes what stands there.
_QUOTES = re.compile(r"(^|\s)'")


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


def groups_of(plan: FilePlan, problems: ProblemList) -> tuple[ProblemGroup, ...]:
    """Give the problems of one table by reason, each with what stands at its first line.

    Parameters
    ----------
    plan : FilePlan
        How it was read; its text is looked at.
    problems : ProblemList
        What reading it set aside.
    """
    groups = problems.groups.all()
    lines = _Lines(plan.text, {group.first_line for group in groups}, plan.line_offset)
    stamp = plan.layout.stamp
    places: dict[str, tuple[int, ...]] = {
        head: (place,) for place, head in enumerate(plan.dialect.heads) if head
    }
    places[stamp.head] = stamp.places
    found = []
    for group in groups:
        whole = lines.at(group.first_line)
        cells = cells_of(whole, plan.dialect.delimiter)
        held = [cells[n] for n in places.get(group.column or "", ()) if n < len(cells)]
        value = " ".join(cell.strip() for cell in held) if held else whole
        shown = "".join(sign if sign.isprintable() else " " for sign in value[:_SHORT]).strip()
        found.append(group if _QUOTES.search(group.why) else replace(group, value=shown))
    return tuple(found)


class _Lines:
    """Some lines of a text."""

    def __init__(self, text: bytes, wanted: set[int | None], offset: int) -> None:
        self._held: dict[int, str] = {}
        start, before = 0, 1 + offset
        for line in sorted(one for one in wanted if one is not None):
            # The search is the parser of bytes: a year of minutes takes some tenths of a second.
            for _ in range(line - before):
                start = text.find(b"\n", start) + 1
                if not start:
                    return
            before = line
            stop = text.find(b"\n", start)
            whole = text[start : stop if stop >= 0 else len(text)]
            self._held[line] = whole.decode("utf-8", errors="replace").rstrip("\r")

    def at(self, line: int | None) -> str:
        return "" if line is None else self._held.get(line, "")


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
