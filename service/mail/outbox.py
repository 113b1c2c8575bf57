"""All SQL about mails that wait. Nothing here commits."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from email.utils import parseaddr

from sqlalchemy import delete, func, or_, select
from sqlalchemy.orm import Session

from dashboards.mails import Mail
from service.db.engine import insert_into
from service.db.models import Outbox, OutboxPart
from service.settings import Settings

WAITING = "waiting"
SENT = "sent"
FAILED = "failed"

# Quiet hours and pauses after a failure are shorter than this.
_LONGEST_WAIT = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """The finding that a mail is about: its site, kind and sensor."""

    site_id: int
    kind: str
    channel: str | None


def message_id(settings: Settings, *, what: str, address: str) -> str:
    """Give the Message-ID of a mail: the same each time the same is said to the same person."""
    host = parseaddr(settings.mail_from)[1].rpartition("@")[2] or "localhost"
    who = hashlib.sha256(address.strip().lower().encode()).hexdigest()[:12]
    return f"<{what}.{who}@{host}>"


def put(
    db: Session,
    mail: Mail,
    *,
    firm_id: int,
    recipient: str,
    message_id: str,
    not_before: datetime,
    now: datetime,
    about: About | None = None,
) -> int | None:
    """Lay a mail into the outbox; one with this Message-ID that is there already stays.

    Gives its number, None where it was there. With `about` it can be withdrawn while it waits.
    """
    number: int | None = db.scalar(
        insert_into(db, Outbox)
        .values(
            firm_id=firm_id,
            message_id=message_id,
            recipient=recipient,
            subject=mail.subject,
            text=mail.text,
            html=mail.html,
            stop_url=mail.stop_url,
            state=WAITING,
            tries=0,
            not_before=not_before,
            created_at=now,
            site_id=about.site_id if about is not None else None,
            kind=about.kind if about is not None else None,
            channel=about.channel if about is not None else None,
        )
        .on_conflict_do_nothing(index_elements=[Outbox.message_id])
        .returning(Outbox.id)
    )
    if number is not None:
        for part in mail.parts:
            db.add(
                OutboxPart(
                    outbox_id=number,
                    cid=part.cid,
                    name=part.name,
                    media_type=part.media_type,
                    content=part.content,
                )
            )
    return number


def parts_of(db: Session, *, mail_id: int) -> list[OutboxPart]:
    """Give what goes with a mail, in order."""
    found = select(OutboxPart).where(OutboxPart.outbox_id == mail_id)
    return list(db.scalars(found.order_by(OutboxPart.id)))


def withdraw_from(db: Session, *, firm_id: int, address: str) -> None:
    """Take back what waits for somebody who wants no more mail."""
    db.execute(
        delete(Outbox).where(
            Outbox.firm_id == firm_id, Outbox.recipient == address, Outbox.state == WAITING
        )
    )


def withdraw_messages(db: Session, message_ids: Sequence[str]) -> None:
    """Take back those of some mails that still wait."""
    db.execute(delete(Outbox).where(Outbox.message_id.in_(message_ids), Outbox.state == WAITING))


def waiting_about(db: Session) -> list[Outbox]:
    """Give the waiting mails that are about a finding."""
    found = select(Outbox).where(Outbox.state == WAITING, Outbox.site_id.is_not(None))
    return list(db.scalars(found.order_by(Outbox.id)))


def may_leave(mail: Outbox, *, now: datetime) -> bool:
    """Tell whether a mail waits for nothing; a wait that is too long was set by a wrong clock."""
    return mail.state == WAITING and not now < mail.not_before <= now + _LONGEST_WAIT


def due(db: Session, *, now: datetime, limit: int) -> list[int]:
    """Give the mails that may leave, the oldest first."""
    found = (
        select(Outbox.id)
        .where(
            Outbox.state == WAITING,
            or_(Outbox.not_before <= now, Outbox.not_before > now + _LONGEST_WAIT),
        )
        .order_by(Outbox.not_before, Outbox.id)
        .limit(limit)
    )
    return list(db.scalars(found))


def purge(db: Session, *, before: datetime) -> None:
    """Forget mails that were sent or given up long ago."""
    over = func.coalesce(Outbox.sent_at, Outbox.created_at) < before
    db.execute(delete(Outbox).where(Outbox.state != WAITING, over))


def latest(db: Session, *, firm_id: int, limit: int = 20) -> list[Outbox]:
    """Give a firm's mails, the newest first."""
    found = select(Outbox).where(Outbox.firm_id == firm_id).order_by(Outbox.id.desc())
    return list(db.scalars(found.limit(limit)))
