"""Helpers beside the worker: processes of this machine, or a Dask cluster.

Both are executors of `concurrent.futures`. Helpers on a cluster are started with the same
`SUNTALLY_` settings as the service: the address of the database does not travel with the work.
"""

import multiprocessing
import os
from collections.abc import Sequence
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future, ProcessPoolExecutor
from typing import Any

from service.jobs.helper import Analysis, Ended, analyse, become_helper
from service.settings import Settings

_CONNECT_S = 20


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
    def helpers(self) -> int:
        """How many there are, as far as that is known before they have started."""
        return self._width

    @property
    def room(self) -> int:
        """How many chunks are given out at once: two for each helper, so that none waits."""
        return 2 * self._width

    def start(self, chunk: Sequence[Analysis]) -> Future[list[Ended]]:
        """Have sites of one worker analysed, one after the other.

        Raises
        ------
        NoCrewError : the cluster does not answer, or its library is not installed
        """
        if self._executor is None:
            self._executor = self._on_cluster() if self.settings.dask_address else self._here()
        return self._executor.submit(analyse, chunk)

    def is_loss(self, error: BaseException) -> bool:
        """Tell whether a chunk came to no end because its helper was lost."""
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
            initializer=become_helper,
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
        executor: Executor = self._client.get_executor(pure=False)
        return executor


def crew_of(settings: Settings) -> Crew | None:
    """Give the helpers that the settings ask for; None where the worker analyses by itself."""
    if settings.dask_address or settings.analysis_processes > 1:
        return Crew(settings)
    return None
