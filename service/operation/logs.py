"""The log: one line for each request and each event, for people or as JSON.

A line names a request by its number and its route, never by its address: addresses hold the names
of sites and the secrets of links. Nor does it say who called.
"""

import json
import logging
import re
import secrets
import sys
import time
from collections.abc import MutableMapping
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any

from service.asgi import App, Message, Receive, Scope, Send
from service.operation.metrics import Metrics

LOG = logging.getLogger("suntally.request")
ID_HEADER = "X-Request-ID"
_GIVEN_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")
_STATE = "suntally.request_id"

_request_id: ContextVar[str | None] = ContextVar("request_id", default=None)


def log_to_stderr(*, as_json: bool) -> None:
    """Send warnings of everything and a line for each request to standard error."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines() if as_json else TextLines())
    logging.basicConfig(level=logging.WARNING, handlers=[handler])
    LOG.setLevel(logging.INFO)


class TextLines(logging.Formatter):
    """Lines for people."""

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)s %(name)s: %(message)s")

    def format(self, record: logging.LogRecord) -> str:
        """Give a line, with the number of the request that it belongs to."""
        line = super().format(record)
        number = _request_id.get()
        return f"{line} [{number}]" if number else line


class JsonLines(logging.Formatter):
    """One JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        """Give the object."""
        line: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        if (number := _request_id.get()) is not None:
            line["request_id"] = number
        line.update(getattr(record, "figures", {}))
        if record.exc_info:
            line["error"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False)


class Requests:
    """Gives every request a number, a line in the log and its share of the metrics.

    A proxy's own `X-Request-ID` is taken over where it looks like one.
    """

    def __init__(self, app: App, *, metrics: Metrics) -> None:
        self.app = app
        self.metrics = metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through and note how it ended."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        number = _given_id(scope) or secrets.token_hex(8)
        scope[_STATE] = number
        # Each request is a task of its own, so the name needs no taking back; what is logged about
        # an error after this still has it.
        _request_id.set(number)
        began, status = time.perf_counter(), 500

        async def sending(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                named = (ID_HEADER.lower().encode(), number.encode())
                message["headers"] = [*message.get("headers", ()), named]
            await send(message)

        try:
            await self.app(scope, receive, sending)
        finally:
            took_s = time.perf_counter() - began
            route = route_of(scope)
            method = scope["method"] if scope["method"] in _METHODS else "other"
            self.metrics.note(method=method, route=route, status=status, took_s=took_s)
            figures = {
                "method": method,
                "route": route,
                "status": status,
                "took_ms": round(took_s * 1000, 1),
            }
            said = f"{method} {route} {status} in {took_s * 1000:.0f} ms"
            LOG.info("%s", said, extra={"figures": figures})


_METHODS = {"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"}


def route_of(scope: MutableMapping[str, Any]) -> str:
    """Name what was asked for by its pattern, as `/sites/{slug}`."""
    route = scope.get("route")
    if route is not None:
        return str(route.path)
    return "/static" if str(scope["path"]).startswith("/static/") else "none"


def id_of(scope: MutableMapping[str, Any]) -> str | None:
    """Give the number of a request."""
    number = scope.get(_STATE)
    return None if number is None else str(number)


def _given_id(scope: Scope) -> str | None:
    for name, value in scope["headers"]:
        if name.lower() == ID_HEADER.lower().encode():
            text = value.decode("latin-1")
            return text if _GIVEN_ID.fullmatch(text) else None
    return None
