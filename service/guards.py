"""What stands between the network and the routes: size, origin, and headers of every answer.

Plain ASGI, so that a refused body is never kept. What still comes of it is thrown away before the
answer: a sender whose connection is cut while it sends never reads why.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from urllib.parse import urlsplit

from dashboards.render import render
from service.asgi import App, Message, Receive, Scope, Send
from service.bodies import SLOW_PHONE, Body, Pace, too_large
from service.policy import headers as policy_headers
from service.settings import Settings, is_loopback

_SAFE = {"GET", "HEAD", "OPTIONS"}
# More would be no length; Python does not even read some thousands.
_DIGITS = 18
_SMALL_BODY = 1024 * 1024
# One photo from the script, a few with the form (see `service.visits.photos`).
_PHOTO = 12 * 1024 * 1024
_PHOTOS = 64 * 1024 * 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kind:
    """Bodies whose address begins and ends like this: how large they may be, and how slow.

    Attributes
    ----------
    most_bytes : by the settings
    own_pace : whether they are waited for somewhere else
    """

    begins: tuple[str, ...]
    ends: str
    most_bytes: Callable[[Settings], int]
    own_pace: bool = False

    def has(self, path: str) -> bool:
        """Tell whether an address is of this kind."""
        return path.startswith(self.begins) and path.endswith(self.ends)


_SITES = ("/api/sites/", "/sites/")
# The first that fits; the last fits all.
_KINDS = (
    _Kind(
        begins=("/api/sites/",),
        ends="/rows",
        most_bytes=lambda settings: settings.max_push_bytes,
        own_pace=True,
    ),
    _Kind(begins=_SITES, ends="/logs", most_bytes=lambda settings: settings.max_upload_bytes),
    _Kind(begins=_SITES, ends="/weather", most_bytes=lambda settings: settings.max_weather_bytes),
    _Kind(begins=("/api/visits/",), ends="/photos", most_bytes=lambda _: _PHOTO),
    _Kind(begins=("/visits/",), ends="/save", most_bytes=lambda _: _PHOTOS),
    _Kind(begins=("",), ends="", most_bytes=lambda _: _SMALL_BODY),
)


class Guard:
    """Refuses foreign hosts and origins, bodies too large and too slow; adds headers.

    Parameters
    ----------
    app : what requests are let through to
    settings : how large bodies may be, and how the service is reached
    pace : how slowly bodies may come
    """

    def __init__(self, app: App, *, settings: Settings, pace: Pace = SLOW_PHONE) -> None:
        self.app = app
        self.settings = settings
        self.pace = pace
        self.own = urlsplit(settings.public_url).netloc.lower()
        self.headers = policy_headers(https=settings.secure_cookies)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = {name.lower(): value.decode("latin-1") for name, value in scope["headers"]}
        kind = next(one for one in _KINDS if one.has(scope["path"]))
        limit = kind.most_bytes(self.settings)
        pace = None if kind.own_pace else self.pace
        body = Body(receive, limit_bytes=limit, pace=pace, waits=b"expect" in headers)
        accepts = headers.get(b"accept", "")
        by_hand = "text/html" in accepts and not scope["path"].startswith("/api/")
        announced = b"transfer-encoding" in headers or _told_bytes(headers) > 0
        answer = self._answering(send, body, announced=announced, by_hand=by_hand)
        refusal = self._refusal(scope["method"], headers)
        if refusal is None and _told_bytes(headers) > limit:
            refusal = 413, "Too large", too_large(limit)
        if refusal is not None:
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

    def _answering(self, send: Send, body: Body, *, announced: bool, by_hand: bool) -> Send:
        """Give what sends an answer; where the body was given up, it is why.

        No other request is taken where a body that was `announced` did not come whole: what the
        sender sends next could be either.
        """
        replaced = False

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                present = {name.lower() for name, _ in message.get("headers", ())}
                added = [pair for pair in self.headers if pair[0] not in present]
                unread = announced or message["status"] >= 400
                if unread and not await body.throw_away():
                    added.append((b"connection", b"close"))  # nobody reads what comes still
                message["headers"] = [*message.get("headers", ()), *added]
            await send(message)

        async def answering(message: Message) -> None:
            nonlocal replaced
            why = body.refusal
            if why is not None and message["type"] == "http.response.start":
                replaced = True  # a route may take its form for a broken one and say so
                await _answer(sending, why.status, why.title, why.detail, by_hand=by_hand)
            elif not replaced:
                await sending(message)

        return answering

    def _is_own_host(self, host: str) -> bool:
        return host == self.own or is_loopback(_hostname(host))


def _told_bytes(headers: dict[bytes, str]) -> float:
    """Give how long a body is said to be; infinity where that is no number to believe."""
    told = headers.get(b"content-length", "0")
    return int(told) if told.isdecimal() and len(told) <= _DIGITS else inf


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
