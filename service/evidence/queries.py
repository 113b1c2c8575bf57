"""All SQL that only bundles and exports need. Nothing here commits."""

from datetime import date

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from service.db.models import (
    ApiKey,
    CaseEvent,
    Consent,
    CustomerContact,
    CustomerLink,
    DayLayer,
    FindingCase,
    FindingSeen,
    Outbox,
    Site,
    TrailEntry,
    Upload,
    Visit,
    VisitPhoto,
    WeatherFile,
    WeatherSource,
    YearlyLetter,
)


def uploads_with_bytes(db: Session, *, site_id: int) -> list[Upload]:
    """Give a site's uploads whose bytes are kept, the oldest first."""
    found = select(Upload).where(Upload.site_id == site_id, Upload.sha256.is_not(None))
    return list(db.scalars(found.order_by(Upload.id)))


def pushed_days(db: Session, *, site_id: int) -> list[date]:
    """Give the UTC days on which a gateway sent rows."""
    found = select(DayLayer.day).where(DayLayer.site_id == site_id, DayLayer.pushed.is_(True))
    return list(db.scalars(found.distinct().order_by(DayLayer.day)))


def weather_with_bytes(db: Session, *, site_id: int) -> list[WeatherFile]:
    """Give a site's weather files, the oldest first."""
    found = select(WeatherFile).where(WeatherFile.site_id == site_id)
    return list(db.scalars(found.order_by(WeatherFile.id)))


def weather_source(db: Session, *, site_id: int) -> WeatherSource | None:
    """Give the address that the site's weather is fetched from."""
    return db.get(WeatherSource, site_id)


def cases_with_steps(db: Session, *, site_id: int) -> list[tuple[FindingCase, CaseEvent]]:
    """Give every step that was taken about a finding, the oldest first."""
    found = (
        select(FindingCase, CaseEvent)
        .join(CaseEvent, CaseEvent.case_id == FindingCase.id)
        .where(FindingCase.site_id == site_id)
        .order_by(CaseEvent.id)
    )
    return [(row[0], row[1]) for row in db.execute(found)]


def findings_seen(db: Session, *, site_id: int) -> list[FindingSeen]:
    """Give every finding that was ever shown, by its key."""
    found = select(FindingSeen).where(FindingSeen.site_id == site_id)
    return list(db.scalars(found.order_by(FindingSeen.key)))


def links_of(db: Session, *, site_id: int) -> list[CustomerLink]:
    """Give all links that customers had, the oldest first."""
    found = select(CustomerLink).where(CustomerLink.site_id == site_id)
    return list(db.scalars(found.order_by(CustomerLink.id)))


def keys_of(db: Session, *, site_id: int) -> list[ApiKey]:
    """Give all gateway keys that there were, the oldest first."""
    return list(db.scalars(select(ApiKey).where(ApiKey.site_id == site_id).order_by(ApiKey.id)))


def consents_of(db: Session, *, site_id: int) -> list[Consent]:
    """Give what was agreed to, the oldest first."""
    return list(db.scalars(select(Consent).where(Consent.site_id == site_id).order_by(Consent.id)))


def contact_of(db: Session, *, site_id: int) -> CustomerContact | None:
    """Give where the customer gets letters."""
    return db.get(CustomerContact, site_id)


def letters_of(db: Session, *, site_id: int) -> list[YearlyLetter]:
    """Give the letters that were chosen for the customer, the oldest first."""
    found = select(YearlyLetter).where(YearlyLetter.site_id == site_id)
    return list(db.scalars(found.order_by(YearlyLetter.id)))


def visits_of(db: Session, *, site_id: int) -> list[Visit]:
    """Give all visits of a site, dropped ones too, the oldest first."""
    return list(db.scalars(select(Visit).where(Visit.site_id == site_id).order_by(Visit.id)))


def photos_of(db: Session, *, site_id: int) -> list[VisitPhoto]:
    """Give the photos of a site's visits, the oldest first."""
    found = select(VisitPhoto).join(Visit).where(Visit.site_id == site_id)
    return list(db.scalars(found.order_by(VisitPhoto.id)))


def mails_about(db: Session, *, site: Site) -> list[tuple[Outbox, bool]]:
    """Give the mails that name a site, the oldest first, and whether each is about it alone."""
    letters = {one.message_id for one in letters_of(db, site_id=site.id)} - {None}
    found = (
        select(Outbox)
        .where(
            Outbox.firm_id == site.firm_id,
            or_(
                Outbox.site_id == site.id,
                Outbox.message_id.in_(letters),
                Outbox.text.contains(site.name, autoescape=True),
            ),
        )
        .order_by(Outbox.id)
    )
    return [(one, one.site_id == site.id or one.message_id in letters) for one in db.scalars(found)]


def trail_about(db: Session, *, site: Site) -> list[TrailEntry]:
    """Give the lines of the audit trail that name a site, the oldest first."""
    found = (
        select(TrailEntry)
        .where(
            TrailEntry.firm_id == site.firm_id,
            or_(
                TrailEntry.subject == site.slug,
                TrailEntry.subject.startswith(f"{site.slug}, ", autoescape=True),
                TrailEntry.subject.endswith(f", {site.slug}", autoescape=True),
            ),
            # The subjects of these are numbers of accounts and keys.
            TrailEntry.what.not_like("pages.firm.%"),
            TrailEntry.what.not_like("pages.people.%"),
        )
        .order_by(TrailEntry.id)
    )
    return list(db.scalars(found))


def sites_of_slug(db: Session, *, slug: str) -> list[Site]:
    """Give the sites of this address part, of whichever firm."""
    found = select(Site).where(Site.slug == slug, Site.deleted_at.is_(None)).order_by(Site.id)
    return list(db.scalars(found))
