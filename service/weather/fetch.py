"""Asking a web address for weather."""

import http.client
from urllib.parse import urlsplit

from service.outward import OutwardError, Resolve, exchange, resolved

TIMEOUT_S = 20.0
DEADLINE_S = 90.0


class FetchError(Exception):
    """Nothing usable came; the text says why in plain words, without the address's query."""


def fetch(
    url: str,
    *,
    limit_bytes: int,
    allow_private: bool,
    timeout_s: float = TIMEOUT_S,
    deadline_s: float = DEADLINE_S,
    resolve: Resolve = resolved,
) -> bytes:
    """Get the body of an address (see `service.outward.exchange`).

    Raises
    ------
    FetchError
    """
    try:
        answer = exchange(
            url,
            method="GET",
            headers={},
            limit_bytes=limit_bytes,
            allow_private=allow_private,
            allowed_by="SUNTALLY_WEATHER_PRIVATE_HOSTS",
            timeout_s=timeout_s,
            deadline_s=deadline_s,
            resolve=resolve,
        )
    except OutwardError as error:
        raise FetchError(str(error)) from None
    host = urlsplit(url).hostname or ""
    if 300 <= answer.status < 400:
        target = urlsplit(answer.headers.get("location", "")).hostname or host
        raise FetchError(
            f"the host {host} sends on to another address at {target}, which is not followed; set "
            "that address instead"
        )
    if answer.status != 200:
        reason = http.client.responses.get(answer.status, "no known answer")
        raise FetchError(f"the host {host} answered {answer.status} ({reason})")
    if answer.more:
        raise FetchError(
            f"the host {host} answered more than {limit_bytes // 1024**2} MiB, which cannot be "
            "a year of hours"
        )
    return answer.body
