"""Claims: a piece of work has a key, and one worker at a time has the key.

A claim is held for a lease. Work that must happen once for good (a week's digest) ends with
`done`, in the transaction that holds its effect; work that comes back (a site to analyse) ends
with `finish`. Whoever lost the claim in the meantime gets `LostClaimError`, and with it the
transaction rolls back. A dead worker's claims fall free when their lease ends, or at once when
somebody who knows of its death calls `release_all`.
"""

from datetime import datetime
from typing import Any, cast

from sqlalchemy import CursorResult, delete, or_, update
from sqlalchemy.orm import Session

from service.db.engine import insert_into
from service.db.models import Claim

HELD = "held"
DONE = "done"


class LostClaimError(Exception):
    """The lease ended and somebody else took the work over."""


def claim(db: Session, *, key: str, holder: str, now: datetime, until: datetime) -> bool:
    """Take a key; False where somebody holds it or the work is done for good."""
    values = {"state": HELD, "holder": holder, "lease_until": until, "claimed_at": now}
    statement = insert_into(db, Claim).values(key=key, **values)
    statement = statement.on_conflict_do_update(
        index_elements=[Claim.key],
        set_=values,
        where=(Claim.state == HELD) & or_(Claim.lease_until <= now, Claim.holder == holder),
    )
    # What an INSERT counts differs between drivers; what it returns does not.
    return db.scalar(statement.returning(Claim.key)) is not None


def renew(db: Session, *, holder: str, until: datetime) -> None:
    """Lengthen the lease of everything a worker holds."""
    db.execute(
        update(Claim).where(Claim.holder == holder, Claim.state == HELD).values(lease_until=until)
    )


def done(db: Session, *, key: str, holder: str) -> None:
    """Say that the work of a held key is done for good."""
    changed = db.execute(
        update(Claim)
        .where(Claim.key == key, Claim.holder == holder, Claim.state == HELD)
        .values(state=DONE)
    )
    if _count(changed) != 1:
        raise LostClaimError(key)


def finish(db: Session, *, key: str, holder: str) -> None:
    """Give a held key back after its work."""
    gone = db.execute(
        delete(Claim).where(Claim.key == key, Claim.holder == holder, Claim.state == HELD)
    )
    if _count(gone) != 1:
        raise LostClaimError(key)


def release(db: Session, *, key: str, holder: str) -> None:
    """Give a key back without having done its work; nothing happens where it is lost already."""
    db.execute(delete(Claim).where(Claim.key == key, Claim.holder == holder, Claim.state == HELD))


def release_all(db: Session, *, holder: str) -> None:
    """Free everything that a worker held; only for one that is known to be dead."""
    db.execute(delete(Claim).where(Claim.holder == holder, Claim.state == HELD))


def _count(result: Any) -> int:
    return cast(CursorResult[Any], result).rowcount
