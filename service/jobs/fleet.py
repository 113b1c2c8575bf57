"""Analysing the whole fleet at once, beside or instead of the workers, and saying how far it is."""

import threading
import time
from collections.abc import Callable
from datetime import datetime

from service.clock import Clock
from service.db.engine import Database
from service.ingest.queries import mark_everything
from service.jobs import queries
from service.jobs.crew import crew_of
from service.jobs.queries import Progress
from service.jobs.run import Worker, beat_on, look_of, release_dead
from service.settings import Settings

_SAID_EVERY_S = 5.0


def progress_of(settings: Settings, database: Database, *, now: datetime) -> Progress:
    """Give how far the analyses are."""
    with database.reading() as db:
        return queries.progress(db, look=look_of(settings, now=now))


def told(progress: Progress) -> str:
    """Say it in a line."""
    parts = [
        f"{progress.waiting} of {progress.sites} sites wait",
        f"{progress.at_work} at work",
        f"{progress.resting} failed and are tried again later",
        f"{progress.lately} reports in the last {queries.LATELY_MIN} minutes",
    ]
    if progress.minutes_left is not None and progress.waiting:
        parts.append(f"about {progress.minutes_left:.0f} min left")
    if progress.other_method:
        parts.append(f"{progress.other_method} reports by another method")
    if progress.paused_since is not None:
        parts.append(
            f"old reports wait since {progress.paused_since:%Y-%m-%d %H:%M} UTC "
            f"({progress.paused_by})"
        )
    return "; ".join(parts)


def run_fleet(
    settings: Settings,
    database: Database,
    clock: Clock,
    *,
    again: bool,
    say: Callable[[str], None],
) -> int:
    """Analyse every site that is due, and say how far it is; gives how many failed.

    Several such runs and the workers share the sites. A run that is stopped, or dies, leaves
    nothing half done: the next one goes on where it stopped.

    Parameters
    ----------
    again : whether every day of every site counts as due
    say : takes a line now and then

    Raises
    ------
    NoCrewError : a cluster is asked for and cannot be had
    """
    release_dead(database, now=clock.now())
    if again:
        with database.reading() as db:
            sites = queries.sites_with_rows(db)
        for site_id in sites:
            with database.session() as db:
                mark_everything(db, site_id=site_id, due_at=clock.now())
    worker = Worker(
        settings=settings,
        database=database,
        clock=clock,
        crew=crew_of(settings),
        kinds=("assess",),
    )
    stopping = threading.Event()
    beating = threading.Thread(target=beat_on, args=(worker, stopping), daemon=True)
    beating.start()
    said_s = time.monotonic()
    try:
        while worker.work_once():
            if time.monotonic() - said_s >= _SAID_EVERY_S:
                said_s = time.monotonic()
                say(told(progress_of(settings, database, now=clock.now())))
    finally:
        stopping.set()
        beating.join()
        worker.stop()
    end = progress_of(settings, database, now=clock.now())
    say(told(end))
    return end.resting
