"""How gateways' batches come onto the disk; how many are let in at all: `places`.

All that wait are written together: the disk is waited for once instead of for each, and what they
share is asked once. On SQLite one writes at a time.
"""

import asyncio
import logging
from collections import OrderedDict, deque
from collections.abc import Callable, Sequence
from typing import Generic, TypeVar

from anyio import to_thread
from sqlalchemy.exc import OperationalError, SQLAlchemyError
from sqlalchemy.orm import Session

from service.db.engine import Database
from service.errors import ServiceError
from service.ingest.schemas import Pushed

LOG = logging.getLogger("suntally.web")

Batch = TypeVar("Batch")

# Batches that are written together, and writers at the same time.
_TOGETHER = 16
_WRITERS_SQLITE, _WRITERS_POSTGRES = 1, 2
# Keys that are remembered, a hundred bytes each.
_MOST_KEYS = 20_000


class Gate(Generic[Batch]):
    """Has what waits written; one for each application.

    Parameters
    ----------
    database : where to
    write : stores batches within a transaction; for each what became of it, or why it was refused
        and left nothing
    """

    def __init__(
        self,
        database: Database,
        *,
        write: Callable[[Session, Sequence[Batch]], Sequence[Pushed | ServiceError]],
    ) -> None:
        self._database = database
        self._write_batches = write
        self._writers = _WRITERS_SQLITE if database.is_sqlite else _WRITERS_POSTGRES
        self._writing = 0
        self._tasks: set[asyncio.Task[None]] = set()  # a task that nobody holds may be collected
        self._waiting: deque[tuple[Batch, asyncio.Future[Pushed]]] = deque()

    async def store(self, batch: Batch) -> Pushed:
        """Have a batch stored; gives what became of it once that is on disk.

        Raises
        ------
        ServiceError, SQLAlchemyError, OSError : why nothing of it was
        """
        answer: asyncio.Future[Pushed] = asyncio.get_running_loop().create_future()
        self._waiting.append((batch, answer))
        if self._writing < self._writers:
            self._writing += 1
            # A task of its own: whoever sent a batch is answered as soon as that is written, and
            # what others wait for goes on when a sender leaves.
            task = asyncio.create_task(self._write_all())
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)
        return await answer

    async def _write_all(self) -> None:
        """Write what waits, as much at once as came meanwhile."""
        try:
            while self._waiting:
                count = min(_TOGETHER, len(self._waiting))
                await self._write([self._waiting.popleft() for _ in range(count)])
        finally:
            # At once, not when the task is cleared away: who comes in between must find it free.
            self._writing -= 1

    async def _write(self, some: Sequence[tuple[Batch, asyncio.Future[Pushed]]]) -> None:
        outcomes: Sequence[Pushed | Exception]
        try:
            outcomes = await to_thread.run_sync(self._written, [batch for batch, _ in some])
        except Exception as error:
            LOG.exception("batches could not be stored")
            outcomes = [error] * len(some)
        for (_, answer), outcome in zip(some, outcomes, strict=True):
            if answer.done():
                continue  # its sender has gone
            if isinstance(outcome, Exception):
                answer.set_exception(outcome)
            else:
                answer.set_result(outcome)

    def _written(self, batches: Sequence[Batch]) -> Sequence[Pushed | Exception]:
        if len(batches) > 1:
            try:
                with self._database.session() as db:
                    return self._write_batches(db, batches)
            except Exception:
                LOG.exception(
                    "%d batches were not taken together; each is tried alone", len(batches)
                )
        told: list[Pushed | Exception] = []
        for batch in batches:
            last = told[-1] if told else None
            # A database that is locked or away is waited for once, not for each in turn: that
            # takes half a minute, and all that came behind these would wait for all of them.
            told.append(last if isinstance(last, OperationalError) else self._alone(batch))
        return told

    def _alone(self, batch: Batch) -> Pushed | Exception:
        try:
            with self._database.session() as db:
                return self._write_batches(db, [batch])[0]
        except (ServiceError, SQLAlchemyError, OSError) as error:
            return error  # said in plain words by the application
        except Exception as error:
            LOG.exception("a batch met an error of our own")
            return error


class KnownKeys:
    """Which keys opened which site a moment ago: whose body may be read without asking again.

    No leave to store anything; that is asked with each batch. So a key that was withdrawn, here or
    by another process, has at most one more body read, and thrown away.
    """

    def __init__(self) -> None:
        self._held: OrderedDict[tuple[str, str], None] = OrderedDict()

    def __contains__(self, key: tuple[str, str]) -> bool:
        return key in self._held

    def add(self, slug: str, key_hash: str) -> None:
        """Remember that a key, by its hash, opened a site."""
        self._held[slug, key_hash] = None
        if len(self._held) > _MOST_KEYS:
            self._held.popitem(last=False)

    def forget(self, slug: str, key_hash: str) -> None:
        """Ask for this key again."""
        self._held.pop((slug, key_hash), None)
