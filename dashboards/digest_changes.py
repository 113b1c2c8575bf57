"""What changed for one reader: the findings of now against what their last digest said of them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from analysis.results import URGENCIES, Finding, Report
from dashboards.known import match
from dashboards.links import finding_key
from dashboards.mails import Status
from dashboards.private import PRIVATE_KINDS


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a digest said of a finding.

    Attributes
    ----------
    state : what people had done about it (a state of its life)
    """

    key: str
    kind: str
    channel: str | None
    start_s: int
    urgency: str
    ended: bool
    state: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Before:
    """What a reader knows of a site.

    Attributes
    ----------
    told : by the keys that the findings have now
    gone : what still stood then and is not found any more
    """

    told: Mapping[str, Told]
    gone: tuple[Told, ...]


def told_of(report: Report, states: Mapping[str, str]) -> tuple[Told, ...]:
    """Give what a digest about this report says, to be remembered.

    Parameters
    ----------
    report : with what is set aside: who was told of that is not told again when its time is over
    states : finding key to what people did about it
    """
    return tuple(
        Told(
            key=(key := finding_key(one)),
            kind=one.kind,
            channel=one.channel,
            start_s=one.start_s,
            urgency=one.urgency,
            ended=one.end_s is not None,
            state=states.get(key, "new"),
        )
        for one in report.findings
        if one.kind not in PRIVATE_KINDS and one.urgency != "record"
    )


def before(report: Report, told: Sequence[Told]) -> Before:
    """Pair what a reader was told with the findings of now."""
    known = match((*report.findings, *report.explained), told)
    here = {one.before.key for one in known if one.before is not None}
    return Before(
        told={one.key: one.before for one in known if one.before is not None},
        gone=tuple(one for one in told if one.key not in here and not one.ended),
    )


def status_of(finding: Finding, state: str, told: Told | None, *, since_s: int) -> Status | None:
    """Say what a finding is to a reader; None where it is nothing to tell.

    Parameters
    ----------
    state : what people did about it
    told : what the reader was told of it, None where nothing
    since_s : what began and ended before is history, even where the reader never heard of it
    """
    over = finding.end_s is not None
    if told is None:
        if over:
            return "right" if (finding.end_s or 0) >= since_s else None
        return "back" if state == "came_back" else "new"
    if over:
        confirmed = state == "confirmed" != told.state
        return "right" if confirmed or not told.ended else None
    if told.ended or (state == "came_back" != told.state):
        return "back"
    worse = URGENCIES.index(finding.urgency) < URGENCIES.index(told.urgency)
    return "worse" if worse else "open"


def as_json(told: Iterable[Told]) -> list[dict[str, Any]]:
    """Give what was told as JSON."""
    return [asdict(one) for one in told]


def from_json(rows: Iterable[Mapping[str, Any]]) -> tuple[Told, ...]:
    """Read what `as_json` wrote."""
    return tuple(Told(**row) for row in rows)
