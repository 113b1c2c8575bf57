"""All SQL about how the service is. Nothing here commits."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from service.db.base import UtcDateTime
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


def latest_moment(db: Session) -> datetime | None:
    """Give the latest moment at which something was stored or a worker lived."""
    found = (db.scalar(select(func.max(Upload.received_at))), job_queries.last_beat(db))
    return max((one for one in found if one is not None), default=None)


def last_uploads(db: Session) -> dict[str, datetime | None]:
    """Give for each site, by name, when its last log came in; what a gateway pushed counts."""
    at = func.max(func.coalesce(Upload.settled_at, Upload.received_at), type_=UtcDateTime())
    found = (
        select(Site.name, at)
        .outerjoin(Upload, Upload.site_id == Site.id)
        .where(Site.deleted_at.is_(None))
        .group_by(Site.id, Site.name)
    )
    return {row[0]: row[1] for row in db.execute(found)}


def names_of(db: Session, hashes: Sequence[str]) -> list[str]:
    """Name raw files by site and file, weather and photos by their SHA-256 alone."""
    uploads = select(Upload.sha256, Site.name, Upload.name).join(Site, Site.id == Upload.site_id)
    known = {row[0]: f"{row[1]}: {row[2]}" for row in db.execute(uploads)}
    return [known.get(one, one) for one in hashes]
