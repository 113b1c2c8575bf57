"""The audit trail: who did what, written in the transaction that does it.

Every request by a person or a firm's key that changes something leaves a line by itself (see
`service.context`); gateways' batches do not, they are the uploads' business.
"""

from datetime import datetime

from fastapi import Request
from sqlalchemy.orm import Session

from service.accounts.access import Caller
from service.db.engine import only_reads
from service.db.models import TrailEntry

_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
_LONGEST = 200


def note(db: Session, request: Request, caller: Caller, *, now: datetime) -> None:
    """Note what a request does, where it is one that changes something."""
    if caller.is_gateway or request.method in _SAFE or only_reads(db):
        return
    subject = ", ".join(request.path_params.values()) or None
    add(db, caller.firm_id, who=caller.who, what=deed(request), subject=subject, now=now)


def deed(request: Request) -> str:
    """Name what a request does, after the function that answers it: `sites.delete_site`."""
    endpoint = request.scope["endpoint"]
    area = endpoint.__module__.removeprefix("service.").removesuffix(".endpoints")
    return f"{area}.{endpoint.__name__}"


def add(
    db: Session,
    firm_id: int,
    *,
    who: str,
    what: str,
    subject: str | None,
    now: datetime,
    count: int = 1,
) -> None:
    """Write a line."""
    line = TrailEntry(
        firm_id=firm_id,
        at=now,
        who=who[:_LONGEST],
        what=what,
        subject=subject[:_LONGEST] if subject else None,
        count=count,
    )
    db.add(line)
