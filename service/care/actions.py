"""Use cases of a finding's life: people take steps, the data confirm them or not."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import cast

from sqlalchemy.orm import Session

from analysis.results import Report
from dashboards.links import finding_key, finding_of_key
from service.care import queries
from service.care.life import STATE_WORDS, STEPS, Case, State, checked, is_aside
from service.db.models import CaseEvent, FindingCase, FindingSeen, Site
from service.errors import ConflictError, InvalidError, NotFoundError

DATA = "the data"
_NOTE_LONGEST = 2000


def step(
    db: Session,
    *,
    site: Site,
    key: str,
    to: str,
    who: str,
    now: datetime,
    urgency: str,
    note: str = "",
    until: date | None = None,
    done_at: datetime | None = None,
) -> FindingCase:
    """Take a step in a finding's life; the same step again changes nothing.

    Parameters
    ----------
    key : which finding
    to : the state it goes to (see `life.STEPS`)
    who : as the record names them
    urgency : how urgent the finding is now
    note : what they wrote; setting aside needs a reason
    until : until when it is set aside
    done_at : when it was put right; default: now

    Raises
    ------
    NotFoundError : no such finding was seen
    ConflictError : this state cannot follow the present one
    InvalidError : reason or date are missing
    """
    seen = queries.seen_of(db, site_id=site.id, key=key)
    if seen is None:
        raise NotFoundError("This finding is not there any more; look at the site again.")
    case = db.get(FindingCase, seen.case_id, with_for_update=True) if seen.case_id else None
    before = cast(State, case.state) if case else "new"
    if before == to and to != "set_aside":
        assert case is not None or to == "new"
        if case is not None:
            return case
    if to not in STEPS[before] and not (before == to == "set_aside"):
        raise ConflictError(
            f"A finding that is “{STATE_WORDS[before]}” cannot go there; reload the page to see "
            "what happened to it."
        )
    _complete(to, note=note, until=until, now=now)
    if case is None:
        case = _opened(db, seen, now=now)
    _enter(db, case, to, who=who, note=note, now=now)
    case.until = until if to == "set_aside" else None
    case.urgency_then = urgency if to == "set_aside" else None
    case.put_right_at = (done_at or now) if to == "put_right" else None
    return case


def _complete(to: str, *, note: str, until: date | None, now: datetime) -> None:
    if to != "set_aside":
        return
    if not note.strip():
        raise InvalidError(
            "Say why it is set aside; the next one who looks wants to know.", field="note"
        )
    if until is None or until <= now.date():
        raise InvalidError("Say until when: a day after today.", field="until")


def _opened(db: Session, seen: FindingSeen, *, now: datetime) -> FindingCase:
    case = FindingCase(
        site_id=seen.site_id, kind=seen.kind, channel=seen.channel, state="new", since=now
    )
    db.add(case)
    db.flush()
    seen.case_id = case.id
    return case


def _enter(
    db: Session, case: FindingCase, state: State, *, who: str, note: str, now: datetime
) -> None:
    case.state, case.since = state, now
    db.add(
        CaseEvent(case_id=case.id, at=now, who=who, state=state, note=note.strip()[:_NOTE_LONGEST])
    )


def check_cases(
    db: Session, *, site: Site, report: Report, data_until_s: float, now: datetime
) -> None:
    """Let the newest analysis confirm what was put right, or say that it came back."""
    judged = {one.kind for one in report.verdicts if one.outcome != "cannot_judge"}
    for key, case in queries.cases_by_key(db, site_id=site.id).items():
        told = checked(
            rules_of(case),
            finding_of_key(report, key),
            report.findings,
            judged=case.kind in judged,
            data_until_s=data_until_s,
        )
        if told is not None:
            _enter(db, case, told, who=DATA, note="", now=now)
        if told == "came_back":
            _follow(db, case, report)


def _follow(db: Session, case: FindingCase, report: Report) -> None:
    """Lead from the finding that came back, where it is found as a new one, to its case."""
    for one in report.findings:
        if one.kind == case.kind and one.channel == case.channel and one.end_s is None:
            seen = queries.seen_of(db, site_id=case.site_id, key=finding_key(one))
            if seen is not None and seen.case_id is None:
                seen.case_id = case.id


def without_aside(
    report: Report, cases: Mapping[str, FindingCase], *, today: date
) -> tuple[Report, int]:
    """Leave out what is set aside for now; gives the report and how many findings that were."""
    kept = tuple(
        one
        for one in report.findings
        if (case := cases.get(finding_key(one))) is None
        or not is_aside(rules_of(case), urgency=one.urgency, today=today)
    )
    return replace(report, findings=kept), len(report.findings) - len(kept)


def rules_of(case: FindingCase) -> Case:
    """Give a case as the rules see it."""
    return Case(
        kind=case.kind,
        channel=case.channel,
        state=cast(State, case.state),
        put_right_at=case.put_right_at,
        until=case.until,
        urgency_then=case.urgency_then,
    )
