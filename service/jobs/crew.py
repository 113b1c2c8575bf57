"""Analyses beside the worker: in processes of this machine, or on a Dask cluster.

Both are executors of `concurrent.futures`. A helper opens the database itself and does what the
worker would do, by the worker's moment and under the worker's claim, so that the result is the
same wherever it is made. Helpers on a cluster are started with the same `SUNTALLY_` settings as
the service: the address of the database does not travel with the work.
"""

import logging
import multiprocessing
import os
import threading
import time
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future, ProcessPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

from service.assessments.actions import assess_site
from service.clock import FixedClock
from service.db.engine import Database
from service.operation.logs import log_to_stderr
from service.settings import Settings

LOG = logging.getLogger("suntally.worker")

_PARENT_LOOK_S = 1.0
_CONNECT_S = 20
# So often the cluster itself gives an analysis to another helper after one was lost.
_RETRIES = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """One site to analyse: under which claim, as of which moment, by which method."""

    site_id: int
    key: str
    holder: str
    now: datetime
    method: str


class OtherMethodError(Exception):
    """A helper runs another version of the analysis than the worker."""


class NoCrewError(Exception):
    """The helpers cannot be had; the text says why and what to do."""


class Crew:
    """Helpers that analyse; they start with the first analysis, and again after they broke."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self._executor: Executor | None = None
        self._client: Any = None
        self._width = settings.analysis_processes

    @property
    def room(self) -> int:
        """How many analyses are given out at once: two for each helper, so that none waits."""
        return 2 * self._width

    def start(self, work: Analysis) -> Future[None]:
        """Have a site analysed.

        Raises
        ------
        NoCrewError : the cluster does not answer, or its library is not installed
        """
        if self._executor is None:
            self._executor = self._on_cluster() if self.settings.dask_address else self._here()
        return self._executor.submit(analyse, work)

    def is_loss(self, error: BaseException) -> bool:
        """Tell whether an analysis failed because its helper was lost."""
        lost: tuple[type[BaseException], ...] = (BrokenExecutor, CancelledError)
        if self._client is not None:
            from distributed import CancelledError as Gone
            from distributed import KilledWorker

            lost = (*lost, Gone, KilledWorker)
        return isinstance(error, lost)

    def close(self) -> None:
        """Wait for what the helpers have in hand and let them go; `start` has new ones come."""
        executor, client = self._executor, self._client
        self._executor = self._client = None
        if executor is not None:
            executor.shutdown(wait=True)
        if client is not None:
            client.close()

    def _here(self) -> Executor:
        return ProcessPoolExecutor(
            max_workers=self._width,
            mp_context=multiprocessing.get_context("spawn"),
            initializer=_become_helper,
            initargs=(self.settings, os.getpid()),
        )

    def _on_cluster(self) -> Executor:
        try:
            from distributed import Client
        except ImportError:
            raise NoCrewError(
                "analysing on a Dask cluster needs its library: pip install 'suntally[cluster]'"
            ) from None
        try:
            self._client = Client(self.settings.dask_address, timeout=_CONNECT_S)
        except OSError as error:
            raise NoCrewError(
                f"no Dask cluster answers at {self.settings.dask_address} ({error})"
            ) from None
        self._width = max(sum(self._client.ncores().values()), 1)
        executor: Executor = self._client.get_executor(pure=False, retries=_RETRIES)
        return executor


def crew_of(settings: Settings) -> Crew | None:
    """Give the helpers that the settings ask for; None where the worker analyses by itself."""
    if settings.dask_address or settings.analysis_processes > 1:
        return Crew(settings)
    return None


def analyse(work: Analysis) -> None:
    """Analyse a site in a helper.

    Raises
    ------
    OtherMethodError : this helper would do it by another method
    """
    from analysis.assess import METHOD

    if work.method != METHOD:
        raise OtherMethodError(f"this helper has method {METHOD}, asked for was {work.method}")
    assess_site(
        _database(_own_settings().url),
        clock=FixedClock(work.now),
        site_id=work.site_id,
        holder=work.holder,
        key=work.key,
    )


_given: list[Settings] = []


def _become_helper(settings: Settings, parent: int) -> None:
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
