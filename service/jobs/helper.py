"""What a helper does, in a process of this machine or on a cluster: it analyses a chunk of sites.

It opens the database itself and does what the worker would do, by the worker's moment and under
the worker's claims, so that the result is the same wherever it is made. How each site ended goes
back in words, not as an exception: whatever was raised, its chunk mates are told of.
"""

import os
import threading
import time
import traceback
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any, Literal

from service.assessments.actions import assess_site
from service.clock import FixedClock
from service.db.engine import Database
from service.jobs import claims
from service.jobs.failures import why
from service.operation.logs import log_to_stderr
from service.settings import Settings

_PARENT_LOOK_S = 1.0
# Whoever pauses, stops or hands new rows in waits for a chunk, so a chunk begins no site later.
_CHUNK_S = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """One site to analyse: under which claim, as of which moment, by which method."""

    site_id: int
    key: str
    holder: str
    now: datetime
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How the analysis of one site ended.

    Attributes
    ----------
    state : `done`; `failed`; `gone`, as its claim is not the worker's any more; `left` for the next
        chunk, as this one took long enough
    why, trace : what made it fail, for people and for the log
    """

    key: str
    state: Literal["done", "failed", "gone", "left"]
    why: str = ""
    trace: str = ""


class OtherMethodError(Exception):
    """A helper runs another version of the analysis than the worker."""


def analyse(chunk: Sequence[Analysis]) -> list[Ended]:
    """Analyse sites of one worker, one after the other; tells how each ended, in their order.

    A cluster that lost a helper gives its chunk to another one: what was done stays done.
    """
    began_s = time.monotonic()
    database = _database(_own_settings().url)
    with database.reading() as db:
        held = claims.held(db, holder=chunk[0].holder, keys=[work.key for work in chunk])
    ended: list[Ended] = []
    for work in chunk:
        if ended and time.monotonic() - began_s >= _CHUNK_S:
            ended.append(Ended(key=work.key, state="left"))
        elif work.key not in held:
            ended.append(Ended(key=work.key, state="gone"))
        else:
            ended.append(_analyse_one(database, work))
    return ended


def _analyse_one(database: Database, work: Analysis) -> Ended:
    from analysis.assess import METHOD

    try:
        if work.method != METHOD:
            raise OtherMethodError(f"this helper has method {METHOD}, asked for was {work.method}")
        assess_site(
            database,
            clock=FixedClock(work.now),
            site_id=work.site_id,
            holder=work.holder,
            key=work.key,
        )
    except claims.LostClaimError:
        return Ended(key=work.key, state="gone")
    except Exception as error:  # noqa: BLE001 - its chunk mates are told of, whatever it is
        return Ended(key=work.key, state="failed", why=why(error), trace=traceback.format_exc())
    return Ended(key=work.key, state="done")


_given: list[Settings] = []


def become_helper(settings: Settings, parent: int) -> None:
    """Set a process of this machine up; it does not outlive the worker that started it."""
    _given[:] = [settings]
    log_to_stderr(as_json=settings.log_format == "json")
    threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(_PARENT_LOOK_S)
    os._exit(1)


def _own_settings() -> Settings:
    nothing: dict[str, Any] = {}  # what a cluster's helper is set to stands in its environment
    return _given[0] if _given else Settings(**nothing)


@lru_cache(maxsize=1)
def _database(url: str) -> Database:
    return Database(url)
