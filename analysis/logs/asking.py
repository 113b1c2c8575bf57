"""What was understood of a log, how sure that is, and what only a person can answer.

Nothing here decides anything. Reading fills these shapes; what is open becomes a `Question` whose
answer is a key of the `[log]` table, and what depends on it is left out until it is answered.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.site import ColumnMeaning

# A meaning less sure than this is asked, never used.
SURE_FRAC = 0.9

QuestionKind = Literal[
    "column",
    "unit",
    "date_order",
    "time_zone",
    "decimal",
    "time",
    "stamp",
    "table",
    "cells",
    "clock",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One possible answer.

    Attributes
    ----------
    value : what the map would say: a channel name ("" for none of them), a unit, `day_first`,
        `month_first` or `year_first`, an IANA zone, a decimal sign, `start` or `end`
    says : the answer in plain words
    certainty_frac : how likely it is as far as the file tells, 0 to 1; NaN where it tells nothing
    """

    value: str
    says: str
    certainty_frac: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Something that the file leaves open.

    Attributes
    ----------
    kind : which key of the `[log]` table answers it: `column` and `unit` an entry of
        `[log.columns]` under `subject`, `date_order` the key of that name, `time_zone` the key
        `timezone`, `decimal` the key of that name; `time` which column holds the time, or how it
        is written (`time_format`); `stamp` which day a row of a whole day is of; `table` whether a
        row holds one reading or all; `cells` whether only changes are written
    file : name of the file (one of several alike)
    subject : head of the column, or its 1-based number as digits where it has none; else ""
    choices : the likeliest first
    why : one sentence: why it is open
    """

    kind: QuestionKind
    file: str
    subject: str
    choices: tuple[Choice, ...]
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnUnderstood:
    """One column (of a long table: one series) as it was understood.

    Attributes
    ----------
    place : 0-based place in the file; of a long table, in the order in which series appear
    head : header text, "" where there is none
    unit_head : unit as the header or a line of units prints it, "" where it does not
    meaning : channel and unit that are used; None: the column is left out
    source : who said so: `map`, `header` (a tidy head), `proposal` (words and physics), or `none`
    certainty_frac : how sure the meaning, or the best one that was not sure enough, is, 0 to 1
    reasons : in plain words
    sentinels : values that stand for a broken sensor, found from the data [as written]
    masked : how many values were such or impossible, kept as written and not used
    set_aside : how many cells hold something that is no number
    shared_head : whether another column has the same head
    own : what the file surely shows it to hold where the map says something else, else None
    """

    place: int
    head: str
    unit_head: str
    meaning: ColumnMeaning | None
    source: Literal["map", "header", "proposal", "none"]
    certainty_frac: float
    reasons: tuple[str, ...]
    sentinels: tuple[float, ...] = ()
    masked: int = 0
    set_aside: int = 0
    shared_head: bool = False
    own: ColumnMeaning | None = None

    @property
    def key(self) -> str:
        """What names the column in `[log.columns]`: its own head, else its 1-based number."""
        return str(self.place + 1) if self.shared_head or not self.head else self.head


@dataclass(frozen=True, slots=True, kw_only=True)
class Understood:
    """How one file was read.

    Attributes
    ----------
    file : its name
    encoding : such as `UTF-8` or `Windows-1252`
    delimiter : one sign; " " means runs of blanks
    decimal, thousands : decimal sign, and the sign between thousands ("" where there is none)
    header_lines : 1-based lines that hold names and units; empty where there is no header
    first_line : 1-based line of the first row
    long : whether each row holds one value of a named series
    stamp_head : head of the column (of the first of two) that holds the time
    stamp_format : how the time is written, in plain words
    stamp_example : the first stamp as written
    time_zone : IANA zone of the clock, or `written` where each stamp carries its offset from UTC
    time_zone_source : `stamps`, `header`, `map`, or `site` (the zone of the place, assumed)
    steps_s : usual time steps in the order in which they came, a changed step twice or more [s]
    columns : the columns of values
    questions : what is open
    remarks : what else a reader should know, in plain words
    """

    file: str
    encoding: str
    delimiter: str
    decimal: Literal[".", ","]
    thousands: str
    header_lines: tuple[int, ...]
    first_line: int
    long: bool
    stamp_head: str
    stamp_format: str
    stamp_example: str
    time_zone: str
    time_zone_source: Literal["stamps", "header", "map", "site"]
    steps_s: tuple[int, ...]
    columns: tuple[ColumnUnderstood, ...]
    questions: tuple[Question, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OpenColumn:
    """A column that neither a map nor a tidy head explains, as it is handed over for a proposal.

    Attributes
    ----------
    place, head, unit_head : as in `ColumnUnderstood`
    values : ndarray of float64, shape (n,)
        As written; on is 1 and off 0; NaN where missing, no number, or a broken sensor's value.
    words : whether it is written in words such as on and off
    known : what a map already says of it (a channel without a unit, say), else None
    """

    place: int
    head: str
    unit_head: str
    values: NDArray[np.float64]
    words: bool
    known: ColumnMeaning | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """What a column probably holds.

    Attributes
    ----------
    place : the place of its `OpenColumn`
    meaning : the best meaning; None where it is none of the channels (or nothing speaks for any)
    certainty_frac : how sure that is, channel and unit together, 0 to 1
    reasons : in plain words
    questions : asked where `certainty_frac` is below `SURE_FRAC`
    """

    place: int
    meaning: ColumnMeaning | None
    certainty_frac: float
    reasons: tuple[str, ...]
    questions: tuple[Question, ...] = ()
