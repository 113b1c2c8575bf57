"""Stopping yearly letters by the link in them: the customer's consent is taken back by it."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from service.accounts import trail
from service.accounts.signing import content_of, signed
from service.db.models import CustomerContact, Site
from service.errors import NotFoundError
from service.letters import queries
from service.mail import outbox
from service.mail.stopping import address_mark
from service.privacy.consents import withdraw_consent
from service.settings import Settings

_PURPOSE = "stop-letters"


@dataclass(frozen=True, slots=True, kw_only=True)
class LetterStop:
    """Whose letters a link stops, and about which site they are."""

    site: Site
    contact: CustomerContact


def letter_stop_url(db: Session, *, contact: CustomerContact, settings: Settings) -> str:
    """Give the address that stops the letters to a site's customer."""
    token = signed(db, [contact.site_id, address_mark(contact.address)], purpose=_PURPOSE)
    return f"{settings.public_url}/mail/stop-letters/{token}"


def letter_stop_of(db: Session, token: str) -> LetterStop:
    """Give what a link is for.

    Raises
    ------
    NotFoundError : it was made up, or the address is not on record any more
    """
    match content_of(db, token, purpose=_PURPOSE):
        case [int(site_id), str(marked)]:
            contact = queries.contact_of(db, site_id=site_id)
            if contact is not None and address_mark(contact.address) == marked:
                return LetterStop(site=db.get_one(Site, site_id), contact=contact)
    raise NotFoundError("This link is for letters that nobody gets any more.")


def stop_letters(db: Session, found: LetterStop, *, now: datetime) -> None:
    """Take the consent to letters back, and what waits to be sent; once more changes nothing."""
    site, who = found.site, found.contact.address
    given = queries.consents_of(db, site_id=site.id)
    for consent in given:
        withdraw_consent(db, site=site, consent_id=consent.id, who=who, now=now)
    outbox.withdraw_messages(db, queries.message_ids(db, site_id=site.id))
    if given:
        trail.add(db, site.firm_id, who=who, what="stopped-letters", subject=site.slug, now=now)
