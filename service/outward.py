"""Asking addresses that people entered, with bounds on where, how long and how much.

The host's name is looked up once, each of its addresses is checked, and the connection goes to a
checked one: a name that points elsewhere a moment later gains nothing. Redirects are not followed.
"""

import http.client
import ipaddress
import re
import socket
import ssl
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from urllib.parse import urlsplit

_CHUNK = 64 * 1024
_NAT64 = ipaddress.ip_network("64:ff9b::/96")
_OWN_NAMES = re.compile(r"(^|\.)(localhost|local|localdomain|internal|home\.arpa)$", re.IGNORECASE)

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Resolve = Callable[[str, int], list[str]]


class OutwardError(Exception):
    """No answer came; the text says why in plain words, without the address's query."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What came back.

    Attributes
    ----------
    body : at most as much as was to be taken
    more : whether there was more
    """

    status: int
    headers: Mapping[str, str]
    body: bytes
    more: bool


def is_own(host: str) -> bool:
    """Tell whether a host, by its name or as an address, is plainly in the own network."""
    if _OWN_NAMES.search(host):
        return True
    try:
        return not is_public(ipaddress.ip_address(host))
    except ValueError:
        return False


def is_public(address: Address) -> bool:
    """Tell whether an address is out on the internet, whatever it is wrapped in."""
    if isinstance(address, ipaddress.IPv6Address):
        if address.teredo is not None or address.sixtofour is not None:
            return False
        if address.ipv4_mapped is not None:
            return is_public(address.ipv4_mapped)
        if address in _NAT64:
            return is_public(ipaddress.IPv4Address(int(address) & 0xFFFFFFFF))
    return address.is_global and not address.is_multicast


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


def exchange(
    url: str,
    *,
    method: str,
    headers: Mapping[str, str],
    body: bytes | None = None,
    limit_bytes: int,
    allow_private: bool,
    allowed_by: str,
    timeout_s: float,
    deadline_s: float,
    resolve: Resolve = resolved,
) -> Answer:
    """Send one request and take its answer, whatever its status.

    Parameters
    ----------
    url : http or https
    limit_bytes : the most that is taken of the answer
    allow_private : whether addresses of the own machine or network may be asked
    allowed_by : the setting that allows it, for the words of a refusal
    timeout_s : for connecting and each wait [s]
    deadline_s : for all of it [s]
    resolve : gives the addresses of a host

    Raises
    ------
    OutwardError
    """
    parts = urlsplit(url)
    host = parts.hostname or ""
    port = parts.port or (443 if parts.scheme == "https" else 80)
    addresses = _addresses(host, port, resolve=resolve)
    if not allow_private and not all(is_public(one) for one in addresses):
        raise OutwardError(
            f"the host {host} leads into the server's own network, which is not asked; the "
            f"server's operator can allow that with {allowed_by}"
        )
    kind = _PinnedTls if parts.scheme == "https" else _Pinned
    connection = kind(host, port, address=str(addresses[0]), timeout_s=timeout_s)
    late = threading.Event()
    watch = threading.Timer(deadline_s, _cut, (connection, late))
    watch.daemon = True
    watch.start()
    try:
        path = f"{parts.path or '/'}{f'?{parts.query}' if parts.query else ''}"
        usual = {"Accept-Encoding": "identity", "Connection": "close", "User-Agent": "Suntally"}
        connection.request(method, path, body=body, headers={**usual, **headers})
        return _answer(connection.getresponse(), limit_bytes=limit_bytes)
    except (OSError, http.client.HTTPException, ValueError) as error:
        raise OutwardError(_why(host, error, late=late.is_set())) from None
    finally:
        watch.cancel()
        connection.close()


def _addresses(host: str, port: int, *, resolve: Resolve) -> list[Address]:
    try:
        found = resolve(host, port)
    except (OSError, UnicodeError):
        found = []
    if not found:
        raise OutwardError(f"the host {host} is not known; check the address")
    return [ipaddress.ip_address(one.partition("%")[0]) for one in found]


def _cut(connection: http.client.HTTPConnection, late: threading.Event) -> None:
    late.set()
    if connection.sock is not None:
        with suppress(OSError):
            connection.sock.shutdown(socket.SHUT_RDWR)


def _answer(answer: http.client.HTTPResponse, *, limit_bytes: int) -> Answer:
    parts, size = [], 0
    while size <= limit_bytes and (chunk := answer.read(_CHUNK)):
        size += len(chunk)
        parts.append(chunk)
    body = b"".join(parts)
    return Answer(
        status=answer.status,
        headers={name.lower(): value for name, value in answer.getheaders()},
        body=body[:limit_bytes],
        more=len(body) > limit_bytes,
    )


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
