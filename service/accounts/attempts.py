"""How often somebody may try to sign in; in this process's memory."""

import threading
from collections import deque
from collections.abc import Sequence
from datetime import datetime, timedelta

from service.errors import TooManyError

_TRIES = 5
_WITHIN = timedelta(minutes=1)


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
