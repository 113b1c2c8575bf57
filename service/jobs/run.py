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
from collections.abc import Callable, Sequence, Set
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Future,
    wait,
)
from datetime import datetime, timedelta
from functools import partial

from sqlalchemy.exc import SQLAlchemyError

from service.accounts import sign_ins
from service.assessments.actions import assess_site
from service.clock import Clock, Steadiness
from service.db.engine import Database
from service.ingest.actions import drop_bytes, expire_previews
from service.ingest.files import RawStore
from service.ingest.settling import settle_upload
from service.jobs import chunks, claims, queries
from service.jobs.crew import Crew, NoCrewError, crew_of
from service.jobs.failures import note_deaths, note_failure, why
from service.jobs.helper import Analysis, Ended
from service.jobs.lookout import Lookout
from service.jobs.queries import KINDS, Kind, Look, Task
from service.mail import outbox
from service.privacy import queries as privacy_queries
from service.retention.nightly import Nightly
from service.settings import Settings
from service.sites.actions import purge_sites
from service.weather.actions import fetch_weather, settle_file
from service.webhooks import queries as webhook_queries

LOG = logging.getLogger("suntally.worker")

_TIDY = timedelta(hours=1)
# How long mails and failed sign-ins stay for the record, and what is left of old claims.
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
        crew: Crew | None = None,
        kinds: Sequence[Kind] = KINDS,
    ) -> None:
        self.settings = settings
        self.database = database
        self.clock = clock
        self.holder = holder or holder_name()
        self.raw = RawStore(settings.data_dir)
        self.crew = crew
        self.kinds = kinds
        self._lookouts = {kind: Lookout(partial(self._waiting, kind)) for kind in KINDS}
        self._out: dict[Future[list[Ended]], list[Task]] = {}
        # Only what is in hand keeps its claim; one that was lost sight of falls free.
        self._in_hand: set[str] = set()
        # What was out when a pool of helpers broke: one of these broke it. Each goes out with
        # nothing beside it, or what ends every helper would take the same few along each time.
        self._suspects: set[str] = set()
        self._steady = steady
        self._tidied: datetime | None = None
        self._nightly = Nightly(settings=settings, database=database, raw=self.raw, clock=clock)

    def work_once(self) -> bool:
        """Do one task, and have the crew do analyses beside it; False where there is nothing."""
        if self.crew is None:
            return self._do_one(self.kinds)
        busy = self._tend(self.crew)
        did = self._do_one(tuple(kind for kind in self.kinds if kind != "assess"))
        if busy and not did:
            wait(self._out, timeout=self.settings.worker_pause_s, return_when=FIRST_COMPLETED)
        return busy or did

    def _do_one(self, kinds: Sequence[Kind]) -> bool:
        for kind in kinds:
            for task in self._take(kind, most=1):
                self._do(task)
                return True
        return False

    def _tend(self, crew: Crew) -> bool:
        """Take in what the crew has finished and give it more; tells whether it has any left."""
        while done := [one for one in self._out if one.done()]:
            for future in done:
                self._finished(self._out.pop(future), future, crew)
        free = crew.room - len(self._out)
        if free > 0 and "assess" in self.kinds and not self._is_out(self._suspects):
            waiting = self._chunks(free, helpers=crew.helpers)
            if not self._give_out(waiting, crew, most=free):
                return True
        return bool(self._out)

    def _is_out(self, keys: Set[str]) -> bool:
        return any(task.key in keys for chunk in self._out.values() for task in chunk)

    def _chunks(self, most: int, *, helpers: int) -> list[list[Task]]:
        """Claim sites for so many chunks; more come out where some were tried in vain: they go
        alone.
        """
        waiting = self._lookouts["assess"].waiting(chunks.most_to_count(helpers=helpers))
        given = chunks.sizes(waiting, chunks=most, helpers=helpers)
        if not given:
            return []
        return chunks.parted(self._take("assess", most=sum(given)), given)

    def _give_out(self, waiting: list[list[Task]], crew: Crew, *, most: int) -> bool:
        """Have the crew do the first of these chunks; False where helpers were lost before.

        A lost helper costs all that are out a try, so no more go out than were asked for.
        """
        look = self._look()
        waiting.sort(key=lambda chunk: chunk[0].key not in self._suspects)
        if waiting and waiting[0][0].key in self._suspects:
            most = 0 if self._out else 1
        try:
            for _ in range(min(most, len(waiting))):
                future = crew.start([self._analysis(task, look) for task in waiting[0]])
                self._out[future] = waiting.pop(0)
        except BrokenExecutor:
            crew.close()
            return False
        finally:
            self._give_back([task for chunk in waiting for task in chunk])
        return True

    def _analysis(self, task: Task, look: Look) -> Analysis:
        return Analysis(
            site_id=task.number,
            key=task.key,
            holder=self.holder,
            now=look.now,
            method=look.method,
        )

    def _give_back(self, tasks: Sequence[Task]) -> None:
        """Free what nobody has begun."""
        if not tasks:
            return
        self._in_hand.difference_update(task.key for task in tasks)
        keys = [task.key for task in tasks]
        with self.database.session() as db:
            claims.put_back(db, keys=keys, holder=self.holder, now=self.clock.now())

    def _finished(self, chunk: list[Task], future: Future[list[Ended]], crew: Crew) -> None:
        """Note how the analyses of a chunk ended; what cannot be noted falls free by its lease."""
        try:
            self._note_end(chunk, future, crew)
        finally:
            self._in_hand.difference_update(task.key for task in chunk)

    def _note_end(self, chunk: list[Task], future: Future[list[Ended]], crew: Crew) -> None:
        error = _error_of(future)
        if error is None:
            ended = list(zip(chunk, future.result(), strict=True))
            self._give_back([task for task, how in ended if how.state == "left"])
            for task, how in ended:
                self._ended(task, how)
        elif crew.is_loss(error):
            self._lost(chunk)
            if isinstance(error, BrokenExecutor):
                crew.close()  # a pool that lost one process takes no more work; the next is new
                self._suspects.update(task.key for task in chunk)
        else:
            for task in chunk:
                LOG.error("%s failed", task.key, exc_info=error)
                self._note_failure(task, why(error))

    def _ended(self, task: Task, how: Ended) -> None:
        self._suspects.discard(task.key)
        if how.state == "gone":
            LOG.warning("%s was done before its helper was lost, or taken over", task.key)
        elif how.state == "failed":
            LOG.error("%s failed\n%s", task.key, how.trace)
            self._note_failure(task, how.why)

    def _lost(self, chunk: Sequence[Task]) -> None:
        """Have what a lost helper had not done tried again; it costs a try."""
        LOG.warning("a helper was lost; tried again: %s", ", ".join(task.key for task in chunk))
        keys = [task.key for task in chunk]
        with self.database.session() as db:
            for key in claims.release_lost(db, keys=keys, holder=self.holder, now=self.clock.now()):
                note_deaths(db, key)

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
            keys = self._in_hand.copy()
            claims.renew(db, holder=self.holder, keys=keys, until=now + self._lease)

    def stop(self) -> None:
        """Let the crew finish what it has in hand, and leave no trace."""
        if self.crew is not None:
            self.crew.close()
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

    def keep_less(self) -> bool:
        """Roll up or remove a little of what is old; False where nothing of it is to be done.

        As with the purge, a clock that was set a moment ago calls nothing old.
        """
        now = self.clock.now()
        return self._steady(now) and self._nightly.piece(now)

    def _purge(self, now: datetime) -> None:
        with self.database.session() as db:
            gone = purge_sites(db, now=now, undo=timedelta(days=self.settings.undo_days))
            days = timedelta(days=self.settings.preview_days)
            gone += expire_previews(db, before=now - days)
            privacy_queries.drop_old_papers(db, today=now.date())
            outbox.purge(db, before=now - _KEPT)
            webhook_queries.purge(db, before=now - _KEPT)
            claims.forget_old(db, before=now - _KEPT)
            sign_ins.forget_old(db, before=now - _KEPT)
        drop_bytes(self.database, raw=self.raw, hashes=gone)

    @property
    def _lease(self) -> timedelta:
        return timedelta(seconds=self.settings.worker_lease_s)

    def _look(self) -> Look:
        return look_of(self.settings, now=self.clock.now())

    def _take(self, kind: Kind, *, most: int) -> list[Task]:
        """Claim tasks of a kind; nothing is locked where there is none."""
        lookout = self._lookouts[kind]
        for _look in range(2):  # what an earlier one saw may all have been done since
            if not lookout.waiting(most):
                break
            while numbers := lookout.next(most):
                if taken := self._claim(kind, numbers):
                    return taken
        return []

    def _waiting(self, kind: Kind, most: int) -> list[int]:
        """Look for tasks of a kind that are nobody's."""
        with self.database.reading() as db:
            return queries.waiting(db, kind=kind, look=self._look(), most=most)

    def _claim(self, kind: Kind, numbers: Sequence[int]) -> list[Task]:
        look = self._look()
        with self.database.session() as db:
            taken = queries.take(
                db,
                kind=kind,
                look=look,
                numbers=numbers,
                holder=self.holder,
                until=look.now + self._lease,
            )
        self._in_hand.update(task.key for task in taken)
        return taken

    def _do(self, task: Task) -> None:
        try:
            self._run(task)
        except claims.LostClaimError:
            LOG.warning("%s was taken over by another worker", task.key)
        except Exception as error:
            LOG.exception("%s failed", task.key)
            self._note_failure(task, why(error))
        finally:
            self._in_hand.discard(task.key)

    def _run(self, task: Task) -> None:
        database, clock, holder, key = self.database, self.clock, self.holder, task.key
        if task.kind == "assess":
            assess_site(database, clock=clock, site_id=task.number, holder=holder, key=key)
        elif task.kind == "upload":
            settle_upload(
                database,
                raw=self.raw,
                settings=self.settings,
                clock=clock,
                upload_id=task.number,
                holder=holder,
                key=key,
            )
        elif task.kind == "weather":
            settle_file(
                database, raw=self.raw, clock=clock, file_id=task.number, holder=holder, key=key
            )
        else:
            fetch_weather(
                database,
                raw=self.raw,
                settings=self.settings,
                clock=clock,
                site_id=task.number,
                holder=holder,
                key=key,
            )

    def _note_failure(self, task: Task, reason: str) -> None:
        with self.database.session() as db:
            note_failure(db, task, holder=self.holder, why=reason, now=self.clock.now())


