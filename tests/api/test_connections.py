"""Requests on real connections: no head without end, and nobody who is waited for for ever."""

import asyncio
import socket
import time
from collections.abc import Iterator
from typing import cast

import pytest
import uvicorn
from uvicorn.server import ServerState

from service.asgi import Receive, Scope, Send
from service.connections import Connection
from tests.build_loop import run_skipping
from tests.build_server import answered, served

HEAD = b"POST / HTTP/1.1\r\nHost: 127.0.0.1\r\n"
WAITED_S = 0.4
LARGE_BYTES = 30_000_000  # far more than any buffer of the network


class Hasty(Connection):
    """One that waits for heads and readers less long."""

    head_within_s = look_every_s = WAITED_S


async def app(scope: Scope, receive: Receive, send: Send) -> None:
    while (await receive()).get("more_body"):
        pass
    if scope["path"] == "/large":
        length = (b"content-length", str(LARGE_BYTES).encode())
        await send({"type": "http.response.start", "status": 200, "headers": [length]})
        await send({"type": "http.response.body", "body": bytes(LARGE_BYTES)})
        return
    await send({"type": "http.response.start", "status": 204, "headers": []})
    await send({"type": "http.response.body", "body": b""})


@pytest.fixture(scope="module")
def address() -> Iterator[tuple[str, int]]:
    with served(app, http=Hasty) as at:
        yield at


@pytest.fixture
def sender(address: tuple[str, int]) -> Iterator[socket.socket]:
    with socket.create_connection(address, timeout=30) as connection:
        yield connection


def endless(sender: socket.socket, begin: bytes, part: bytes) -> int:
    """Send parts until the other side closes, 20 MB at most; gives how many bytes went out."""
    sent = 0
    try:
        sender.sendall(begin)
        while sent < 20_000_000:
            sender.sendall(part)
            sent += len(part)
    except OSError:
        pass
    return sent


@pytest.mark.parametrize(
    ("begin", "part"),
    [
        (b"POST /", b"a" * 50_000),
        (HEAD + b"X-Long: ", b"a" * 50_000),
        (HEAD, b"X-Many: a\r\n" * 5000),
        (HEAD + b"Transfer-Encoding: chunked\r\n\r\n1\r\na\r\n0\r\n", b"X-After: a\r\n" * 5000),
    ],
    ids=["address", "one field", "many fields", "fields after the body"],
)
def test_a_head_without_end_is_cut_off(sender: socket.socket, begin: bytes, part: bytes) -> None:
    # What lies in buffers of the network may go out still.
    assert endless(sender, begin, part) < 19_000_000


def test_whose_head_is_too_large_reads_it(sender: socket.socket) -> None:
    sender.sendall(HEAD + b"X-Long: " + b"a" * 66_000)
    said = answered(sender)
    assert said.startswith(b"HTTP/1.1 400 ")
    assert said.endswith(b"The head of the request is too large.")


@pytest.mark.parametrize(
    "begin",
    [b"", HEAD, HEAD + b"\r\n", HEAD + b"\r\n" + HEAD],
    ids=["nothing", "half a head", "a request, then nothing", "a request, then half a head"],
)
def test_whoever_sends_no_whole_head_is_let_go(sender: socket.socket, begin: bytes) -> None:
    sender.sendall(begin)
    began_s = time.monotonic()
    said = answered(sender)
    assert said.count(b"HTTP/1.1 204 ") == begin.count(b"\r\n\r\n")
    assert time.monotonic() - began_s > 0.9 * WAITED_S


def test_bytes_that_trickle_in_a_head_buy_no_time(sender: socket.socket) -> None:
    def trickle() -> None:
        for _ in range(200):  # ten seconds
            time.sleep(0.05)
            sender.sendall(b"X-More: a\r\n")

    sender.sendall(HEAD)
    with pytest.raises((BrokenPipeError, ConnectionResetError)):
        trickle()


def test_many_requests_on_one_connection_are_all_answered(sender: socket.socket) -> None:
    sender.sendall((HEAD + b"\r\n") * 3000)
    assert answered(sender).count(b"HTTP/1.1 204 ") == 3000


@pytest.mark.parametrize("more", [b"", b"Connection: close\r\n"], ids=["open", "to be closed"])
def test_whoever_does_not_take_the_answer_is_let_go(sender: socket.socket, more: bytes) -> None:
    sender.sendall(b"GET /large HTTP/1.1\r\nHost: 127.0.0.1\r\n" + more + b"\r\n")
    time.sleep(3 * WAITED_S)
    assert len(answered(sender)) < LARGE_BYTES  # what was on its way, then its end


# --- without a real connection, and without its time


class Other:
    """The other side, which takes so many bytes a second of those that are left."""

    def __init__(self, left_bytes: int = 0, *, pace_s: float = 0.0) -> None:
        self.left_bytes, self.pace_s = left_bytes, pace_s
        self.closed = self.aborted = False

    def get_extra_info(self, _name: str) -> None:
        return None

    def get_write_buffer_size(self) -> int:
        return max(int(self.left_bytes - self.pace_s * asyncio.get_running_loop().time()), 0)

    def is_closing(self) -> bool:
        return self.closed or self.aborted

    def write(self, _part: bytes) -> None:
        pass

    def close(self) -> None:
        self.closed = True

    def abort(self) -> None:
        self.aborted = True


def connected(other: Other) -> Connection:
    config = uvicorn.Config(app, log_level="critical", lifespan="off")
    config.load()
    connection = Connection(config, ServerState(), {})
    connection.connection_made(cast("asyncio.Transport", other))
    return connection


def test_a_body_may_take_longer_and_be_larger_than_a_head() -> None:
    async def closed() -> bool:
        other = Other()
        connection = connected(other)
        connection.data_received(HEAD + b"Content-Length: 1000000\r\n\r\n")
        for _ in range(10):
            connection.data_received(bytes(20_000))
            await asyncio.sleep(50.0)
        return other.closed

    assert not run_skipping(closed())


@pytest.mark.parametrize(("pace_s", "whole"), [(2000.0, True), (600.0, True), (400.0, False)])
def test_whoever_takes_the_answer_slowly_gets_it_whole(pace_s: float, whole: bool) -> None:
    async def takes() -> bool:
        other = Other(5_000_000, pace_s=pace_s)
        connection = connected(other)
        connection.pause_writing()
        while other.get_write_buffer_size() > 16_384 and not other.aborted:
            await asyncio.sleep(1.0)
        connection.resume_writing()
        await asyncio.sleep(1000.0)
        return not other.aborted

    assert run_skipping(takes()) == whole
