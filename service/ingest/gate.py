"""How many gateway batches are taken at the same time, and how those inside come onto the disk.

The morning after an outage all gateways come at once. What is let in is written soon; the rest is
turned away before its body is read, so that memory stays bounded and pages still find a thread.
Each is told another moment, lest they come back together.

On SQLite, which has one writer, whoever's turn it is writes for all that wait, each in a savepoint
of its own: the disk is waited for once instead of for each. PostgreSQL does that by itself.
"""

import asyncio
import logging
import random
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from anyio import CancelScope, to_thread
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from service.db.engine import Database
from service.errors import ServiceError, TooManyError
from service.ingest.schemas import Pushed

LOG = logging.getLogger("suntally.web")

Job = Callable[[Session], Pushed]

_SOONEST_S, _LATEST_S = 5, 30
# Of the bodies that are held at the same time.
_MOST_BYTES = 64 * 1024 * 1024
# Writers at the same time, and how many batches one of them writes together.
_SQLITE = (1, 16)
# Two transactions that each lock several sites could wait for one another.
_POSTGRES = (4, 1)


class Gate:
    """Counts who is inside and has it written; one for each application."""

    def __init__(self, database: Database, *, most: int) -> None:
        self._database = database
        self._most = most
        self._inside = 0
        self._bytes = 0
        writers, self._together = _SQLITE if database.is_sqlite else _POSTGRES
        self._turn = asyncio.Semaphore(writers)
        self._waiting: deque[tuple[Job, asyncio.Future[Pushed]]] = deque()

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

    async def store(self, job: Job) -> Pushed:
        """Do a job in a transaction; give what it gives once that is on disk.

        Raises
        ------
        ServiceError, SQLAlchemyError, OSError : what the job or its transaction raises
        """
        answer: asyncio.Future[Pushed] = asyncio.get_running_loop().create_future()
        self._waiting.append((job, answer))
        async with self._turn:
            # Who has the turn may write for others, and others may have written for them.
            some = [self._waiting.popleft() for _ in range(min(self._together, len(self._waiting)))]
            if some:
                with CancelScope(shield=True):
                    await self._write(some)
        return await answer

    async def _write(self, some: Sequence[tuple[Job, asyncio.Future[Pushed]]]) -> None:
        outcomes: Sequence[Pushed | Exception]
        try:
            outcomes = await to_thread.run_sync(self._written, [job for job, _ in some])
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

    def _written(self, jobs: Sequence[Job]) -> list[Pushed | Exception]:
        if len(jobs) > 1:
            try:
                with self._database.session() as db:
                    return [_within(db, job) for job in jobs]
            except Exception:
                LOG.exception("%d batches were not taken together; each is tried alone", len(jobs))
        return [self._alone(job) for job in jobs]

    def _alone(self, job: Job) -> Pushed | Exception:
        try:
            with self._database.session() as db:
                return job(db)
        except (ServiceError, SQLAlchemyError, OSError) as error:
            return error  # said in plain words by the application
        except Exception as error:
            LOG.exception("a batch met an error of our own")
            return error


def _within(db: Session, job: Job) -> Pushed | Exception:
    """Do a job among others: what it refuses leaves nothing and keeps no other back."""
    try:
        with db.begin_nested():
            return job(db)
    except ServiceError as error:
        return error
