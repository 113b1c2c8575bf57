"""From where somebody comes, by what a proxy says and whoever else might say it."""

import asyncio
from pathlib import Path

import pytest
from pydantic import ValidationError

from service.asgi import Receive, Scope, Send
from service.serve import server_config
from service.settings import Settings

BEHIND = {"base_url": "https://sun.example"}


def comes_from(peer: str, said: str, **given: str) -> str:
    """Give the address that the service sees of a request."""
    seen: list[str] = []

    async def app(scope: Scope, _receive: Receive, _send: Send) -> None:
        seen.append(scope["client"][0])

    config = server_config(app, Settings(data_dir=Path("unused"), **given))
    config.load()
    headers = [(b"x-forwarded-for", said.encode())]
    scope = {"type": "http", "client": (peer, 1), "headers": headers, "scheme": "http"}
    asyncio.run(config.loaded_app(scope, None, None))
    return seen[0]


@pytest.mark.parametrize("peer", ["127.0.0.1", "::1"])
def test_a_proxy_on_this_machine_is_believed(peer: str) -> None:
    assert comes_from(peer, "203.0.113.7", **BEHIND) == "203.0.113.7"


def test_a_proxy_elsewhere_is_believed_once_it_is_named() -> None:
    named = {**BEHIND, "proxy_addresses": "10.1.2.3, 172.16.0.0/12"}
    for proxy in ("10.1.2.3", "172.18.0.1"):
        assert comes_from(proxy, "203.0.113.7", **BEHIND) == proxy
        assert comes_from(proxy, "203.0.113.7", **named) == "203.0.113.7"
        # What somebody told the proxy stands before what it saw itself.
        assert comes_from(proxy, "198.51.100.1, 203.0.113.7", **named) == "203.0.113.7"


def test_nobody_else_says_from_where_they_come() -> None:
    assert comes_from("203.0.113.9", "127.0.0.1", **BEHIND) == "203.0.113.9"
    assert comes_from("127.0.0.1", "203.0.113.7") == "127.0.0.1"  # there is no proxy


@pytest.mark.parametrize("wrong", ["proxy.example", "172.16.0.1/12", "", "10.0.0.1,", "*"])
def test_what_is_no_address_is_refused(wrong: str) -> None:
    with pytest.raises(ValidationError, match="neither an address nor a network"):
        Settings(data_dir=Path("unused"), proxy_addresses=wrong)
