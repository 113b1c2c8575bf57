"""Findings and what people do about them, over HTTP."""

from datetime import UTC, datetime
from typing import cast

from fastapi import APIRouter
from sqlalchemy.orm import Session

from analysis.results import Finding
from dashboards.links import finding_key, finding_of_key
from dashboards.private import shareable
from service.assessments import queries as assessment_queries
from service.care import queries
from service.care.actions import step
from service.care.life import State
from service.care.schemas import CaseShown, EventShown, StepWanted
from service.context import Here
from service.db.models import FindingCase, Site
from service.errors import NotFoundError

router = APIRouter(prefix="/api/sites/{slug}/findings", tags=["findings"])


@router.get("")
def list_findings(here: Here, slug: str) -> list[CaseShown]:
    """List the findings of the latest report, with what people did about each."""
    with here.database.reading() as db:
        site = here.site(db, slug, may="see")
        report = assessment_queries.latest_report(db, site_id=site.id)
        cases = queries.cases_by_key(db, site_id=site.id)
        found = shareable(report).findings if report else ()
        return [_shown(db, one, cases.get(finding_key(one))) for one in found]


@router.post("/{key}/step")
def take_step(here: Here, slug: str, key: str, wanted: StepWanted) -> CaseShown:
    """Take a finding up, plan for it, say that it was put right, or set it aside."""
    with here.database.session() as db:
        caller = here.person(db, may="care")
        site = here.site_of(db, caller, slug)
        finding = finding_of_site(db, site, key)
        case = step(
            db,
            site=site,
            key=finding_key(finding),
            to=wanted.to,
            who=caller.who,
            now=here.now(),
            urgency=finding.urgency,
            note=wanted.note,
            until=wanted.until,
            done_at=wanted.done_at,
        )
        return _shown(db, finding, case)


def finding_of_site(db: Session, site: Site, key: str) -> Finding:
    """Give a finding of the latest report.

    Raises
    ------
    NotFoundError : there is none of this key (any more)
    """
    report = assessment_queries.latest_report(db, site_id=site.id)
    finding = finding_of_key(shareable(report), key) if report else None
    if finding is None:
        raise NotFoundError(
            "This finding is not there any more: newer data may have shown otherwise."
        )
    return finding


def _shown(db: Session, finding: Finding, case: FindingCase | None) -> CaseShown:
    events = queries.events_of(db, case_id=case.id) if case else []
    return CaseShown(
        key=finding_key(finding),
        kind=finding.kind,
        channel=finding.channel,
        urgency=finding.urgency,
        start=datetime.fromtimestamp(finding.start_s, UTC),
        end=datetime.fromtimestamp(finding.end_s, UTC) if finding.end_s is not None else None,
        summary=finding.summary,
        state=cast(State, case.state) if case else "new",
        until=case.until if case else None,
        events=[
            EventShown(at=one.at, who=one.who, state=cast(State, one.state), note=one.note)
            for one in events
        ],
    )
