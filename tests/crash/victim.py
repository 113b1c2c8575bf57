"""A child process that dies by SIGKILL at a named point of ingest or analysis."""

import os
import signal
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from service.db.engine import Database
from tests.build_service import BackEnd


def die(*_args: object, **_more: object) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def before(module: Any, name: str) -> None:
    setattr(module, name, die)


def after(module: Any, name: str) -> None:
    whole: Callable[..., Any] = getattr(module, name)

    def dying(*args: object, **more: object) -> None:
        whole(*args, **more)
        die()

    setattr(module, name, dying)


def arm(point: str) -> None:
    """Put the end where it is asked for."""
    from service.assessments import actions as assessing
    from service.assessments import queries as reports
    from service.ingest import actions, files, settling, storing
    from service.ingest import queries as rows
    from service.jobs import claims
    from service.jobs.run import Worker

    points: dict[str, tuple[Callable[[Any, str], None], Any, str]] = {
        "bytes on disk, not yet named": (before, files.os, "fsync"),
        "file named, folder not flushed": (before, files, "_flush_folder"),
        "file kept, not yet noted": (before, actions, "keep_upload"),
        "noted, not yet committed": (after, actions, "keep_upload"),
        "claimed": (before, Worker, "_do"),
        "claim ended, nothing stored": (after, claims, "finish"),
        "blocks written, not yet marked": (after, rows, "save_blocks"),
        "days marked, not yet committed": (after, storing, "_mark"),
        "stored, not yet committed": (after, settling, "_store"),
        "upload committed": (after, settling, "settle_upload"),
        "looked, not yet thought": (before, assessing, "_think"),
        "day rows written": (after, reports, "save_day_rows"),
        "marks cleared": (after, reports, "clear_marks"),
        "report saved, not yet committed": (after, assessing, "_save"),
    }
    how, module, name = points[point]
    if point == "upload committed":
        from service.jobs import run

        module = run
    how(module, name)


def killed_at(back: BackEnd, what: str, point: str, *, log: str = "") -> bool:
    """Do `keep` (hand a log in) or `work` (all tasks) in a child that dies at a point.

    Gives whether it died there. The child is forked, which saves the seconds of its imports;
    the parent's connections are closed first, and the child opens its own.
    """
    back.database.close()
    child = os.fork()
    if child == 0:
        try:
            _be_victim(back, what, point, log)
        finally:
            os._exit(3)
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL
        time.sleep(0.005)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    raise TimeoutError(point)


def _be_victim(back: BackEnd, what: str, point: str, log: str) -> None:
    own = replace(back, database=Database(back.settings.url))
    arm(point)
    if what == "keep":
        own.hand_in("mill-lane-4", log)
    else:
        own.worker().work_all()
