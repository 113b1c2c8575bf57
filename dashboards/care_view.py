"""What people did about a finding, in words: its state, its steps, and what can follow."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from dashboards.format import day


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeStep:
    """A step that was taken."""

    at: str
    who: str
    words: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeView:
    """The life of a finding as its page shows it; `may` are the steps that people can take."""

    state: str
    words: str
    steps: tuple[LifeStep, ...]
    may: frozenset[str]


def life_view(
    *, state: str, words: str, until: date | None, may: Collection[str], steps: Sequence[LifeStep]
) -> LifeView:
    """Put a finding's life into words."""
    return LifeView(
        state=state,
        words=f"{words} until {day(until)}" if until else words,
        steps=tuple(steps),
        may=frozenset(may),
    )
