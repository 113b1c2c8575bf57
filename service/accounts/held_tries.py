"""Passwords and codes that were turned away unheard, counted here until they are put on record.

A flood of them costs memory that is bounded, and one transaction a minute.
"""

import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime

# So many are told apart between two times of noting, the rest is one together.
_MOST = 200
_LONGEST_LOGIN = 200


@dataclass(frozen=True, slots=True)
class From:
    """Under which name somebody tried, and from which address; None where many are together."""

    login: str
    address: str | None


_OTHERS = From("", None)


@dataclass(frozen=True, slots=True)
class Held:
    """How often, and when first."""

    count: int
    since: datetime


class HeldTries:
    """Those that were not noted yet; in this process's memory."""

    def __init__(self) -> None:
        self._held: dict[From, Held] = {}
        self._lock = threading.Lock()

    def add(self, *, login: str, address: str, now: datetime) -> None:
        """Count one that was turned away."""
        # What no account can be called is not held: it may be long, or not storable.
        possible = len(login) <= _LONGEST_LOGIN and login.isprintable()
        self._put({From(login if possible else "", address): Held(1, now)})

    @contextmanager
    def taken(self) -> Iterator[Mapping[From, Held]]:
        """Give what was counted, and count from nought; where noting it fails, it is put back."""
        with self._lock:
            taken, self._held = self._held, {}
        try:
            yield taken
        except BaseException:
            self._put(taken)
            raise

    def _put(self, some: Mapping[From, Held]) -> None:
        with self._lock:
            for who, more in some.items():
                full = len(self._held) >= _MOST and who not in self._held
                key = _OTHERS if full else who
                known = self._held.get(key, Held(0, more.since))
                since = min(known.since, more.since)
                self._held[key] = Held(known.count + more.count, since)
