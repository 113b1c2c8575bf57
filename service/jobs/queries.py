"""All SQL about workers: signs of life, and who died. Nothing here commits."""

from datetime import datetime

from sqlalchemy import delete, func, select, update
from sqlalchemy.orm import Session

from service.db.engine import insert_into
from service.db.models import Claim, Heartbeat, Site


def beat(db: Session, *, worker: str, now: datetime) -> None:
    """Note a sign of life."""
    statement = insert_into(db, Heartbeat).values(worker=worker, beat_at=now)
    db.execute(
        statement.on_conflict_do_update(index_elements=[Heartbeat.worker], set_={"beat_at": now})
    )


def forget(db: Session, *, worker: str) -> None:
    """Forget a worker that has stopped."""
    db.execute(delete(Heartbeat).where(Heartbeat.worker == worker))


def workers(db: Session) -> list[str]:
    """Give all workers that are noted or hold a claim."""
    noted = set(db.scalars(select(Heartbeat.worker)))
    return sorted(noted | set(db.scalars(select(Claim.holder).where(Claim.state == "held"))))


def last_beat(db: Session) -> datetime | None:
    """Give the latest sign of life of any worker."""
    return db.scalar(select(func.max(Heartbeat.beat_at)))


def set_problem(db: Session, *, site_id: int, problem: str) -> None:
    """Say why a site could not be assessed."""
    db.execute(update(Site).where(Site.id == site_id).values(problem=problem))
