"""How many gateway batches are taken at the same time; who comes beyond that comes again later.

The morning after an outage all gateways come at once. What is let in is written one after another
and answered soon; the rest is turned away before its body is read, so that memory stays bounded
and pages still find a thread. Each is told another moment, lest they come back together.
"""

import random
from collections.abc import Iterator
from contextlib import contextmanager

from anyio import CapacityLimiter

from service.db.engine import Database
from service.errors import TooManyError

_SOONEST_S, _LATEST_S = 5, 30
# Of the bodies that are held at the same time.
_MOST_BYTES = 64 * 1024 * 1024
# SQLite has one writer; who waits here waits in order, and need not ask it again and again.
_WRITERS = {"sqlite": 1}
_OTHERWISE = 4


class Gate:
    """Counts who is inside; one for each application."""

    def __init__(self, database: Database, *, most: int) -> None:
        self._most = most
        self._inside = 0
        self._bytes = 0
        kind = database.url.get_backend_name()
        self.writers = CapacityLimiter(_WRITERS.get(kind, _OTHERWISE))

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
