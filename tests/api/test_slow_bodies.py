"""Bodies that come slowly, at the addresses themselves: who is let go reads why, nothing stays."""

import asyncio
import socket
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from sqlalchemy import func, select

from service.asgi import Message, Receive, Scope, Send
from service.bodies import Pace
from service.db.models import Upload
from service.guards import Guard
from tests.build_loop import run_skipping
from tests.build_server import answered, served
from tests.build_service import BackEnd, back_ends, tidy_log

FORM = "multipart/form-data; boundary=line"
LOG = tidy_log(hours=24).encode()
FILE = b'--line\r\nContent-Disposition: form-data; name="file"; filename="a.csv"\r\n\r\n'
END = b"\r\n--line--\r\n"


@pytest.fixture
def back(tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path) as make:
        yield make()


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What came back, and after how many seconds."""

    status: int
    headers: dict[str, str]
    text: str
    after_s: float


def sent(
    app: Any,
    path: str,
    parts: list[bytes],
    *,
    kind: str,
    every_s: float,
    accept: str,
    announced: int | str | None = None,
) -> Answer:
    """Send a body part by part; gives the answer. No time passes for it."""

    async def request() -> Answer:
        left = list(parts)
        told: list[Message] = []

        async def receive() -> Message:
            await asyncio.sleep(every_s)
            body = left.pop(0) if left else b""
            return {"type": "http.request", "body": body, "more_body": bool(left)}

        async def send(message: Message) -> None:
            told.append(message)

        headers = {"host": "127.0.0.1", "content-type": kind, "accept": accept}
        if announced is not None:
            headers["content-length"] = str(announced)
        scope: Scope = {
            "type": "http", "http_version": "1.1", "method": "POST", "scheme": "http",
            "path": path, "query_string": b"", "root_path": "",
            "headers": [(name.encode(), text.encode("latin-1")) for name, text in headers.items()],
            "server": ("127.0.0.1", 80), "client": ("127.0.0.1", 1),
        }  # fmt: skip
        await app(scope, receive, send)
        start, *rest = told
        return Answer(
            status=start["status"],
            headers={name.decode(): value.decode() for name, value in start["headers"]},
            text=b"".join(one["body"] for one in rest).decode(),
            after_s=asyncio.get_running_loop().time(),
        )

    return run_skipping(request())


def bytewise(body: bytes) -> list[bytes]:
    return [body[at : at + 1] for at in range(len(body))]


def count_uploads(back: BackEnd) -> int:
    with back.database.reading() as db:
        return int(db.scalar(select(func.count(Upload.id))) or 0)


@pytest.mark.parametrize(
    ("path", "kind", "body"),
    [
        ("/api/sites/mill-lane-4/logs", "text/csv", LOG),
        ("/api/sites/mill-lane-4/logs", FORM, FILE + LOG + END),
        ("/sites/mill-lane-4/logs", FORM, FILE + LOG + END),
        ("/sites/mill-lane-4/weather", FORM, FILE + LOG + END),
        ("/sign-in", "application/x-www-form-urlencoded", urlencode({"login": "a" * 999}).encode()),
    ],
)
def test_a_body_that_trickles_is_let_go_and_leaves_nothing(
    back: BackEnd, path: str, kind: str, body: bytes
) -> None:
    back.add_site()
    app = back.app()
    answer = sent(app, path, bytewise(body), kind=kind, every_s=1.0, accept="application/json")
    assert (answer.status, answer.headers["connection"]) == (408, "close")
    assert answer.after_s == pytest.approx(60.0, abs=2.0)
    assert "nothing of it was stored" in answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert count_uploads(back) == 0


def test_who_sits_at_a_browser_reads_it_on_a_page(back: BackEnd) -> None:
    back.add_site()
    path, body = "/sites/mill-lane-4/logs", FILE + LOG + END
    answer = sent(back.app(), path, bytewise(body), kind=FORM, every_s=1.0, accept="text/html")
    assert answer.status == 408
    assert "<h1" in answer.text
    assert "where the connection is better" in answer.text


def test_a_slow_phone_hands_its_log_in(back: BackEnd) -> None:
    back.add_site()
    body = FILE + LOG * 40 + END
    parts = [body[at : at + 30_000] for at in range(0, len(body), 30_000)]
    assert len(parts) > 10
    # Three kilobytes a second, then nothing for a while, and again.
    answer = sent(
        back.app(), "/sites/mill-lane-4/logs", parts, kind=FORM, every_s=14.0, accept="text/html"
    )
    assert answer.status == 303
    assert answer.after_s > 120.0
    assert count_uploads(back) == 1


def test_a_form_too_large_that_did_not_tell_its_length_is_said_to_be(back: BackEnd) -> None:
    parts = [b"login=" + b"a" * 700_000, b"b" * 700_000]
    kind = "application/x-www-form-urlencoded"
    answer = sent(back.app(), "/sign-in", parts, kind=kind, every_s=0.0, accept="text/html")
    assert answer.status == 413
    assert "larger than 1 MiB" in answer.text


def test_on_a_real_connection_the_slow_one_reads_why_and_is_cut_off(back: BackEnd) -> None:
    async def reader(scope: Scope, receive: Receive, send: Send) -> None:
        while (await receive()).get("more_body"):
            pass
        raise AssertionError("the body came whole")

    async def app(scope: Scope, receive: Receive, send: Send) -> None:
        try:
            await reader(scope, receive, send)
        except Exception:
            await send({"type": "http.response.start", "status": 500, "headers": []})
            await send({"type": "http.response.body", "body": b""})

    pace = Pace(in_hand_s=0.3, least_bytes_s=2000.0)
    guard = Guard(app, settings=back.settings, pace=pace)
    with served(guard) as address, socket.create_connection(address, timeout=30) as sender:
        sender.sendall(
            b"POST /api/sites/a/logs HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 100000\r\n\r\n"
        )
        stopped = threading.Event()

        def trickle() -> None:
            while not stopped.wait(0.05):
                try:
                    sender.sendall(b"x")
                except OSError:
                    return  # cut off

        trickling = threading.Thread(target=trickle)
        trickling.start()
        said = answered(sender)
        stopped.set()
        trickling.join()
    assert said.startswith(b"HTTP/1.1 408 ")
    assert b"connection: close" in said.lower()
    assert b"nothing of it was stored" in said


# What the answer leaves of a body would be read as the next request, or the other way round.
@pytest.mark.parametrize("path", ["/sign-out", "/nowhere"])
def test_where_a_body_that_was_announced_did_not_come_no_other_request_is_taken(
    back: BackEnd, path: str
) -> None:
    waits = f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nExpect: 100-continue\r\n".encode()
    with served(back.app()) as address:
        with socket.create_connection(address, timeout=30) as sender:
            sender.sendall(waits + b"Content-Length: 60\r\n\r\n")
            said = answered(sender)
        assert said.count(b"HTTP/1.1 ") == 1
        assert b"connection: close" in said.lower()
        with socket.create_connection(address, timeout=30) as sender:
            whole = f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 5\r\n\r\nhello"
            last = "GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n"
            sender.sendall((whole + last).encode())
            said = answered(sender)
        assert said.count(b"HTTP/1.1 ") == 2  # nothing was left of this one


def test_a_body_that_the_answer_does_not_wait_for_holds_no_connection(back: BackEnd) -> None:
    # Signing out reads no body; what trickles is let go all the same.
    parts = [b"a"] * 1000
    answer = sent(
        back.app(), "/sign-out", parts, kind=FORM, every_s=1.0, accept="text/html", announced=1000
    )
    assert (answer.status, answer.headers["connection"]) == (303, "close")
    assert answer.after_s == pytest.approx(60.0, abs=2.0)


@pytest.mark.parametrize("told", ["0" * 5000, "9" * 25, "\xb2", "-1", "", "5, 5"])
def test_a_length_that_is_no_number_to_believe_is_refused(back: BackEnd, told: str) -> None:
    answer = sent(
        back.app(), "/sign-in", [b""], kind=FORM, every_s=0.0, accept="*/*", announced=told
    )
    assert answer.status == 413
