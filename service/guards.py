"""What stands between the network and the routes: size, origin, and headers of every answer.

Plain ASGI, so that a refused body is never kept. What still comes of it is thrown away before the
answer: a sender whose connection is cut while it sends never reads why.
"""

import asyncio
import json
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any
from urllib.parse import urlsplit

from dashboards.render import render
from service.errors import TooLargeError
from service.policy import headers as policy_headers
from service.settings import Settings, is_loopback

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

_SAFE = {"GET", "HEAD", "OPTIONS"}
_SMALL_BODY = 1024 * 1024
# One photo from the script, a few with the form (see `service.visits.photos`).
_PHOTO = 12 * 1024 * 1024
_PHOTOS = 64 * 1024 * 1024
# So much of a refused body is waited for before the answer.
_THROWN_AWAY = 512 * 1024 * 1024
_PATIENCE_S = 60.0


class Guard:
    """Refuses foreign hosts and origins and bodies that are too large; adds headers."""

    def __init__(self, app: App, *, settings: Settings) -> None:
        self.app = app
        self.settings = settings
        self.own = urlsplit(settings.public_url).netloc.lower()
        self.headers = policy_headers(https=settings.secure_cookies)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = {name.lower(): value.decode("latin-1") for name, value in scope["headers"]}
        limit = self._limit(scope)
        body = _Body(receive, limit=limit, waits=b"expect" in headers)
        answer = self._with_headers(send, body)
        refusal = self._refusal(scope["method"], headers)
        length = headers.get(b"content-length", "0")
        if refusal is None and (not length.isdigit() or int(length) > limit):
            refusal = 413, "Too large", _too_large(limit)
        if refusal is not None:
            accepts = headers.get(b"accept", "")
            by_hand = "text/html" in accepts and not scope["path"].startswith("/api/")
            await _answer(answer, *refusal, by_hand=by_hand)
            return
        await self.app(scope, body.receive, answer)

    def _refusal(self, method: str, headers: dict[bytes, str]) -> tuple[int, str, str] | None:
        host = headers.get(b"host", "").lower()
        if not self.settings.reachable and not self._is_own_host(host):
            return (
                403,
                "Foreign host",
                f"This service answers on this machine only, not as “{host}”. Open it as "
                f"{self.settings.public_url}.",
            )
        if method in _SAFE:
            return None
        origin = headers.get(b"origin")
        if origin is not None:
            same = _netloc(origin) in (host, self.own)
        else:
            same = headers.get(b"sec-fetch-site", "none") in ("same-origin", "none")
        if same:
            return None
        return (
            403,
            "Foreign page",
            "This request came from a page of another site; nothing was changed. Use the "
            "service's own pages.",
        )

    def _with_headers(self, send: Send, body: "_Body") -> Send:
        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                if message["status"] >= 400:
                    await body.throw_away()
                present = {name.lower() for name, _ in message.get("headers", ())}
                added = [pair for pair in self.headers if pair[0] not in present]
                message["headers"] = [*message.get("headers", ()), *added]
            await send(message)

        return sending

    def _is_own_host(self, host: str) -> bool:
        return host == self.own or is_loopback(_hostname(host))

    def _limit(self, scope: Scope) -> int:
        path = scope["path"]
        if path.startswith(("/api/sites/", "/sites/")) and path.endswith("/logs"):
            return self.settings.max_upload_bytes
        if path.startswith("/api/sites/") and path.endswith("/rows"):
            return self.settings.max_push_bytes
        if path.startswith(("/api/sites/", "/sites/")) and path.endswith("/weather"):
            return self.settings.max_weather_bytes
        if path.startswith("/api/visits/") and path.endswith("/photos"):
            return _PHOTO
        if path.startswith("/visits/") and path.endswith("/save"):
            return _PHOTOS
        return _SMALL_BODY


def _netloc(origin: str) -> str | None:
    """Give host and port of an origin; None where it names no host."""
    try:
        return urlsplit(origin).netloc.lower() or None
    except ValueError:
        return None


def _hostname(host: str) -> str:
    """Give a Host header without its port; empty where it is none."""
    try:
        return urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return ""


def _too_large(limit: int) -> str:
    return (
        f"The body is larger than {limit // (1024 * 1024)} MiB. Send it in smaller parts, a log "
        "also as .gz or .zip; the operator can raise the limit."
    )


class _Body:
    """The body of a request on its way in.

    Parameters
    ----------
    receive : where it comes from
    limit : the most that is taken [bytes]
    waits : whether the sender asked to be told before it sends (`Expect`)
    """

    def __init__(self, receive: Receive, *, limit: int, waits: bool) -> None:
        self._receive = receive
        self._limit = limit
        self._seen = 0
        self._ended = waits

    async def receive(self) -> Message:
        """Give the next part; what did not tell its length is counted."""
        message = await self._next()
        if self._seen > self._limit:
            raise TooLargeError(_too_large(self._limit))
        return message

    async def throw_away(self) -> None:
        """Let the rest come and forget it, within reason."""
        most = self._seen + _THROWN_AWAY
        try:
            async with asyncio.timeout(_PATIENCE_S):
                while not self._ended and self._seen <= most:
                    await self._next()
        except TimeoutError:
            return

    async def _next(self) -> Message:
        message = await self._receive()
        self._seen += len(message.get("body", b""))
        self._ended = message["type"] != "http.request" or not message.get("more_body", False)
        return message


async def _answer(send: Send, status: int, title: str, detail: str, *, by_hand: bool) -> None:
    """Answer with a page for who sits at a browser, else with problem details (RFC 9457)."""
    if by_hand:
        text = render("error.html", code=status, title=title, detail=detail)
        body, kind = text.encode(), b"text/html; charset=utf-8"
    else:
        content = {"type": "about:blank", "title": title, "status": status, "detail": detail}
        body, kind = json.dumps(content).encode(), b"application/problem+json"
    headers = [
        (b"content-type", kind),
        (b"content-length", str(len(body)).encode()),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
