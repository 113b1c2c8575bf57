"""What is told of: a table of events, and which of them a new report brings."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analysis.results import Finding, Report, iso
from dashboards.digest_changes import Told, told_of
from dashboards.known import match
from dashboards.links import finding_key
from dashboards.private import PRIVATE_KINDS

EVENTS: Mapping[str, str] = {
    "finding.opened": "something was found that lasts",
    "finding.closed": "what was found has ended, or newer data do not show it",
    "finding.urgent": "something that was found needs somebody today",
    "upload.refused": "a log could not be used",
}
TEST = "test"


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened, with what is told of it."""

    name: str
    data: dict[str, Any]


def finding_events(before: Report | None, now: Report) -> list[Event]:
    """Give what a new report tells that the one before it did not."""
    told = told_of(before, {}) if before is not None else ()
    known = match((*now.findings, *now.explained), told)
    shown = {finding_key(one) for one in now.findings}
    events = []
    for pair in known:
        if pair.key in shown and pair.finding.kind not in PRIVATE_KINDS:
            events += _of_finding(pair.finding, pair.before)
    still = {pair.before.key for pair in known if pair.before is not None}
    for one in told:
        if one.key not in still and not one.ended:
            data = {"key": one.key, "kind": one.kind, "channel": one.channel, "why": "not found"}
            events.append(Event(name="finding.closed", data=data))
    return events


def _of_finding(finding: Finding, told: Told | None) -> list[Event]:
    was_open = told is not None and not told.ended
    is_open = finding.end_s is None and finding.urgency != "record"
    data = {
        "key": finding_key(finding),
        "kind": finding.kind,
        "channel": finding.channel,
        "urgency": finding.urgency,
        "summary": finding.summary,
        "start": iso(finding.start_s),
        "end": None if finding.end_s is None else iso(finding.end_s),
    }
    events = []
    if is_open and not was_open:
        events.append(Event(name="finding.opened", data=data))
    if was_open and not is_open:
        events.append(Event(name="finding.closed", data={**data, "why": "ended"}))
    urgent_before = was_open and told is not None and told.urgency == "act"
    if is_open and finding.urgency == "act" and not urgent_before:
        events.append(Event(name="finding.urgent", data=data))
    return events
