"""How many gateway batches are let in at the same time, and who gives a place up for others.

The morning after an outage all gateways come at once. What is let in is written soon; the rest is
turned away before its body is read, so that memory stays bounded and pages still find a thread.
Each is told another moment, lest they come back together.

A sender that dawdles, on purpose or on a bad line, has its place while nobody else wants it; else,
after a moment's patience, the slowest goes. No site has more than half of the places, so that no
key keeps all others out, however often its holder comes back.
"""

import asyncio
import random
from collections.abc import Awaitable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TypeVar

from service.errors import TooManyError, TooSlowError

_SOONEST_S, _LATEST_S = 5, 30
# Of the bodies that are held at the same time.
_MOST_BYTES = 64 * 1024 * 1024
# Engineering judgement: an hour of minutes is ten kilobytes, which the slowest mobile line sends
# in these ten seconds; a backlog of the largest size takes a minute on a poor landline.
_PATIENCE_S, _LONGEST_S = 10.0, 120.0

Read = TypeVar("Read")


@dataclass(slots=True, kw_only=True, eq=False)
class Place:
    """One that somebody has.

    Attributes
    ----------
    site : whose rows come
    size_bytes : how much they say that it is
    since_s : when they got it, by the loop's clock
    reading : how long the body may still take; None before and after it is read
    given_up : whether somebody else has got it
    """

    site: str
    size_bytes: int
    since_s: float
    reading: asyncio.Timeout | None = None
    given_up: bool = False


class Places:
    """The places of an application.

    Parameters
    ----------
    most : how many there are
    patience_s : how long a sender keeps a place that others want
    longest_s : how long it keeps one that nobody wants
    """

    def __init__(
        self, most: int, *, patience_s: float = _PATIENCE_S, longest_s: float = _LONGEST_S
    ) -> None:
        self._most = most
        self._patience_s = patience_s
        self._longest_s = longest_s
        self._taken: list[Place] = []

    @contextmanager
    def taken(self, site: str, size_bytes: int) -> Iterator[Place]:
        """Take a place for a body that says to be of this size.

        Raises
        ------
        TooManyError : none is free, and nobody has been slow for long
        """
        own = [one for one in self._taken if one.site == site]
        if len(own) >= -(-self._most // 2):
            self._have_the_slowest_go(own)
        while not self._has_room(size_bytes):
            self._have_the_slowest_go(self._taken)
        place = Place(site=site, size_bytes=size_bytes, since_s=_now_s())
        self._taken.append(place)
        try:
            yield place
        finally:
            if not place.given_up:
                self._taken.remove(place)

    async def read(self, place: Place, body: Awaitable[Read]) -> Read:
        """Wait for a body, as long as its place is kept.

        Raises
        ------
        TooSlowError : it did not come in time
        """
        try:
            async with asyncio.timeout(self._longest_s) as place.reading:
                return await body
        except TimeoutError:
            raise TooSlowError(
                "The body comes too slowly while others wait; nothing of it was stored. Send it "
                "in smaller batches."
            ) from None
        finally:
            place.reading = None

    def _has_room(self, size_bytes: int) -> bool:
        held = sum(one.size_bytes for one in self._taken)
        full = len(self._taken) >= self._most
        return not full and (not self._taken or held + size_bytes <= _MOST_BYTES)

    def _have_the_slowest_go(self, among: Sequence[Place]) -> None:
        now_s = _now_s()
        for one in among:  # the longest there first
            reading = one.reading
            # One whose time has just run out leaves by itself, and cannot be told to.
            if reading is None or reading.expired():
                continue
            if now_s - one.since_s > self._patience_s:
                reading.reschedule(now_s)
                one.given_up = True
                self._taken.remove(one)
                return
        raise _told_to_wait()


def _now_s() -> float:
    return asyncio.get_running_loop().time()


def _told_to_wait() -> TooManyError:
    return TooManyError(
        "More batches come in than can be stored at the moment; nothing of this one was. "
        "Send it again after the seconds in Retry-After.",
        retry_after_s=random.randint(_SOONEST_S, _LATEST_S),  # noqa: S311
    )
