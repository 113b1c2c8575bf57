"""All SQL about workers: what there is to do, signs of life, who died. Nothing here commits."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Literal

from sqlalchemy import (
    ColumnElement,
    Select,
    SQLColumnExpression,
    String,
    bindparam,
    cast,
    delete,
    func,
    literal,
    select,
    true,
    update,
)
from sqlalchemy.orm import Session

from service.assessments.queries import due_sites
from service.db.engine import insert_into
from service.db.models import (
    AnalysisPause,
    Claim,
    DayBlock,
    Heartbeat,
    Site,
    SiteReport,
    Upload,
)
from service.db.moment import moment
from service.ingest.queries import waiting_uploads
from service.jobs import claims
from service.weather.queries import due_sources, waiting_files

Kind = Literal["upload", "weather", "assess", "fetch"]
# Logs before analyses, so that a site is analysed once.
KINDS: tuple[Kind, ...] = ("upload", "weather", "assess", "fetch")
_PAUSE_ID = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """Something to do, about an upload, a file or a site of this number.

    `again` is one that was taken up before and came to no end.
    """

    kind: Kind
    number: int
    site_id: int
    again: bool = False

    @property
    def key(self) -> str:
        """The key of its claim."""
        return f"{self.kind}:{self.number}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What makes a site due at a moment: a report made before another one, or by another method."""

    now: datetime
    made_before: datetime
    method: str

    def values(self) -> dict[str, object]:
        """Give what statements about it are run with."""
        given = moment(self.now)
        return {**given, "made_before": self.made_before, "method": self.method}


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far the analyses are.

    Attributes
    ----------
    sites : that are watched
    waiting : of these, how many are due and nobody's yet, old reports and new rows alike
    at_work, resting : how many are being analysed, and how many failed and are tried again later
    other_method : how many reports another method made
    lately : reports of the last ten minutes
    paused_since, paused_by : who has old reports wait, if somebody does
    """

    sites: int
    waiting: int
    at_work: int
    resting: int
    other_method: int
    lately: int
    paused_since: datetime | None
    paused_by: str | None

    @property
    def minutes_left(self) -> float | None:
        """How long the rest takes at the pace of the last ten minutes."""
        return self.waiting * LATELY_MIN / self.lately if self.lately else None


LATELY_MIN = 10


def waiting(db: Session, *, kind: Kind, look: Look, most: int) -> list[int]:
    """Give the numbers of tasks that are nobody's, the oldest first."""
    values = {**look.values(), "most": most}
    return list(db.connection().execute(_all_waiting(kind), values).scalars())


def take(
    db: Session, *, kind: Kind, look: Look, numbers: Sequence[int], holder: str, until: datetime
) -> list[Task]:
    """Claim those of these tasks that are due and nobody's; others have done some since the look.

    Their sites are locked until the transaction ends; a site that another has locked is passed
    over, so that several never wait for one another.
    """
    values = {**look.values(), "numbers": numbers}
    claimed = []
    for number, site_id in db.connection().execute(_some_waiting(kind), values).all():
        task = Task(kind=kind, number=number, site_id=site_id)
        tries = claims.claim(db, key=task.key, holder=holder, now=look.now, until=until)
        if tries:
            claimed.append(replace(task, again=tries > 1))
    # Whoever did one a moment ago was not seen to before its claim was free.
    still = set(db.connection().execute(_some_due(kind), values).scalars()) if claimed else set()
    for task in claimed:
        if task.number not in still:
            claims.release(db, key=task.key, holder=holder)
    return [task for task in claimed if task.number in still]


# Every worker asks these all the time: each is put into words once.
@lru_cache
def _all_waiting(kind: Kind) -> Select[int, int]:
    found = _due(kind, each=False)
    return found.where(_unclaimed(kind, found)).limit(bindparam("most"))


@lru_cache
def _some_due(kind: Kind) -> Select[int, int]:
    found = _due(kind, each=True)
    return found.where(found.selected_columns[0].in_(bindparam("numbers", expanding=True)))


@lru_cache
def _some_waiting(kind: Kind) -> Select[int, int]:
    found = _some_due(kind)
    return found.where(_unclaimed(kind, found)).with_for_update(of=Site, skip_locked=True)


def _unclaimed(kind: Kind, found: Select[int, int]) -> ColumnElement[bool]:
    return claims.unclaimed(_key(kind, found.selected_columns[0]))


def _due(kind: Kind, *, each: bool) -> Select[int, int]:
    """Select what is to be done of a kind; where `each` says so, for a few of them."""
    if kind == "assess":
        return _due_analyses(each=each)
    return {"upload": waiting_uploads, "weather": waiting_files, "fetch": due_sources}[kind]()


def _due_analyses(*, paused: bool = True, each: bool = False) -> Select[int, int]:
    """Select sites to analyse; a pause has old reports wait unless it is looked beyond."""
    # A log that rests does not keep its site's other logs from being analysed.
    unread = (
        select(Upload.id)
        .where(
            Upload.site_id == Site.id,
            Upload.state == "kept",
            ~claims.rests(_key("upload", Upload.id)),
        )
        .correlate(Site)
        .exists()
    )
    stale = ~select(AnalysisPause.id).exists() if paused else true()
    return due_sites(stale=stale, each=each).where(~unread)


def _key(kind: Kind, number: SQLColumnExpression[int]) -> ColumnElement[str]:
    return literal(f"{kind}:") + cast(number, String)


def sites_with_rows(db: Session) -> list[int]:
    """Give the sites that have rows, by number."""
    found = select(Site.id).where(
        Site.deleted_at.is_(None),
        select(DayBlock.site_id).where(DayBlock.site_id == Site.id).exists(),
    )
    return list(db.scalars(found.order_by(Site.id)))


def pause_of(db: Session) -> AnalysisPause | None:
    """Give who has the analyses of old reports wait."""
    return db.get(AnalysisPause, _PAUSE_ID)


def pause(db: Session, *, who: str, now: datetime) -> None:
    """Have the analyses of old reports wait; what is new is analysed all the same."""
    statement = insert_into(db, AnalysisPause).values(id=_PAUSE_ID, since=now, who=who[:200])
    db.execute(statement.on_conflict_do_nothing())


def resume(db: Session) -> None:
    """Have the analyses of old reports go on."""
    db.execute(delete(AnalysisPause))


def progress(db: Session, *, look: Look) -> Progress:
    """Count how far the analyses are."""
    found = _due_analyses(paused=False)
    unclaimed = claims.unclaimed(_key("assess", Site.id))
    due = select(func.count()).select_from(found.where(unclaimed).order_by(None).subquery())
    lately = SiteReport.made_at > look.now - timedelta(minutes=LATELY_MIN)
    at_work, resting = claims.count_of(db, prefix="assess:", now=look.now)
    paused = pause_of(db)
    reports = select(func.count()).select_from(SiteReport)
    own = select(func.count()).select_from(Site).where(Site.deleted_at.is_(None))
    return Progress(
        sites=db.scalar(own) or 0,
        waiting=db.scalar(due, look.values()) or 0,
        at_work=at_work,
        resting=resting,
        other_method=db.scalar(reports.where(SiteReport.method != look.method)) or 0,
        lately=db.scalar(reports.where(lately, SiteReport.made_at <= look.now)) or 0,
        paused_since=paused.since if paused else None,
        paused_by=paused.who if paused else None,
    )


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
