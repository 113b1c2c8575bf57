"""Stopping mail by the link in it: signed, without signing in, and by one request (RFC 8058)."""

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, get_args

from sqlalchemy.orm import Session

from service.accounts import trail
from service.accounts.signing import content_of, signed
from service.db.models import Recipient
from service.errors import NotFoundError
from service.mail import outbox
from service.settings import Settings

Kind = Literal["digest", "urgent"]
_PURPOSE = "stop-mail"
WORDS: dict[Kind, str] = {
    "digest": "the weekly digest",
    "urgent": "mail about what needs somebody today",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """Whose mail of which kind a link stops."""

    reader: Recipient
    kind: Kind


def stop_url(db: Session, *, reader: Recipient, kind: Kind, settings: Settings) -> str:
    """Give the address that stops a kind of mail to somebody."""
    token = signed(db, [reader.id, kind, address_mark(reader.address)], purpose=_PURPOSE)
    return f"{settings.public_url}/mail/stop/{token}"


def stop_of(db: Session, token: str) -> Stop:
    """Give what a link is for.

    Raises
    ------
    NotFoundError : it was made up, or the reader is not there any more
    """
    match content_of(db, token, purpose=_PURPOSE):
        case [int(number), "digest" | "urgent" as kind, str(mark)]:
            reader = db.get(Recipient, number)
            if reader is not None and address_mark(reader.address) == mark:
                return Stop(reader=reader, kind=kind)
    raise NotFoundError("This link is for mail that nobody gets any more; there is nothing to do.")


def stop(db: Session, found: Stop, *, everything: bool, now: datetime) -> None:
    """End a kind of mail, or all, and take back what waits where nothing is left."""
    reader = found.reader
    kinds: tuple[Kind, ...] = get_args(Kind) if everything else (found.kind,)
    changed = [kind for kind in kinds if getattr(reader, kind)]
    for kind in changed:
        setattr(reader, kind, False)
    if not (reader.digest or reader.urgent):
        outbox.withdraw_from(db, firm_id=reader.firm_id, address=reader.address)
    if changed:
        trail.add(
            db,
            reader.firm_id,
            who=reader.address,
            what="stopped-mail",
            subject=", ".join(changed),
            now=now,
        )


def address_mark(address: str) -> str:
    """Give what stands for an address in a link."""
    return hashlib.sha256(address.encode()).hexdigest()[:12]
