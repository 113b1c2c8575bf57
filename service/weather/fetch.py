"""Asking a web address for weather, with bounds on where, how long and how much.

The host's name is looked up once, each of its addresses is checked, and the connection goes to a
checked one: a name that points elsewhere a moment later gains nothing. Redirects are not followed.
"""

import http.client
import ipaddress
import socket
import ssl
import threading
from collections.abc import Callable
from contextlib import suppress
from urllib.parse import urlsplit

from service.weather.address import is_public

TIMEOUT_S = 20.0
DEADLINE_S = 90.0
_CHUNK = 64 * 1024

Resolve = Callable[[str, int], list[str]]


class FetchError(Exception):
    """Nothing usable came; the text says why in plain words, without the address's query."""


def resolved(host: str, port: int) -> list[str]:
    """Look a host's addresses up."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return [str(one[4][0]) for one in found]


class _Pinned(http.client.HTTPConnection):
    """A connection to a checked address, whatever the name leads to by now."""

    def __init__(self, host: str, port: int, *, address: str, timeout_s: float) -> None:
        super().__init__(host, port, timeout=timeout_s)
        self._address = address

    def connect(self) -> None:
        self.sock = socket.create_connection((self._address, self.port), self.timeout)


class _PinnedTls(_Pinned):
    """The same, encrypted; the certificate must be that of the name."""

    default_port = http.client.HTTPS_PORT

    def connect(self) -> None:
        super().connect()
        self.sock = ssl.create_default_context().wrap_socket(self.sock, server_hostname=self.host)


def fetch(
    url: str,
    *,
    limit_bytes: int,
    allow_private: bool,
    timeout_s: float = TIMEOUT_S,
    deadline_s: float = DEADLINE_S,
    resolve: Resolve = resolved,
) -> bytes:
    """Get the body of an address.

    Parameters
    ----------
    url : http or https, filled in
    limit_bytes : the most that is taken
    allow_private : whether addresses of the own machine or network may be asked
    timeout_s : for connecting and each wait [s]
    deadline_s : for all of it [s]
    resolve : gives the addresses of a host

    Raises
    ------
    FetchError
    """
    parts = urlsplit(url)
    host = parts.hostname or ""
    port = parts.port or (443 if parts.scheme == "https" else 80)
    address = _checked_address(host, port, allow_private=allow_private, resolve=resolve)
    kind = _PinnedTls if parts.scheme == "https" else _Pinned
    connection = kind(host, port, address=address, timeout_s=timeout_s)
    late = threading.Event()
    watch = threading.Timer(deadline_s, _cut, (connection, late))
    watch.daemon = True
    watch.start()
    try:
        path = f"{parts.path or '/'}{f'?{parts.query}' if parts.query else ''}"
        headers = {"Accept-Encoding": "identity", "Connection": "close", "User-Agent": "Suntally"}
        connection.request("GET", path, headers=headers)
        return _body(connection.getresponse(), host, limit_bytes=limit_bytes)
    except (OSError, http.client.HTTPException, ValueError) as error:
        raise FetchError(_why(host, error, late=late.is_set())) from None
    finally:
        watch.cancel()
        connection.close()


def _checked_address(host: str, port: int, *, allow_private: bool, resolve: Resolve) -> str:
    try:
        found = resolve(host, port)
    except (OSError, UnicodeError):
        raise FetchError(f"the host {host} is not known; check the address") from None
    if not found:
        raise FetchError(f"the host {host} is not known; check the address")
    inward = [one for one in found if not is_public(ipaddress.ip_address(one.partition("%")[0]))]
    if inward and not allow_private:
        raise FetchError(
            f"the host {host} leads into the server's own network, which is not asked; the "
            "server's operator can allow that with SUNTALLY_WEATHER_PRIVATE_HOSTS"
        )
    return found[0]


def _cut(connection: http.client.HTTPConnection, late: threading.Event) -> None:
    late.set()
    if connection.sock is not None:
        with suppress(OSError):
            connection.sock.shutdown(socket.SHUT_RDWR)


def _body(answer: http.client.HTTPResponse, host: str, *, limit_bytes: int) -> bytes:
    if 300 <= answer.status < 400:
        target = urlsplit(answer.headers.get("Location", "")).hostname or host
        raise FetchError(
            f"the host {host} sends on to another address at {target}, which is not followed; set "
            "that address instead"
        )
    if answer.status != 200:
        reason = http.client.responses.get(answer.status, "no known answer")
        raise FetchError(f"the host {host} answered {answer.status} ({reason})")
    parts, size = [], 0
    while chunk := answer.read(_CHUNK):
        size += len(chunk)
        if size > limit_bytes:
            raise FetchError(
                f"the host {host} answered more than {limit_bytes // 1024**2} MiB, which cannot be "
                "a year of hours"
            )
        parts.append(chunk)
    return b"".join(parts)


def _why(host: str, error: Exception, *, late: bool) -> str:
    if late or isinstance(error, TimeoutError):
        return f"the host {host} did not answer in time"
    if isinstance(error, ssl.SSLError):
        return f"the host {host} has no certificate that can be trusted ({error.reason})"
    if isinstance(error, ConnectionRefusedError):
        return f"the host {host} does not take connections"
    if isinstance(error, http.client.IncompleteRead):
        return f"the answer of the host {host} ended too early"
    return f"the host {host} could not be asked ({type(error).__name__})"