def _error_of(future: Future[list[Ended]]) -> BaseException | None:
    try:
        return future.exception()
    except CancelledError as error:
        return error


def look_of(settings: Settings, *, now: datetime) -> Look:
    """Give what makes a site due at a moment."""
    from analysis.assess import METHOD

    refreshed = timedelta(hours=settings.refresh_hours)
    return Look(now=now, made_before=now - refreshed, method=METHOD)


def release_dead(database: Database, *, now: datetime) -> None:
    """Free what workers of this machine held that are certainly gone."""
    with database.reading() as db:
        dead = [worker for worker in queries.workers(db) if is_dead(worker)]
    for worker in dead:
        with database.session() as db:
            for key in claims.release_dead(db, holder=worker, now=now):
                note_deaths(db, key)
            queries.forget(db, worker=worker)


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
        settings=settings,
        database=database,
        clock=clock,
        steady=Steadiness(time.monotonic).seen,
        crew=crew_of(settings),
    )
    beating = threading.Thread(target=beat_on, args=(worker, stopping), daemon=True)
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
        return worker.work_once() or worker.keep_less()
    except (SQLAlchemyError, OSError, NoCrewError) as error:
        LOG.error("database, disk or cluster do not answer: %s", str(error).splitlines()[0])
        stopping.wait(_TROUBLE_PAUSE_S)
        return False


def beat_on(worker: Worker, stopping: threading.Event) -> None:
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
