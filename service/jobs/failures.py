"""What is said at a site, and how long its work rests, when work failed or ended its worker."""

from datetime import datetime

from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session

from service.db.models import Upload
from service.errors import NO_ROOM
from service.jobs import claims, queries
from service.jobs.queries import Task


def why(error: BaseException) -> str:
    """Say what kept a task from its end, for people."""
    if isinstance(error, OperationalError):
        return "the database did not take it"
    if isinstance(error, OSError) and error.errno in NO_ROOM:
        return "the disk is full"
    return f"{type(error).__name__}: {error}"


def note_failure(db: Session, task: Task, *, holder: str, why: str, now: datetime) -> None:
    """Say at the site that a task failed, and have it rest; not where it was done or taken over."""
    if not claims.held(db, holder=holder, keys=[task.key]):
        return
    queries.set_problem(
        db,
        site_id=task.site_id,
        problem=f"It could not be assessed ({why}); it is tried again by itself, and the server's "
        "log says more.",
    )
    claims.rest(db, key=task.key, holder=holder, now=now)


def note_deaths(db: Session, key: str) -> None:
    """Say at the site that something about it ended its worker several times."""
    what, _, number = key.partition(":")
    if what == "upload":
        upload = db.get(Upload, int(number))
        if upload is not None:
            _set_death(db, upload.site_id, f"reading {upload.name}")
    elif what == "assess":
        _set_death(db, int(number), "looking at its days")


def _set_death(db: Session, site_id: int, what: str) -> None:
    queries.set_problem(
        db,
        site_id=site_id,
        problem=f"The worker ended several times while {what}, perhaps for want of memory; it is "
        "tried again by itself. Should it stay so, hand the log in split by year.",
    )
