"""Addresses that a mail server refuses for good: counted, paused after a few, and somebody told.

Only what the server answers while it is handed a mail counts. No mail is received here, so nothing
that comes back by mail is ever answered.
"""

from datetime import datetime

from sqlalchemy.orm import Session

from dashboards.mails import paused_mail
from service.accounts import queries as account_queries
from service.db.models import Outbox, Recipient
from service.digests import queries
from service.mail import outbox
from service.mail.addresses import is_address
from service.settings import Settings

MOST_REFUSALS = 3
_WHY_LONGEST = 500


def taken(db: Session, *, firm_id: int, address: str) -> None:
    """Note that the mail server took a mail for an address."""
    reader = queries.recipient_at(db, firm_id=firm_id, address=address)
    if reader is not None and reader.refusals:
        resume(reader)


def refused(db: Session, *, mail: Outbox, why: str, settings: Settings, now: datetime) -> None:
    """Note that the mail server refused an address for good; pause it after a few times."""
    reader = queries.recipient_at(db, firm_id=mail.firm_id, address=mail.recipient)
    if reader is None:
        return
    reader.refusals += 1
    reader.refused_at, reader.refused_why = now, why[:_WHY_LONGEST]
    if reader.refusals < MOST_REFUSALS or reader.paused_at is not None:
        return
    reader.paused_at = now
    outbox.withdraw_from(db, firm_id=reader.firm_id, address=reader.address)
    told = paused_mail(address=reader.address, why=reader.refused_why, base_url=settings.public_url)
    for address in _to_be_told(db, reader):
        outbox.put(
            db,
            told,
            firm_id=reader.firm_id,
            recipient=address,
            message_id=outbox.message_id(
                settings, what=f"paused-{reader.id}-{now:%Y%m%dT%H%M%S}", address=address
            ),
            not_before=now,
            now=now,
        )


def resume(reader: Recipient) -> None:
    """Send to an address again."""
    reader.refusals, reader.refused_at, reader.refused_why = 0, None, None
    reader.paused_at = None


def _to_be_told(db: Session, reader: Recipient) -> list[str]:
    """Give the owners who sign in with a mail address; without one, whoever else gets mail."""
    owners = {
        one.login
        for one in account_queries.accounts_of(db, firm_id=reader.firm_id)
        if one.role == "owner" and is_address(one.login)
    } - {reader.address}
    if owners:
        return sorted(owners)
    others = queries.recipients(db, firm_id=reader.firm_id)
    return sorted(one.address for one in others if one.id != reader.id and one.paused_at is None)
