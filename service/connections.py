"""Connections around the bodies of requests: heads, and answers that nobody takes.

The server bounds none of them: a head without end would be held in memory, and who sends no head,
or does not read the answer, would be waited for as long as they like, all without a key. For bodies
see `service.bodies`.
"""

import asyncio

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

# What came without ending a head or being of a body: heads, and fields after a body.
_MOST_BYTES = 64 * 1024
# As long as a body may pause.
_HEAD_WITHIN_S = 60.0
# Half of what a body has to come at: who loses the connection for a minute takes it in the next.
_LOOK_EVERY_S = 120.0
_LEAST_TAKEN_BYTES = 60_000


class Connection(HttpToolsProtocol):
    """A connection that is closed where a head is too large, or head or answer takes too long.

    What is read at once is parsed before it is counted, so that a head may be larger by that.
    """

    head_within_s = _HEAD_WITHIN_S
    _to_no_end_bytes = 0
    look_every_s = _LOOK_EVERY_S
    _overdue: asyncio.TimerHandle | None = None
    _looking: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Wait for the first head."""
        super().connection_made(transport)
        self._wait_for_head()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait for nothing any more."""
        self._wait_no_more()
        self._look_no_more()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take what came, unless too much leads to nothing."""
        self._to_no_end_bytes += len(data)
        super().data_received(data)
        if self._to_no_end_bytes <= _MOST_BYTES or self.transport.is_closing():
            return
        if getattr(self.cycle, "response_complete", True):  # there is none before the first head
            self.send_400_response("The head of the request is too large.")
        else:
            self.transport.close()  # an answer may be on its way

    def on_headers_complete(self) -> None:
        """Note that a head came whole."""
        self._to_no_end_bytes = 0
        self._wait_no_more()
        super().on_headers_complete()

    def on_body(self, body: bytes) -> None:
        """Note that a part of a body came."""
        self._to_no_end_bytes = 0
        super().on_body(body)

    def on_response_complete(self) -> None:
        """Wait for the next head, unless it came already."""
        super().on_response_complete()
        if self.cycle.response_complete and not self.transport.is_closing():
            self._wait_for_head()

    def pause_writing(self) -> None:
        """See from now on that the answer is taken."""
        super().pause_writing()
        self._look_later()

    def resume_writing(self) -> None:
        """Write on."""
        self._look_no_more()
        super().resume_writing()

    def _look_later(self) -> None:
        left_bytes = self.transport.get_write_buffer_size()
        self._looking = self.loop.call_later(self.look_every_s, self._look, left_bytes)

    def _look(self, before_bytes: int) -> None:
        if before_bytes - self.transport.get_write_buffer_size() < _LEAST_TAKEN_BYTES:
            self.transport.abort()
        else:
            self._look_later()

    def _look_no_more(self) -> None:
        if self._looking is not None:
            self._looking.cancel()
            self._looking = None

    def _wait_for_head(self) -> None:
        self._wait_no_more()
        self._overdue = self.loop.call_later(self.head_within_s, self.transport.close)

    def _wait_no_more(self) -> None:
        if self._overdue is not None:
            self._overdue.cancel()
            self._overdue = None
