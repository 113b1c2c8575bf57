"""All SQL about cases. Nothing here commits."""

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from service.db.models import CaseEvent, FindingCase, FindingSeen, Site


def seen_of(db: Session, *, site_id: int, key: str) -> FindingSeen | None:
    """Give a finding that was seen, to be changed."""
    return db.get(FindingSeen, (site_id, key), with_for_update=True)


def case_of(db: Session, *, site_id: int, key: str) -> FindingCase | None:
    """Give the case of a finding, where somebody took it up."""
    return db.scalar(
        select(FindingCase)
        .join(FindingSeen, FindingSeen.case_id == FindingCase.id)
        .where(FindingSeen.site_id == site_id, FindingSeen.key == key)
    )


_CASES = (
    select(FindingSeen.key, FindingCase)
    .join(FindingCase, FindingSeen.case_id == FindingCase.id)
    .where(FindingSeen.site_id == bindparam("site_id"))
)


def cases_by_key(db: Session, *, site_id: int) -> dict[str, FindingCase]:
    """Give a site's cases by the keys of their findings."""
    return {row[0]: row[1] for row in db.execute(_CASES, {"site_id": site_id})}


def cases_of_firm(db: Session, *, firm_id: int) -> dict[str, dict[str, FindingCase]]:
    """Give all cases of a firm: by site slug, then by key."""
    found = db.execute(
        select(Site.slug, FindingSeen.key, FindingCase)
        .join(FindingSeen, FindingSeen.site_id == Site.id)
        .join(FindingCase, FindingSeen.case_id == FindingCase.id)
        .where(Site.firm_id == firm_id)
    )
    cases: dict[str, dict[str, FindingCase]] = {}
    for slug, key, case in found:
        cases.setdefault(slug, {})[key] = case
    return cases


def events_of(db: Session, *, case_id: int) -> list[CaseEvent]:
    """Give a case's steps, the oldest first."""
    found = select(CaseEvent).where(CaseEvent.case_id == case_id)
    return list(db.scalars(found.order_by(CaseEvent.id)))
