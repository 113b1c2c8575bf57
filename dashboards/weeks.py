"""ISO weeks, as the digest counts them: Monday to Sunday, week 1 holds the first Thursday."""

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from dashboards.format import day


@dataclass(frozen=True, slots=True, kw_only=True)
class Days:
    """A run of local days, both ends included."""

    first: date
    last: date

    @property
    def words(self) -> str:
        """As people write it: `22 to 28 June 2026`."""
        first, last = self.first, self.last
        if first.year != last.year:
            return f"{day(first)} to {day(last)}"
        if first.month != last.month:
            return f"{day(first, year=False)} to {day(last)}"
        return f"{first.day} to {day(last)}"

    def span_s(self, timezone: str) -> tuple[int, int]:
        """Give its first instant and the one after its last in a zone, UTC epoch seconds."""
        zone = ZoneInfo(timezone)
        first, after = (
            datetime(one.year, one.month, one.day, tzinfo=zone)
            for one in (self.first, self.last + timedelta(days=1))
        )
        return int(first.timestamp()), int(after.timestamp())


def seven_days_before(when: date) -> Days:
    """Give the seven whole days before a day."""
    return Days(first=when - timedelta(days=7), last=when - timedelta(days=1))


@dataclass(frozen=True, slots=True, order=True)
class Week:
    """A week of the ISO 8601 calendar; `str()` writes it as `2026-W26`."""

    year: int
    number: int

    def __post_init__(self) -> None:
        try:
            date.fromisocalendar(self.year, self.number, 1)
        except ValueError:
            raise ValueError(f"there is no week {self.number} in {self.year}") from None

    def __str__(self) -> str:
        return f"{self.year:04d}-W{self.number:02d}"

    @property
    def monday(self) -> date:
        """Its first day."""
        return date.fromisocalendar(self.year, self.number, 1)

    @property
    def sunday(self) -> date:
        """Its last day."""
        return date.fromisocalendar(self.year, self.number, 7)

    @property
    def days(self) -> "Days":
        """Its days."""
        return Days(first=self.monday, last=self.sunday)


def week_of(when: date) -> Week:
    """Give the week that holds a day."""
    year, number, _ = when.isocalendar()
    return Week(year, number)


def week_before(when: date) -> Week:
    """Give the last whole week before a day's own."""
    return week_of(when - timedelta(days=7))


def parse_week(text: str) -> Week:
    """Read `2026-W26`.

    Raises
    ------
    ValueError : not written like that, or no such week
    """
    found = re.fullmatch(r"(\d{4})-?W(\d{1,2})", text.strip().upper())
    if found is None:
        raise ValueError(f"'{text}' is no week; write it as 2026-W26")
    return Week(int(found[1]), int(found[2]))
