"""The present moment, as something that is handed over."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Protocol


class Clock(Protocol):
    """Tells the present moment."""

    def now(self) -> datetime:
        """Give the present moment, aware, UTC."""


class SystemClock:
    """The machine's clock."""

    def now(self) -> datetime:
        """Give the present moment, aware, UTC."""
        return datetime.now(UTC)


class FixedClock:
    """A clock that stands until it is moved; for tests and for invented scenarios."""

    def __init__(self, moment: datetime) -> None:
        if moment.tzinfo is None:
            raise ValueError("a clock needs an aware moment")
        self.moment = moment.astimezone(UTC)

    def now(self) -> datetime:
        """Give the moment it stands at."""
        return self.moment

    def move(self, **parts: float) -> None:
        """Move on by a `timedelta` of these parts."""
        self.moment += timedelta(**parts)


_SET_S = 60.0
_STEADY_S = 3000.0


class Steadiness:
    """Tells whether the clock has gone straight for a while, held against one that nobody sets.

    A small machine without a clock of its own starts somewhere and is put right later; what is
    deleted by age waits until that has settled.
    """

    def __init__(self, monotonic: Callable[[], float]) -> None:
        self._monotonic = monotonic
        self._since_s = monotonic()
        self._offset_s: float | None = None

    def seen(self, now: datetime) -> bool:
        """Take note of a moment; True where nothing has set the clock for fifty minutes."""
        tick_s = self._monotonic()
        offset_s = now.timestamp() - tick_s
        if self._offset_s is None or abs(offset_s - self._offset_s) > _SET_S:
            self._offset_s, self._since_s = offset_s, tick_s
        return tick_s - self._since_s >= _STEADY_S
