"""The worker: reads uploads, analyses sites, runs the timetable; a process of its own.

Every task is claimed first, and its effect and the end of the claim are one commit. A worker that
dies loses nothing: what it held falls free when its lease ends, or at once when the server that
started it sees it die.
"""

import logging
import os
import secrets
import signal
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy.exc import OperationalError, SQLAlchemyError
from sqlalchemy.orm import Session

from service.assessments import queries as assessment_queries
from service.assessments.actions import assess_site
from service.clock import Clock, Steadiness
from service.db.engine import Database
from service.db.models import Upload
from service.errors import NO_ROOM
from service.ingest import queries as ingest_queries
from service.ingest.actions import drop_bytes, expire_previews
from service.ingest.files import RawStore
from service.ingest.settling import settle_upload
from service.jobs import claims, queries
from service.mail import outbox
from service.privacy import queries as privacy_queries
from service.settings import Settings
from service.sites.actions import purge_sites
from service.weather import queries as weather_queries
from service.weather.actions import fetch_weather, settle_file
from service.webhooks import queries as webhook_queries

LOG = logging.getLogger("suntally.worker")

_TIDY = timedelta(hours=1)
# How long mails stay for the record, and what is left of old claims.
_KEPT = timedelta(days=90)
# A database that is away, or a full disk, is looked at again after this long.
_TROUBLE_PAUSE_S = 5.0


def holder_name() -> str:
    """Give a name that no other worker has; machine and process let others see whether it lives."""
    return f"{socket.gethostname()}:{os.getpid()}:{secrets.token_hex(4)}"


def is_dead(holder: str) -> bool:
    """Tell whether a worker of this machine is certainly gone."""
    parts = holder.rsplit(":", 2)
    if len(parts) != 3 or parts[0] != socket.gethostname() or not parts[1].isdigit():
        return False
    try:
        os.kill(int(parts[1]), 0)
    except ProcessLookupError:
        return True
    except PermissionError:
        return False
    return False


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    """Something to do: its claim's key, and how."""

    key: str
    site_id: int
    run: Callable[[], None]


class Worker:
    """Does the tasks that the database holds."""

    def __init__(
        self,
        *,
        settings: Settings,
        database: Database,
        clock: Clock,
        holder: str | None = None,
        steady: Callable[[datetime], bool] = lambda _now: True,
    ) -> None:
        self.settings = settings
        self.database = database
        self.clock = clock
        self.holder = holder or holder_name()
        self.raw = RawStore(settings.data_dir)
        self._steady = steady
        self._tidied: datetime | None = None

    def work_once(self) -> bool:
        """Do one task; False where there is none."""
        for task in self._tasks():
            if not self._take(task.key):
                continue
            # Another worker may have done it between the look and the claim.
            if any(task.key == still.key for still in self._tasks()):
                self._do(task)
                return True
            with self.database.session() as db:
                claims.release(db, key=task.key, holder=self.holder)
        return False

    def work_all(self) -> int:
        """Do tasks until there are none; gives how many were done."""
        count = 0
        while self.work_once():
            count += 1
        return count

    def beat(self) -> None:
        """Show a sign of life and keep what is held."""
        now = self.clock.now()
        with self.database.session() as db:
            queries.beat(db, worker=self.holder, now=now)
            claims.renew(db, holder=self.holder, until=now + self._lease)

    def stop(self) -> None:
        """Leave no trace."""
        with self.database.session() as db:
            claims.release_all(db, holder=self.holder)
            queries.forget(db, worker=self.holder)

    def tidy(self) -> None:
        """Free what dead workers held, purge what is long over; now and then.

        Nothing is purged by a clock that was set a moment ago: what it calls long over may be new.
        """
        now = self.clock.now()
        steady = self._steady(now)
        if self._tidied is not None and abs(now - self._tidied) < _TIDY:
            return
        self._tidied = now
        release_dead(self.database, now=now)
        if steady:
            self._purge(now)
        self.database.empty_log()
        self.raw.sweep()

    def _purge(self, now: datetime) -> None:
        with self.database.session() as db:
            gone = purge_sites(db, now=now, undo=timedelta(days=self.settings.undo_days))
            days = timedelta(days=self.settings.preview_days)
            gone += expire_previews(db, before=now - days)
            privacy_queries.drop_old_papers(db, today=now.date())
            outbox.purge(db, before=now - _KEPT)
            webhook_queries.purge(db, before=now - _KEPT)
            claims.forget_old(db, before=now - _KEPT)
        drop_bytes(self.database, raw=self.raw, hashes=gone)

    @property
    def _lease(self) -> timedelta:
        return timedelta(seconds=self.settings.worker_lease_s)

    def _tasks(self) -> list[_Task]:
        """Give what there is to do: uploads before analyses, so that a site is analysed once."""
        from analysis.assess import METHOD

        now = self.clock.now()
        with self.database.reading() as db:
            held = claims.held_by_others(db, holder=self.holder, now=now)
            resting = claims.resting(db, now=now)
            uploads = ingest_queries.waiting_uploads(db)
            files = weather_queries.waiting_files(db)
            sources = weather_queries.due_sources(db, now=now)
            sites = assessment_queries.due_sites(
                db,
                now=now,
                made_before=now - timedelta(hours=self.settings.refresh_hours),
                method=METHOD,
            )
        reads = [self._reading(upload_id, site_id) for upload_id, site_id in uploads]
        # A log that rests does not keep its site's other logs from being analysed.
        reading = {task.site_id for task in reads if task.key not in resting}
        analyses = [self._analysis(site_id) for site_id in sites if site_id not in reading]
        weather = [self._weather_file(file_id, site_id) for file_id, site_id in files]
        fetches = [self._weather_fetch(site_id) for site_id in sources]
        every = (*reads, *weather, *analyses, *fetches)
        return [task for task in every if task.key not in held | resting]

    def _reading(self, upload_id: int, site_id: int) -> _Task:
        key = f"upload:{upload_id}"

        def run() -> None:
            settle_upload(
                self.database,
                raw=self.raw,
                settings=self.settings,
                clock=self.clock,
                upload_id=upload_id,
                holder=self.holder,
                key=key,
            )

        return _Task(key=key, site_id=site_id, run=run)

    def _analysis(self, site_id: int) -> _Task:
        key = f"assess:{site_id}"

        def run() -> None:
            assess_site(
                self.database, clock=self.clock, site_id=site_id, holder=self.holder, key=key
            )

        return _Task(key=key, site_id=site_id, run=run)

    def _weather_file(self, file_id: int, site_id: int) -> _Task:
        key = f"weather:{file_id}"

        def run() -> None:
            settle_file(
                self.database,
                raw=self.raw,
                clock=self.clock,
                file_id=file_id,
                holder=self.holder,
                key=key,
            )

        return _Task(key=key, site_id=site_id, run=run)

    def _weather_fetch(self, site_id: int) -> _Task:
        key = f"fetch:{site_id}"

        def run() -> None:
            fetch_weather(
                self.database,
                raw=self.raw,
                settings=self.settings,
                clock=self.clock,
                site_id=site_id,
                holder=self.holder,
                key=key,
            )

        return _Task(key=key, site_id=site_id, run=run)

    def _take(self, key: str) -> bool:
        now = self.clock.now()
        with self.database.session() as db:
            return claims.claim(db, key=key, holder=self.holder, now=now, until=now + self._lease)

    def _do(self, task: _Task) -> None:
        try:
            task.run()
        except claims.LostClaimError:
            LOG.warning("%s was taken over by another worker", task.key)
        except Exception as error:
            LOG.exception("%s failed", task.key)
            self._note_failure(task, error)

    def _note_failure(self, task: _Task, error: Exception) -> None:
        with self.database.session() as db:
            queries.set_problem(
                db,
                site_id=task.site_id,
                problem=f"It could not be assessed ({_why(error)}); it is tried again by itself, "
                "and the server's log says more.",
            )
            claims.rest(db, key=task.key, holder=self.holder, now=self.clock.now())


