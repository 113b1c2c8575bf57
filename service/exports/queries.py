"""All SQL that only exports need. Nothing here commits."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.db.models import Firm, Recipient


def firms(db: Session) -> list[Firm]:
    """Give all firms of this server."""
    return list(db.scalars(select(Firm).order_by(Firm.id)))


def readers(db: Session, *, firm_id: int) -> list[Recipient]:
    """Give a firm's readers of mail."""
    return list(db.scalars(select(Recipient).where(Recipient.firm_id == firm_id)))
