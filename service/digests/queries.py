"""All SQL about who gets mail and what there is to say. Nothing here commits."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from analysis.results import Report, report_from_json
from dashboards.digest_changes import as_json, from_json, told_of
from dashboards.digest_changes import before as before_of
from dashboards.digest_shapes import DigestSite
from service.assessments import queries as assessment_queries
from service.assessments.queries import FleetEntry
from service.care import queries as care_queries
from service.care.actions import without_aside
from service.db.models import Claim, FindingSeen, Recipient, RecipientSite, Site, SiteReport
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
    found = select(Recipient).where(Recipient.digest, Recipient.paused_at.is_(None))
    return list(db.scalars(found.order_by(Recipient.id)))


def urgent_readers(db: Session, *, firm_id: int) -> list[Recipient]:
    """Give who of a firm gets urgent mail."""
    found = select(Recipient).where(
        Recipient.firm_id == firm_id, Recipient.urgent, Recipient.paused_at.is_(None)
    )
    return list(db.scalars(found.order_by(Recipient.id)))


def chosen_sites(db: Session, *, recipient_id: int) -> frozenset[int]:
    """Give the sites that somebody chose to hear of."""
    found = select(RecipientSite.site_id).where(RecipientSite.recipient_id == recipient_id)
    return frozenset(db.scalars(found))


def choose_sites(db: Session, *, recipient_id: int, site_ids: Iterable[int]) -> None:
    """Note the sites that somebody wants to hear of, in place of those before."""
    db.execute(delete(RecipientSite).where(RecipientSite.recipient_id == recipient_id))
    for site_id in sorted(set(site_ids)):
        db.add(RecipientSite(recipient_id=recipient_id, site_id=site_id))
    db.flush()


def hears_of(db: Session, reader: Recipient, *, site_id: int) -> bool:
    """Tell whether somebody wants to hear of a site."""
    return reader.every_site or site_id in chosen_sites(db, recipient_id=reader.id)


def recipient_at(db: Session, *, firm_id: int, address: str) -> Recipient | None:
    """Give who of a firm gets mail at an address, and let nobody else change them meanwhile."""
    return db.scalar(
        select(Recipient)
        .where(Recipient.firm_id == firm_id, Recipient.address == address)
        .with_for_update()
    )


def done_keys(db: Session, keys: Iterable[str]) -> set[str]:
    """Give which of these claims are done for good."""
    wanted = sorted(set(keys))
    found: set[str] = set()
    for first in range(0, len(wanted), _AT_ONCE):
        part = wanted[first : first + _AT_ONCE]
        done = select(Claim.key).where(Claim.key.in_(part), Claim.state == claims.DONE)
        found |= set(db.scalars(done))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class ForReader:
    """The sites of a digest, and what its reader is told by it.

    Attributes
    ----------
    told : site number to what is said of its findings, as JSON
    """

    sites: list[DigestSite]
    told: dict[str, Any]


def digest_sites(
    db: Session, *, firm_id: int, today: date, reader: Recipient | None = None
) -> ForReader:
    """Give the sites of a firm that a reader hears of, without what is set aside.

    Without a reader they are all sites, as for somebody who was told nothing before.
    """
    cases = care_queries.cases_of_firm(db, firm_id=firm_id)
    seen = _first_seen(db, firm_id=firm_id)
    refusals = ingest_queries.last_refusals(db, firm_id=firm_id)
    chosen = chosen_sites(db, recipient_id=reader.id) if reader and not reader.every_site else None
    known = reader.told if reader is not None else None
    sites, told = [], {}
    for entry in assessment_queries.fleet(db, firm_id=firm_id, whole=True):
        site = entry.site
        if chosen is not None and site.id not in chosen:
            continue
        of_site = cases.get(site.slug, {})
        states = {key: case.state for key, case in of_site.items()}
        report, before = entry.report, None
        if report is not None:
            told[str(site.id)] = as_json(told_of(report, states))
            if known is not None:
                before = before_of(report, from_json(known.get(str(site.id), ())))
        sites.append(
            DigestSite(
                slug=site.slug,
                name=site.name,
                report=without_aside(report, of_site, today=today)[0] if report else None,
                why_not=_why_not(entry, refusals.get(site.id)),
                first_seen=seen.get(site.id, {}),
                states=states,
                before=before,
            )
        )
    return ForReader(sites=sites, told=told)


def _first_seen(db: Session, *, firm_id: int) -> dict[int, dict[str, float]]:
    seen: dict[int, dict[str, float]] = {}
    rows = db.execute(
        select(FindingSeen.site_id, FindingSeen.key, FindingSeen.first_seen_at)
        .join(Site, Site.id == FindingSeen.site_id)
        .where(Site.firm_id == firm_id)
    )
    for row in rows:
        seen.setdefault(row.site_id, {})[row.key] = row.first_seen_at.timestamp()
    return seen


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
        .where(Site.deleted_at.is_(None), Site.invented.is_(False), Site.id.in_(unmailed))
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
        .where(Site.id == site_id, Site.deleted_at.is_(None), Site.invented.is_(False))
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
