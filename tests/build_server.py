"""A server on a real connection, for what is said in bytes."""

import asyncio
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import uvicorn

from service.asgi import App


@contextmanager
def served(app: App, *, http: type[asyncio.Protocol] | None = None) -> Iterator[tuple[str, int]]:
    """Serve an application while it lasts; gives host and port."""
    config = uvicorn.Config(app, http=http or "auto", log_level="critical", lifespan="off")
    server = uvicorn.Server(config)
    with socket.create_server(("127.0.0.1", 0)) as listener:
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
        thread.start()
        try:
            yield listener.getsockname()
        finally:
            server.should_exit = True
            thread.join()


def answered(sender: socket.socket) -> bytes:
    """Read until the other side closes; fails where it does not within the socket's patience."""
    said = b""
    with suppress(ConnectionResetError):  # it closed while we sent
        while part := sender.recv(65536):
            said += part
    return said
