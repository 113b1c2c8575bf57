"""All SQL about customers' addresses and letters. Nothing here commits."""

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from service.db.models import Consent, CustomerContact, Outbox, Site, SiteReport, YearlyLetter

# The purpose under which a customer's consent to letters is recorded.
PURPOSE = "letter"


def contact_of(db: Session, *, site_id: int) -> CustomerContact | None:
    """Give where a site's customer gets letters."""
    return db.get(CustomerContact, site_id)


def agreed(db: Session, *, site_id: int) -> bool:
    """Tell whether a site's customer agreed to letters and did not take that back."""
    return bool(consents_of(db, site_id=site_id))


def consents_of(db: Session, *, site_id: int) -> list[Consent]:
    """Give the consents to letters that hold for a site."""
    found = select(Consent).where(
        Consent.site_id == site_id, Consent.purpose == PURPOSE, Consent.withdrawn_at.is_(None)
    )
    return list(db.scalars(found.order_by(Consent.id)))


def message_ids(db: Session, *, site_id: int) -> list[str]:
    """Give the Message-IDs of a site's letters that were laid out."""
    found = select(YearlyLetter.message_id).where(
        YearlyLetter.site_id == site_id, YearlyLetter.message_id.is_not(None)
    )
    return [one for one in db.scalars(found) if one is not None]


def contacts(db: Session, *, firm_id: int) -> dict[int, CustomerContact]:
    """Give a firm's customers' addresses by site."""
    found = (
        select(CustomerContact)
        .join(Site, Site.id == CustomerContact.site_id)
        .where(Site.firm_id == firm_id)
    )
    return {one.site_id: one for one in db.scalars(found)}


def agreed_sites(db: Session, *, firm_id: int) -> frozenset[int]:
    """Give the sites whose customers agreed to letters."""
    found = (
        select(Consent.site_id)
        .join(Site, Site.id == Consent.site_id)
        .where(Site.firm_id == firm_id, Consent.purpose == PURPOSE, Consent.withdrawn_at.is_(None))
    )
    return frozenset(db.scalars(found))


def years_known(db: Session, *, firm_id: int) -> dict[int, frozenset[int]]:
    """Give the calendar years of which each site's report tells."""
    found = (
        select(Site.id, SiteReport.report["years"])
        .join(SiteReport, SiteReport.site_id == Site.id)
        .where(Site.firm_id == firm_id)
    )
    return {
        row[0]: frozenset(int(one["year"]) for one in row[1] or ()) for row in db.execute(found)
    }


def letters_of(db: Session, *, firm_id: int, year: int) -> dict[int, YearlyLetter]:
    """Give the newest letter about a year by site."""
    found = (
        select(YearlyLetter)
        .join(Site, Site.id == YearlyLetter.site_id)
        .where(Site.firm_id == firm_id, YearlyLetter.year == year)
        .order_by(YearlyLetter.serial)
    )
    return {one.site_id: one for one in db.scalars(found)}


def newest_serial(db: Session, *, site_id: int, year: int) -> int | None:
    """Give the serial of a site's newest letter about a year."""
    return db.scalar(
        select(func.max(YearlyLetter.serial)).where(
            YearlyLetter.site_id == site_id, YearlyLetter.year == year
        )
    )


def mails_of(db: Session, letters: list[YearlyLetter]) -> dict[str, Outbox]:
    """Give the mails of letters by Message-ID; old ones are forgotten."""
    ids = [one.message_id for one in letters if one.message_id is not None]
    found = select(Outbox).where(Outbox.message_id.in_(ids))
    return {one.message_id: one for one in db.scalars(found)}


def to_write(db: Session, *, most_tries: int) -> list[int]:
    """Give the letters that somebody chose and that are not in the outbox yet."""
    found = select(YearlyLetter.id).where(
        YearlyLetter.laid_at.is_(None), YearlyLetter.tries < most_tries
    )
    return list(db.scalars(found.order_by(YearlyLetter.id)))


def letter_to_change(db: Session, letter_id: int) -> YearlyLetter | None:
    """Give a letter, and let nobody else change it meanwhile."""
    return db.get(YearlyLetter, letter_id, with_for_update=True)
