"""All SQL about how the service is. Nothing here commits."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from service.db.models import DayMark, Outbox, Site, Upload
from service.jobs import queries as job_queries


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """How much there is, and what waits.

    Attributes
    ----------
    uploads, mails : how many of each state
    oldest_waiting : when the oldest unread log came in
    """

    sites: int
    uploads: dict[str, int]
    mails: dict[str, int]
    days_waiting: int
    oldest_waiting: datetime | None
    last_beat: datetime | None


def state_of(db: Session) -> State:
    """Count everything."""
    uploads = db.execute(select(Upload.state, func.count()).group_by(Upload.state))
    mails = db.execute(select(Outbox.state, func.count()).group_by(Outbox.state))
    waiting = select(func.min(Upload.received_at)).where(Upload.state == "kept")
    return State(
        sites=db.scalar(select(func.count()).where(Site.deleted_at.is_(None))) or 0,
        uploads={row[0]: row[1] for row in uploads},
        mails={row[0]: row[1] for row in mails},
        days_waiting=db.scalar(select(func.count()).select_from(DayMark)) or 0,
        oldest_waiting=db.scalar(waiting),
        last_beat=job_queries.last_beat(db),
    )
