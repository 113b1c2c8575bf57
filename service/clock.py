"""The present moment, as something that is handed over."""

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
