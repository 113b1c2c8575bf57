"""Use cases of consents: recorded with who, when and how; withdrawn with what stops by it."""

from datetime import date, datetime

from sqlalchemy.orm import Session

from service.db.models import Consent, Site
from service.errors import InvalidError, NotFoundError
from service.privacy import queries
from service.privacy.purposes import PURPOSES

_LONGEST = 2000


def record_consent(
    db: Session,
    *,
    site: Site,
    purpose: str,
    given_by: str,
    given_on: date,
    how: str,
    who: str,
    now: datetime,
) -> Consent:
    """Record that somebody agreed to something.

    Raises
    ------
    InvalidError : no such purpose, nobody named, or a day that is still to come
    """
    if purpose not in PURPOSES:
        raise InvalidError("Say what was agreed to.", field="purpose")
    if not given_by.strip():
        raise InvalidError("Say who agreed.", field="given_by")
    if given_on > now.date():
        raise InvalidError("The day is still to come; check the date.", field="given_on")
    consent = Consent(
        site_id=site.id,
        purpose=purpose,
        given_by=given_by.strip()[:200],
        given_on=given_on,
        how=how.strip()[:_LONGEST],
        recorded_by=who,
        recorded_at=now,
    )
    db.add(consent)
    db.flush()
    return consent


def withdraw_consent(
    db: Session, *, site: Site, consent_id: int, who: str, now: datetime
) -> Consent:
    """Withdraw a consent, and stop what rested on it; a second time changes nothing.

    Raises
    ------
    NotFoundError : there is none of this number at this site
    """
    consent = queries.consent_of(db, site_id=site.id, consent_id=consent_id)
    if consent is None:
        raise NotFoundError("There is no such consent at this site.")
    if consent.withdrawn_at is None:
        consent.withdrawn_at, consent.withdrawn_by = now, who
        if consent.purpose == "sharing_link":
            queries.stop_links(db, site_id=site.id, now=now)
        if consent.purpose == "remote_reading":
            queries.stop_keys(db, site_id=site.id, now=now)
    return consent
