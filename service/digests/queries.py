"""All SQL about who gets mail and what there is to say. Nothing here commits."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from analysis.results import Report, report_from_json
from dashboards.digest_mail import DigestSite
from service.assessments import queries as assessment_queries
from service.assessments.queries import FleetEntry
from service.care import queries as care_queries
from service.care.actions import without_aside
from service.db.models import Claim, FindingSeen, Recipient, Site, SiteReport
from service.errors import NotFoundError
from service.ingest import queries as ingest_queries
from service.jobs import claims

_AT_ONCE = 400
_PENDING_WORDS = {
    "reading": "its log is being read at this moment",
    "analysing": "its log is being looked at at this moment",
}


def digest_readers(db: Session) -> list[Recipient]:
    """Give everybody who gets the digest."""
    return list(db.scalars(select(Recipient).where(Recipient.digest).order_by(Recipient.id)))


def urgent_readers(db: Session, *, firm_id: int) -> list[Recipient]:
    """Give who of a firm gets urgent mail."""
    found = select(Recipient).where(Recipient.firm_id == firm_id, Recipient.urgent)
    return list(db.scalars(found.order_by(Recipient.id)))


def done_keys(db: Session, keys: Iterable[str]) -> set[str]:
    """Give which of these claims are done for good."""
    wanted = sorted(set(keys))
    found: set[str] = set()
    for first in range(0, len(wanted), _AT_ONCE):
        part = wanted[first : first + _AT_ONCE]
        done = select(Claim.key).where(Claim.key.in_(part), Claim.state == claims.DONE)
        found |= set(db.scalars(done))
    return found


def digest_sites(db: Session, *, firm_id: int, today: date) -> list[DigestSite]:
    """Give all sites of a firm with what is known of them, without what is set aside."""
    cases = care_queries.cases_of_firm(db, firm_id=firm_id)
    seen: dict[int, dict[str, float]] = {}
    rows = db.execute(
        select(FindingSeen.site_id, FindingSeen.key, FindingSeen.first_seen_at)
        .join(Site, Site.id == FindingSeen.site_id)
        .where(Site.firm_id == firm_id)
    )
    for row in rows:
        seen.setdefault(row.site_id, {})[row.key] = row.first_seen_at.timestamp()
    refusals = ingest_queries.last_refusals(db, firm_id=firm_id)
    return [
        DigestSite(
            slug=entry.site.slug,
            name=entry.site.name,
            report=without_aside(entry.report, cases.get(entry.site.slug, {}), today=today)[0]
            if entry.report
            else None,
            why_not=_why_not(entry, refusals.get(entry.site.id)),
            first_seen=seen.get(entry.site.id, {}),
        )
        for entry in assessment_queries.fleet(db, firm_id=firm_id)
    ]


def _why_not(entry: FleetEntry, refusal: str | None) -> str | None:
    """Say why a site could not be judged; None where nothing stood in the way."""
    if entry.site.problem is not None:
        return entry.site.problem
    if entry.report is not None:
        return None
    if entry.pending is not None:
        return _PENDING_WORDS[entry.pending]
    return f"its log was refused: {refusal}" if refusal else None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportMade:
    """That a site's report was made, and when."""

    site_id: int
    firm_id: int
    made_at: datetime


def reports_made(db: Session) -> list[ReportMade]:
    """Give when each site's report was made, for sites with findings that were not mailed."""
    unmailed = select(FindingSeen.site_id).where(FindingSeen.mailed_at.is_(None))
    found = (
        select(Site.id, Site.firm_id, SiteReport.made_at)
        .join(SiteReport, SiteReport.site_id == Site.id)
        .where(Site.deleted_at.is_(None), Site.id.in_(unmailed))
        .order_by(Site.id)
    )
    return [
        ReportMade(site_id=row.id, firm_id=row.firm_id, made_at=row.made_at)
        for row in db.execute(found)
    ]


def urgent_report(db: Session, *, site_id: int) -> tuple[Site, Report] | None:
    """Give site and report where the report has an urgent finding that lasts, else None."""
    row = db.execute(
        select(Site, SiteReport.report)
        .join(SiteReport, SiteReport.site_id == Site.id)
        .where(Site.id == site_id, Site.deleted_at.is_(None))
    ).one_or_none()
    if row is None:
        return None
    site, report = row
    lasting = any(one["urgency"] == "act" and one["end"] is None for one in report["findings"])
    return (site, report_from_json(report)) if lasting else None


def finding_seen(db: Session, *, site_id: int, key: str) -> FindingSeen | None:
    """Give what is known of a finding, and let nobody else change it meanwhile."""
    return db.scalar(
        select(FindingSeen)
        .where(FindingSeen.site_id == site_id, FindingSeen.key == key)
        .with_for_update()
    )


def not_mailed(db: Session, *, site_id: int | None, kind: str | None, channel: str | None) -> None:
    """Note that nobody was told of findings of a kind and sensor after all."""
    same = FindingSeen.channel.is_(None) if channel is None else FindingSeen.channel == channel
    db.execute(
        update(FindingSeen)
        .where(FindingSeen.site_id == site_id, FindingSeen.kind == kind, same)
        .values(mailed_at=None)
    )


def recipients(db: Session, *, firm_id: int) -> list[Recipient]:
    """Give who of a firm gets mail."""
    found = select(Recipient).where(Recipient.firm_id == firm_id)
    return list(db.scalars(found.order_by(Recipient.id)))


def recipient_of(db: Session, *, firm_id: int, recipient_id: int) -> Recipient:
    """Give a recipient that the firm may see.

    Raises
    ------
    NotFoundError : there is none for this firm
    """
    found = db.get(Recipient, recipient_id)
    if found is None or found.firm_id != firm_id:
        raise NotFoundError("There is no such recipient.")
    return found