def _why(error: Exception) -> str:
    """Say what kept a task from its end, for people."""
    if isinstance(error, OperationalError):
        return "the database did not take it"
    if isinstance(error, OSError) and error.errno in NO_ROOM:
        return "the disk is full"
    return f"{type(error).__name__}: {error}"


def release_dead(database: Database, *, now: datetime) -> None:
    """Free what workers of this machine held that are certainly gone."""
    with database.reading() as db:
        dead = [worker for worker in queries.workers(db) if is_dead(worker)]
    for worker in dead:
        with database.session() as db:
            for key in claims.release_dead(db, holder=worker, now=now):
                _note_deaths(db, key)
            queries.forget(db, worker=worker)


def _note_deaths(db: Session, key: str) -> None:
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


def run_worker(
    *, settings: Settings, database: Database, clock: Clock, parent: int | None = None
) -> None:
    """Work until SIGTERM or SIGINT, or until the parent process is gone.

    The task at hand is finished first.
    """
    from service.jobs.schedule import build_scheduler

    stopping = threading.Event()
    for name in (signal.SIGTERM, signal.SIGINT):
        signal.signal(name, lambda *_: stopping.set())
    worker = Worker(
        settings=settings, database=database, clock=clock, steady=Steadiness(time.monotonic).seen
    )
    beating = threading.Thread(target=_beat_on, args=(worker, stopping), daemon=True)
    beating.start()
    scheduler = build_scheduler(settings, database, clock)
    scheduler.start()
    try:
        while not stopping.is_set() and parent in (None, os.getppid()):
            if not _worked(worker, stopping):
                stopping.wait(settings.worker_pause_s)
    finally:
        stopping.set()
        scheduler.shutdown(wait=False)
        beating.join(timeout=5)
        try:
            worker.stop()
        except SQLAlchemyError as error:
            LOG.warning("the database is away (%s); what was held falls free by its lease", error)


def _worked(worker: Worker, stopping: threading.Event) -> bool:
    """Do one task; a database that is away, or a disk that is full, is waited for."""
    try:
        worker.tidy()
        return worker.work_once()
    except (SQLAlchemyError, OSError) as error:
        LOG.error("the database or the disk does not answer: %s", str(error).splitlines()[0])
        stopping.wait(_TROUBLE_PAUSE_S)
        return False


def _beat_on(worker: Worker, stopping: threading.Event) -> None:
    """Show signs of life three times in a lease; a database that is away is asked again."""
    while True:
        try:
            worker.beat()
        except SQLAlchemyError as error:
            LOG.error("no sign of life could be shown: %s", str(error).splitlines()[0])
        except Exception:
            # Whatever it is, the next one is tried: without signs of life the lease is lost.
            LOG.exception("no sign of life could be shown")
        if stopping.wait(worker.settings.worker_lease_s / 3):
            return
