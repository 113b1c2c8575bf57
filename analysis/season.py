"""What is one finding over time: states that come back within a season, and events."""

from analysis.results import Finding
from analysis.units import SECONDS_PER_DAY

SEASON_DAYS = 90
"""What comes back within so many days is the same again (engineering judgement)."""

EVENTS = frozenset({"silence", "stagnation", "no_draw", "not_yet_fitted", "fluid_stress"})
"""Kinds told each for itself: a hole in the data, a hot day, a holiday, a beginning, a filling."""

_EVENT_DAYS = 14
"""Late rows that fill a gap move the beginning of an event by less."""

Span = tuple[int, int]


def spells(finding: Finding, *, until_s: int) -> tuple[Span, ...]:
    """Give the times in which a finding showed, its breaks left out.

    Parameters
    ----------
    finding : what was found
    until_s : stands for the end where it lasts
    """
    end_s = until_s if finding.end_s is None else finding.end_s
    starts = [finding.start_s, *(end for _, end in finding.breaks)]
    ends = [*(start for start, _ in finding.breaks), end_s]
    return tuple((start, end) for start, end in zip(starts, ends, strict=True) if end > start)


def same_within_s(kind: str) -> int:
    """Give how far the beginnings of two analyses' findings may lie apart and be one finding [s].

    More data move a beginning; of states there are no two within a season.

    Parameters
    ----------
    kind : their kind
    """
    return int((_EVENT_DAYS if kind in EVENTS else SEASON_DAYS) * SECONDS_PER_DAY)
