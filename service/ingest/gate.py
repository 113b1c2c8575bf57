"""How many gateway batches are taken at the same time, and how those inside come onto the disk.

The morning after an outage all gateways come at once. What is let in is written soon; the rest is
turned away before its body is read, so that memory stays bounded and pages still find a thread.
Each is told another moment, lest they come back together.

Whoever's turn it is writes for all that wait: the disk is waited for once instead of for each, and
what they share is asked once. On SQLite one writes at a time.
"""

import asyncio
import logging
import random
from collections import OrderedDict, deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Generic, TypeVar

from anyio import CancelScope, to_thread
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from service.db.engine import Database
from service.errors import ServiceError, TooManyError
from service.ingest.schemas import Pushed

LOG = logging.getLogger("suntally.web")

Batch = TypeVar("Batch")

_SOONEST_S, _LATEST_S = 5, 30
# Of the bodies that are held at the same time.
_MOST_BYTES = 64 * 1024 * 1024
# Batches that are written together, and writers at the same time.
_TOGETHER = 16
_WRITERS_SQLITE, _WRITERS_POSTGRES = 1, 2
# Keys that are remembered, a hundred bytes each.
_MOST_KEYS = 20_000


class Gate(Generic[Batch]):
    """Counts who is inside and has it written; one for each application.

    Parameters
    ----------
    database : where to
    most : how many may be inside
    write : stores batches within a transaction; for each what became of it, or why it was refused
        and left nothing
    """

    def __init__(
        self,
        database: Database,
        *,
        most: int,
        write: Callable[[Session, Sequence[Batch]], Sequence[Pushed | ServiceError]],
    ) -> None:
        self._database = database
        self._most = most
        self._write_batches = write
        self._inside = 0
        self._bytes = 0
        writers = _WRITERS_SQLITE if database.is_sqlite else _WRITERS_POSTGRES
        self._turn = asyncio.Semaphore(writers)
        self._waiting: deque[tuple[Batch, asyncio.Future[Pushed]]] = deque()

    @contextmanager
    def entered(self, size_bytes: int) -> Iterator[None]:
        """Let a batch in that says to be of this size.

        Raises
        ------
        TooManyError : as many as may are inside
        """
        full = self._inside >= self._most
        if full or (self._inside and self._bytes + size_bytes > _MOST_BYTES):
            raise TooManyError(
                "More batches come in than can be stored at the moment; nothing of this one was. "
                "Send it again after the seconds in Retry-After.",
                retry_after_s=random.randint(_SOONEST_S, _LATEST_S),  # noqa: S311
            )
        self._inside += 1
        self._bytes += size_bytes
        try:
            yield
        finally:
            self._inside -= 1
            self._bytes -= size_bytes

    async def store(self, batch: Batch) -> Pushed:
        """Have a batch stored; gives what became of it once that is on disk.

        Raises
        ------
        ServiceError, SQLAlchemyError, OSError : why nothing of it was
        """
        answer: asyncio.Future[Pushed] = asyncio.get_running_loop().create_future()
        self._waiting.append((batch, answer))
        async with self._turn:
            # Who has the turn may write for others, and others may have written for them.
            some = [self._waiting.popleft() for _ in range(min(_TOGETHER, len(self._waiting)))]
            if some:
                with CancelScope(shield=True):
                    await self._write(some)
        return await answer

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
        return [self._alone(batch) for batch in batches]

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
