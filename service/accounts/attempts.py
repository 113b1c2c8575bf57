"""How often somebody may try to sign in; in this process's memory."""

import ipaddress
import threading
from collections import deque
from collections.abc import Sequence
from datetime import datetime, timedelta

from service.errors import TooManyError

_TRIES = 5
_WITHIN = timedelta(minutes=1)


def whose(address: str) -> str:
    """Give what one household or server has of the network: of IPv6, all that share 64 bits.

    It may come from any of these addresses each time (RFC 4291, 2.5.4).
    """
    try:
        known = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(known, ipaddress.IPv4Address):
        return address
    if known.ipv4_mapped is not None:
        return str(known.ipv4_mapped)
    return str(ipaddress.ip_network((int(known), 64), strict=False))


class Attempts:
    """Sign-ins of the last minute that did not succeed.

    They are counted by address and by account: neither one address trying many accounts nor many
    addresses trying one account come far.
    """

    def __init__(self) -> None:
        self._failed: dict[str, deque[datetime]] = {}
        self._lock = threading.Lock()

    def begin(self, who: Sequence[str], now: datetime) -> None:
        """Count an attempt before it is looked at, so that many at once do not slip through.

        Raises
        ------
        TooManyError : one of those who try failed too often
        """
        with self._lock:
            for known in [one for one, at in self._failed.items() if now - at[-1] > _WITHIN]:
                del self._failed[known]
            if any(self._too_often(one, now) for one in who):
                raise TooManyError("Too many wrong passwords; wait a minute and try again.")
            for one in who:
                self._failed.setdefault(one, deque(maxlen=_TRIES)).append(now)

    def succeeded(self, who: Sequence[str]) -> None:
        """Forget what they did wrong before."""
        with self._lock:
            for one in who:
                self._failed.pop(one, None)

    def _too_often(self, one: str, now: datetime) -> bool:
        times = self._failed.get(one)
        return times is not None and len(times) == _TRIES and now - times[0] < _WITHIN
