"""The life of a finding with people in it: pure rules, no database.

    new -> accepted -> visit planned -> put right -> confirmed by data
                                                  -> came back
    or set aside until a date, with a reason

People take the steps of `STEPS`; `confirmed` and `came_back` are for the data alone to say.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal, get_args

from analysis.results import URGENCIES, Finding
from analysis.units import SECONDS_PER_DAY

State = Literal[
    "new", "accepted", "visit_planned", "put_right", "confirmed", "came_back", "set_aside"
]
STATES: tuple[State, ...] = get_args(State)

STATE_WORDS: dict[State, str] = {
    "new": "new, nobody is at it",
    "accepted": "taken up",
    "visit_planned": "visit planned",
    "put_right": "put right, waiting for the next logs",
    "confirmed": "put right, confirmed by the data",
    "came_back": "came back",
    "set_aside": "set aside",
}

# From each state, where people may go.
STEPS: dict[State, tuple[State, ...]] = {
    "new": ("accepted", "visit_planned", "put_right", "set_aside"),
    "accepted": ("visit_planned", "put_right", "set_aside", "new"),
    "visit_planned": ("put_right", "accepted", "set_aside", "new"),
    "put_right": ("accepted", "new"),
    "confirmed": ("new",),
    "came_back": ("accepted", "visit_planned", "put_right", "set_aside", "new"),
    "set_aside": ("accepted", "visit_planned", "put_right", "new"),
}

# A finding that shows so long after it was put right has come back; before, its last happening may
# be that of the visit itself, and kinds that look at weeks at a time still see the days before it.
_GRACE_DAYS = 1.0
_SLOW_DAYS = {
    "degraded_tubes": 45.0,
    "yield_shortfall": 30.0,
    "poor_heat_transfer": 30.0,
    "pipe_heat_loss": 30.0,
    "shading": 30.0,
    "low_flow": 15.0,
    "high_flow": 15.0,
    "flow_reading_wrong": 15.0,
    "hygiene_temperature": 8.0,
}
# One that was confirmed and is found again within so many days is the same one; it has come back.
_SEASON_S = 365 * SECONDS_PER_DAY


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A finding that somebody took up, as far as the rules care."""

    kind: str
    channel: str | None
    state: State
    put_right_at: datetime | None = None
    until: date | None = None
    urgency_then: str | None = None


def checked(
    case: Case,
    finding: Finding | None,
    others: Sequence[Finding],
    *,
    judged: bool,
    data_until_s: float,
) -> State | None:
    """Tell what the newest analysis makes of a case that was put right; None where nothing.

    Parameters
    ----------
    case : put right or confirmed; other states are not for the data to change
    finding : the same finding in the newest analysis, None where it is not found any more
    others : all findings of that analysis
    judged : whether the kind could be judged at all
    data_until_s : end of the data, UTC epoch seconds
    """
    if case.put_right_at is None or case.state not in ("put_right", "confirmed"):
        return None
    since_s = case.put_right_at.timestamp()
    seen = [finding] if finding is not None else []
    seen += [
        one
        for one in others
        if one.kind == case.kind
        and one.channel == case.channel
        and since_s < one.start_s < since_s + _SEASON_S
    ]
    grace_s = _SLOW_DAYS.get(case.kind, _GRACE_DAYS) * SECONDS_PER_DAY
    if any(_last_seen_s(one) > since_s + grace_s for one in seen):
        return "came_back"
    over = judged and all(one.end_s is not None for one in seen)
    if (
        case.state == "put_right"
        and over
        and data_until_s > since_s + _GRACE_DAYS * SECONDS_PER_DAY
    ):
        return "confirmed"
    return None


def _last_seen_s(finding: Finding) -> float:
    """Give when a finding last showed: its end, or the end of its newest evidence."""
    ends = [one.end_s for one in finding.evidence]
    return max((finding.end_s or finding.start_s, *ends))


def is_aside(case: Case, *, urgency: str, today: date) -> bool:
    """Tell whether a finding rests: set aside, not yet until, and no more urgent than it was."""
    if case.state != "set_aside" or case.until is None or today >= case.until:
        return False
    then = case.urgency_then or URGENCIES[-1]
    return URGENCIES.index(urgency) >= URGENCIES.index(then)
