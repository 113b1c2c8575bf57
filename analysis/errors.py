"""The errors of the analysis.

AnalysisError                 this input cannot be used; always says where and what to do
├─ SiteFileError              key, line and the allowed range in the site file or map
├─ LogError                   nothing usable came out of a log: file, line, column, remedy
└─ RecordError                a table breaks a promise of Record (a defect, not a user's mistake)

Bad data in a row is not an exception: it is a `Problem` in the reading's list.
"""

from typing import Any


class AnalysisError(Exception):
    """This input cannot be used."""


class SiteFileError(AnalysisError):
    """A key of the site file or map is unknown, impossible or missing."""

    def __init__(self, what: str, *, key: str | None = None, line: int | None = None) -> None:
        super().__init__(what)
        self.what = what
        self.key = key
        self.line = line

    def __str__(self) -> str:
        place = f"line {self.line}: " if self.line else ""
        return f"{place}{self.what}"


class LogError(AnalysisError):
    """Nothing usable came out of a log; `questions` (`analysis.logs.asking`) would help."""

    def __init__(
        self,
        what: str,
        *,
        file: str | None = None,
        line: int | None = None,
        column: str | None = None,
        questions: tuple[Any, ...] = (),
    ) -> None:
        super().__init__(what)
        self.what = what
        self.questions = questions
        self.file = file
        self.line = line
        self.column = column

    def __str__(self) -> str:
        parts = [self.file or ""]
        if self.line is not None:
            parts.append(f"line {self.line}")
        if self.column is not None:
            bare = self.column.startswith("column ")  # it has no name of its own
            parts.append(self.column if bare else f"column {self.column}")
        place = ", ".join(part for part in parts if part)
        return f"{place}: {self.what}" if place else self.what


class RecordError(AnalysisError):
    """A table breaks a promise of `Record`."""
