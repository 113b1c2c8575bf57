"""The body of a request on its way in: how large it may be, and how slowly it may come.

Who sends has a minute in hand. Waiting for a part takes from it, each byte gives some back, never
beyond the minute. So a phone on a bad line may take hours for a large log and lose its connection
for most of a minute now and then; who lets bytes trickle, or falls silent, is let go. Gateways
have their own way (`service.ingest.places`).
"""

import asyncio
from dataclasses import dataclass

from service.asgi import Message, Receive
from service.errors import ServiceError, TooLargeError, TooSlowError

# So much of a refused body is waited for before the answer.
_THROWN_AWAY = 512 * 1024 * 1024
_PATIENCE_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How slowly a body may come.

    Attributes
    ----------
    in_hand_s : what a sender begins with and never has more of
    least_bytes_s : what it has to send in a second, on the average
    """

    in_hand_s: float
    least_bytes_s: float


# Engineering judgement: the slowest kind of mobile line still sends more than a kilobyte in a
# second, mostly two, and a phone that changes its mast or its network is back within a minute. Who
# sends at just what is asked for would be let go late, when most of the body is there.
SLOW_PHONE = Pace(in_hand_s=60.0, least_bytes_s=1000.0)


class Body:
    """A body that is taken part by part.

    Parameters
    ----------
    receive : where it comes from
    limit_bytes : the most that is taken
    pace : how slowly it may come; None where somebody else sees to that
    waits : whether the sender asked to be told before it sends (`Expect`)

    Attributes
    ----------
    refusal : why it was given up, once it was
    """

    def __init__(
        self, receive: Receive, *, limit_bytes: int, pace: Pace | None, waits: bool
    ) -> None:
        self._receive = receive
        self._limit_bytes = limit_bytes
        self._pace = pace
        self._in_hand_s = pace.in_hand_s if pace else 0.0
        self._seen = 0
        self._coming = not waits
        self.complete = False
        self.refusal: ServiceError | None = None

    async def receive(self) -> Message:
        """Give the next part; what did not tell its length is counted.

        Raises
        ------
        TooLargeError, TooSlowError : it is given up
        """
        self._coming = True
        # After the last part whoever asks again waits for the answer to be taken, not for a sender.
        if self._pace is None or self.complete:
            message = await self._next()
        else:
            message = await self._in_time(self._pace)
        if self._seen > self._limit_bytes:
            raise self._given_up(TooLargeError(too_large(self._limit_bytes)))
        return message

    async def throw_away(self) -> bool:
        """Let the rest come and forget it, within reason; tells whether all came.

        Nobody waits for who was too slow already, nor for who waits to be told to send.
        """
        most = self._seen + _THROWN_AWAY
        try:
            async with asyncio.timeout(_PATIENCE_S):
                while self._awaited() and self._seen <= most:
                    await self._next()
        except TimeoutError:
            pass
        return self.complete

    def _awaited(self) -> bool:
        slow = isinstance(self.refusal, TooSlowError)
        return self._coming and not self.complete and not slow

    async def _in_time(self, pace: Pace) -> Message:
        """Wait for a part while the sender has time in hand; what we do in between takes none."""
        loop = asyncio.get_running_loop()
        began_s, seen_before = loop.time(), self._seen
        try:
            async with asyncio.timeout(self._in_hand_s):
                message = await self._next()
        except TimeoutError:
            raise self._given_up(TooSlowError(_TOO_SLOW)) from None
        self._in_hand_s -= loop.time() - began_s
        self._in_hand_s += (self._seen - seen_before) / pace.least_bytes_s
        self._in_hand_s = min(self._in_hand_s, pace.in_hand_s)
        return message

    async def _next(self) -> Message:
        message = await self._receive()
        self._seen += len(message.get("body", b""))
        self.complete = message["type"] != "http.request" or not message.get("more_body", False)
        return message

    def _given_up(self, why: ServiceError) -> ServiceError:
        self.refusal = why
        return why


def too_large(limit_bytes: int) -> str:
    """Say that a body is too large."""
    return (
        f"The body is larger than {limit_bytes // (1024 * 1024)} MiB. Send it in smaller parts, a "
        "log also as .gz or .zip; the operator can raise the limit."
    )


_TOO_SLOW = (
    "Too little of it came within a minute, so it was given up; nothing of it was stored. Send it "
    "again where the connection is better, a log also as .gz or .zip."
)
