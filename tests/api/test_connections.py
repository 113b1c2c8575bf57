"""Heads of requests on real connections: none without end, none that is waited for for ever."""

import socket
import time
from collections.abc import Iterator

import pytest

from service.asgi import Receive, Scope, Send
from service.connections import Connection
from tests.build_server import answered, served

HEAD = b"POST / HTTP/1.1\r\nHost: 127.0.0.1\r\n"
WAITED_S = 0.4


class Hasty(Connection):
    """One that waits for heads less long."""

    head_within_s = WAITED_S


async def app(_scope: Scope, receive: Receive, send: Send) -> None:
    while (await receive()).get("more_body"):
        pass
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


def test_a_large_body_that_takes_longer_is_no_head(sender: socket.socket) -> None:
    part = b"a" * 100_000
    for _ in range(2):
        sender.sendall(HEAD + b"Content-Length: 1000000\r\n\r\n")
        for _ in range(10):
            time.sleep(WAITED_S / 5)
            sender.sendall(part)
        assert sender.recv(1000).startswith(b"HTTP/1.1 204 ")


def test_many_requests_on_one_connection_are_all_answered(sender: socket.socket) -> None:
    sender.sendall((HEAD + b"\r\n") * 3000)
    assert answered(sender).count(b"HTTP/1.1 204 ") == 3000
