"""Hundreds of rows that were set aside for one reason are one line to a reader."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.results import Problem

# What stood in the file, and how many cells a line had, differ from row to row for one reason.
_DIFFERS = re.compile(r"'.*'(\.\.\.)?|^\d+ cells?")
# Up to so many lines are named one by one.
LINES_NAMED = 6
# More reasons than this are a damaged file; what comes on top is counted with the last.
_MOST_GROUPS = 200
# What helps where the reason itself names no remedy; the first that fits.
_REMEDIES = (
    (
        "can be thousands or have decimals",
        'say decimal = "," or decimal = "." in [log]',
    ),
    ("is not a number", "nothing to do where it marks a missing value"),
    ("cut off", "export the log again if these rows matter"),
    ("damaged", "export the log again if these rows matter"),
    ("cannot be read", "say time_format in [log] if these are times"),
    ("the time is empty", "export the log again if these rows matter"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProblemGroup:
    """Rows or cells of one file and column that were set aside for one reason.

    Attributes
    ----------
    file, column : as in `Problem`
    why : the reason as the first of them has it
    count : how many there are
    lines : 1-based lines of the first few
    first_line, last_line : lines between which they stand; None: the file as a whole
    value : what stands at the first of them, "" where that is not known or in `why`
    """

    file: str
    column: str | None
    why: str
    count: int
    lines: tuple[int, ...]
    first_line: int | None
    last_line: int | None
    value: str = ""

    @property
    def remedy(self) -> str:
        """What helps, "" where the reason says it itself."""
        return next((does for words, does in _REMEDIES if words in self.why), "")

    def holds(self, one: Problem) -> bool:
        """Whether a problem stands between the lines of the group."""
        if self.file != one.file or one.line is None or self.first_line is None:
            return False
        return self.first_line <= one.line <= (self.last_line or 0)


class ProblemGroups:
    """Gathers problems by file, column and reason; all are counted."""

    def __init__(self) -> None:
        self._held: dict[tuple[str, str | None, str], ProblemGroup] = {}
        # How many more of a long group there are, and their first and last line: a damaged file
        # has them by the hundred thousand.
        self._more: dict[tuple[str, str | None, str], list[int]] = {}

    def add_one(self, *, file: str, line: int, column: str | None, why: str) -> None:
        """Take the problem of one line."""
        key = (file, column, _DIFFERS.sub("", why))
        held = self._held.get(key)
        if held is None or held.count < LINES_NAMED:
            self.add_lines(file=file, lines=(line,), column=column, why=why)
            return
        more = self._more.setdefault(key, [0, line, line])
        more[0] += 1
        more[1] = min(more[1], line)
        more[2] = max(more[2], line)

    def add_lines(
        self, *, file: str, lines: Sequence[int] | NDArray[np.int32], column: str | None, why: str
    ) -> None:
        """Take a problem on each of some lines; no line: of the file as a whole."""
        known = [int(line) for line in lines[:LINES_NAMED]]
        self.add(
            ProblemGroup(
                file=file,
                column=column,
                why=why,
                count=max(len(lines), 1),
                lines=tuple(known),
                first_line=int(np.min(lines)) if known else None,
                last_line=int(np.max(lines)) if known else None,
            )
        )

    def add(self, group: ProblemGroup) -> None:
        """Take some problems of one reason."""
        key = (group.file, group.column, _DIFFERS.sub("", group.why))
        held = self._held.get(key)
        if held is None and len(self._held) >= _MOST_GROUPS:
            key, held = next(reversed(self._held.items()))
        self._held[key] = group if held is None else _joined(held, group)

    def all(self) -> tuple[ProblemGroup, ...]:
        """Give the groups in the order of their first problems."""
        return tuple(
            group if key not in self._more else _longer(group, *self._more[key])
            for key, group in self._held.items()
        )


def grouped(problems: Iterable[Problem]) -> tuple[ProblemGroup, ...]:
    """Put problems together that have file, column and reason in common."""
    groups = ProblemGroups()
    for one in problems:
        groups.add_lines(
            file=one.file,
            lines=() if one.line is None else (one.line,),
            column=one.column,
            why=one.why,
        )
    return groups.all()


def with_others(
    groups: Iterable[ProblemGroup], problems: Iterable[Problem]
) -> tuple[ProblemGroup, ...]:
    """Give groups and, after them, those of the problems that stand in none of them."""
    held = tuple(groups)
    return (*held, *grouped(one for one in problems if not any(g.holds(one) for g in held)))


def _longer(group: ProblemGroup, count: int, first: int, last: int) -> ProblemGroup:
    return replace(
        group,
        count=group.count + count,
        first_line=first if group.first_line is None else min(group.first_line, first),
        last_line=last if group.last_line is None else max(group.last_line, last),
    )


def _joined(held: ProblemGroup, more: ProblemGroup) -> ProblemGroup:
    lines = (held.first_line, held.last_line, more.first_line, more.last_line)
    known = [line for line in lines if line is not None]
    return replace(
        held,
        count=held.count + more.count,
        lines=tuple(sorted({*held.lines, *more.lines})[:LINES_NAMED]),
        first_line=min(known, default=None),
        last_line=max(known, default=None),
    )
