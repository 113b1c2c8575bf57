"""What reading gives: values on stamps, and an honest account of everything that was not kept."""

from collections import Counter
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.logs.asking import Question, Understood
from analysis.problem_groups import ProblemGroup, ProblemGroups, with_others
from analysis.results import Problem, RowCount

PROBLEMS_LISTED = 1000
_QUOTED = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class LogSource:
    """One unpacked file: a name for messages, and its bytes.

    Files of one archive share the number of their `bundle`: together they are one layer of the log.
    """

    name: str
    data: bytes
    bundle: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnRead:
    """One column as it was understood."""

    head: str
    channel: str
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FileRead:
    """How one file was understood.

    Attributes
    ----------
    rows : rows of data that were kept before files were joined
    first_s, last_s : first and last stamp, UTC epoch seconds [s]
    dialect : the way it is written, in plain words
    columns : columns in use
    ignored : heads of columns that hold nothing known
    understood : the same in full, with what is open; None where a file was not looked at that way
    set_aside : what was set aside of it, by reason
    """

    name: str
    rows: int
    first_s: int
    last_s: int
    dialect: str
    columns: tuple[ColumnRead, ...]
    ignored: tuple[str, ...]
    understood: Understood | None = None
    set_aside: tuple[ProblemGroup, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ParsedLog:
    """Values in canonical units on strictly rising UTC stamps.

    Attributes
    ----------
    stamp_s : ndarray of int64, shape (n,)
        Stamps as written, UTC epoch seconds [s].
    stamp : which end of its step a stamp marks
    values : what the site file or map says of the values; None means: to be found from the data
    columns : dict of ndarray of float64, shape (n,)
        Channel name to values [canonical unit of the channel]; NaN is missing.
    rows : the count of rows
    rejected : the first problems, at most `PROBLEMS_LISTED`
    problems : how many problems there were in all, cells and rows
    files : how each file was understood
    impossible : channel to number of stamps whose value cannot be real; it is kept as written
    unseen : heads that the map names, of channels that no file has
    open_columns : dict of ndarray of float64, shape (n,)
        Key of a column whose meaning is not sure to its values [as written]; only where asked for.
    left_out : what keeps whole files from being read
    """

    stamp_s: NDArray[np.int64]
    stamp: Literal["end", "start"]
    values: Literal["sample", "mean"] | None
    columns: dict[str, NDArray[np.float64]]
    rows: RowCount
    rejected: tuple[Problem, ...]
    problems: int
    files: tuple[FileRead, ...]
    impossible: dict[str, int]
    unseen: tuple[str, ...]
    open_columns: dict[str, NDArray[np.float64]] = field(default_factory=dict)
    left_out: tuple[Question, ...] = ()

    @property
    def set_aside(self) -> tuple[ProblemGroup, ...]:
        """What was set aside by reason, every row and cell counted."""
        return with_others((group for one in self.files for group in one.set_aside), self.rejected)

    @property
    def questions(self) -> tuple[Question, ...]:
        """What the files leave open, each question once."""
        asked: dict[tuple[str, str], Question] = {}
        every = [one.understood.questions for one in self.files if one.understood is not None]
        for questions in (self.left_out, *every):
            for question in questions:
                asked.setdefault((question.kind, question.subject), question)
        return tuple(asked.values())


@dataclass(slots=True)
class ProblemList:
    """Collects problems: all are counted, the first `most` are listed."""

    listed: list[Problem] = field(default_factory=list)
    total: int = 0
    most: int = PROBLEMS_LISTED
    by_column: Counter[str] = field(default_factory=Counter)
    groups: ProblemGroups = field(default_factory=ProblemGroups)

    def add(self, *, file: str, line: int | None, column: str | None, why: str) -> None:
        """Count one problem, and list it while there is room."""
        self.total += 1
        self.by_column[column or ""] += 1
        if line is None:
            self.groups.add_lines(file=file, lines=(), column=column, why=why)
        else:
            self.groups.add_one(file=file, line=line, column=column, why=why)
        if len(self.listed) < self.most:
            self.listed.append(Problem(file=file, line=line, column=column, why=why))

    def add_rows(
        self, *, file: str, lines: NDArray[np.int32], column: str | None, why: str
    ) -> None:
        """Count a problem on each of many lines."""
        if not len(lines):
            return
        self.groups.add_lines(file=file, lines=lines, column=column, why=why)
        room = max(0, self.most - len(self.listed))
        self.listed.extend(
            Problem(file=file, line=int(line), column=column, why=why) for line in lines[:room]
        )
        self.total += len(lines)
        self.by_column[column or ""] += len(lines)

    def extend(self, other: "ProblemList") -> None:
        """Take over the problems that another list holds."""
        self.listed.extend(other.listed[: max(0, self.most - len(self.listed))])
        self.total += other.total
        self.by_column.update(other.by_column)
        for group in other.groups.all():
            self.groups.add(group)


def quoted(text: str) -> str:
    """Quote what stands in a file, at most 40 signs of it."""
    bare = "".join(sign if sign.isprintable() else "?" for sign in text.strip())
    return f"'{bare}'" if len(bare) <= _QUOTED else f"'{bare[:_QUOTED]}...'"
