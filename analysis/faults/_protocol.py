"""The common protocol of all faults.

A fault is one file with one frozen dataclass: its thresholds as fields, what people read about it
(`text`), what it needs, and two functions:

observe    looks at the samples of whole local days (a `Case`) and gives numbers per day and
           happenings; a day's numbers depend on its samples and its neighbours' alone
conclude   looks at the table of all days and says found, clear or cannot be judged and why

NaN may only make a condition less true: a gap never starts a fault.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from analysis.case import Case
from analysis.condition.tubes import TubesState
from analysis.days import DayTable, Happening
from analysis.record import Floats
from analysis.results import Bounded, Evidence, Urgency
from analysis.site import Site
from analysis.sources import Source


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultText:
    """What people read about a kind.

    `title` names it, `customer` is a sentence for the owner, `technician` a paragraph on what goes
    wrong and what it looks like; the lists go from the armchair to the roof.
    """

    title: str
    customer: str
    technician: str
    likely_causes: tuple[str, ...]
    check_next: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """What one fault saw in a case: columns of shape (n_days,) and happenings."""

    columns: Mapping[str, Floats] = field(default_factory=dict)
    happenings: tuple[Happening, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """Everything `conclude` may look at: the site's facts and all its days.

    `until_s` is the end of what was looked at: the end of the data, or the present moment where
    the shell passes it. `explained` holds local dates whose loss another finding accounts for.
    """

    site: Site
    table: DayTable
    start_s: int
    end_s: int
    until_s: int
    explained: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One finding as a fault states it; prose and lists are added from its text.

    `untaken_kwh`: what is missing as well, but a sound plant's store would not have taken.
    """

    start_s: int
    end_s: int | None
    urgency: Urgency
    certainty: float
    summary: str
    evidence: tuple[Evidence, ...]
    lost: Bounded | None = None
    untaken_kwh: float = 0.0
    channel: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """The data were enough to judge; no findings means clear.

    `tubes` is for degraded tubes alone.
    """

    findings: tuple[Found, ...]
    why: str = ""
    tubes: TubesState | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NotJudged:
    """The data were not enough, and why."""

    why: str


Conclusion = Judged | NotJudged


class Fault(Protocol):
    """What every member of the catalogue offers."""

    @property
    def kind(self) -> str:
        """The kind's name, as in the report."""

    @property
    def text(self) -> FaultText:
        """What people read about it."""

    @property
    def sources(self) -> tuple[Source, ...]:
        """Where method and thresholds come from."""

    def observe(self, case: Case) -> Observation:
        """Look at the samples of whole local days."""

    def conclude(self, history: History) -> Conclusion:
        """Judge the table of all days."""
