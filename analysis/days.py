"""Local civil days: the cut, and the table of what each day showed.

The analysis works in two stages. Stage one looks at the samples of whole local days and writes a
row of numbers per day and a list of happenings (`DayTable`); a day's row depends on that day's
samples and its neighbours' alone. Stage two (`analysis.assess`) draws conclusions from the table.
So a new upload costs only the days it touches, and the stored table gives the same answer as one
pass over everything.
"""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cached_property, lru_cache
from types import MappingProxyType
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from analysis.record import Bools, Floats, Ints
from analysis.units import SECONDS_PER_HOUR

# Rows this far apart stand for days, the shortest and the longest with an hour of summer time.
_DAY_STEPS_S = (20.0 * SECONDS_PER_HOUR, 28.0 * SECONDS_PER_HOUR)
# So few rows may stand nearer; so many follow the day before, where days are missing (judgement).
_ODD_FRAC, _NEIGHBOURS_FRAC = 0.05, 0.3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LocalDays:
    """Local civil days one after another.

    `edge_s` has one entry more than there are days: the local midnights in UTC epoch seconds.
    """

    dates: tuple[str, ...]
    edge_s: Ints

    def __len__(self) -> int:
        return len(self.dates)

    @property
    def length_s(self) -> Floats:
        """How long each day is: 23, 24 or 25 hours mostly [s]."""
        return np.diff(self.edge_s).astype(np.float64)

    def among(self, dates: AbstractSet[str]) -> Bools:
        """Tell which of the days are among some; shape (n,)."""
        return np.fromiter(map(dates.__contains__, self.dates), np.bool_, len(self))


# The same days are asked for again and again; this holds some forty years of them.
@lru_cache(maxsize=16_384)
def local_midnight_s(day: date, timezone: str) -> int:
    """Give the first instant of a local civil day as UTC epoch seconds."""
    zone = ZoneInfo(timezone)
    return int(datetime(day.year, day.month, day.day, tzinfo=zone).timestamp())


def local_noon_s(day: date, timezone: str) -> int:
    """Give the noon of a local civil day by its clock as UTC epoch seconds."""
    zone = ZoneInfo(timezone)
    return int(datetime(day.year, day.month, day.day, 12, tzinfo=zone).timestamp())


def local_date(time_s: int, timezone: str) -> date:
    """Give the local civil day that an instant falls in."""
    return datetime.fromtimestamp(time_s, UTC).astimezone(ZoneInfo(timezone)).date()


def local_days(*, first: date, last: date, timezone: str) -> LocalDays:
    """Give the local days from `first` to `last`, both included."""
    count = (last - first).days + 1
    days = [first + timedelta(days=number) for number in range(count + 1)]
    edges = np.array([local_midnight_s(day, timezone) for day in days], dtype=np.int64)
    # A zone that crosses the date line leaves out a day of the calendar.
    lived = np.append(np.diff(edges) > 0, True)
    dates = tuple(day.isoformat() for day, held in zip(days[:-1], lived, strict=False) if held)
    return LocalDays(dates=dates, edge_s=edges[lived])


def days_of_span(*, start_s: int, end_s: int, timezone: str) -> LocalDays:
    """Give the local days that `[start_s, end_s)` touches."""
    return local_days(
        first=local_date(start_s, timezone),
        last=local_date(max(end_s - 1, start_s), timezone),
        timezone=timezone,
    )


def calendar_spans(dates: Sequence[str], characters: int) -> list[tuple[str, int, int]]:
    """Give the months or years that dates fall in: its name, its first date and the one after.

    Parameters
    ----------
    dates : rising, as 2025-06-01
    characters : 7 for months, 4 for years
    """
    found = []
    first = 0
    while first < len(dates):
        name = dates[first][:characters]
        after = bisect_left(dates, f"{name}~", first)  # what begins so comes before it
        found.append((name, first, after))
        first = after
    return found


def one_row_a_day(stamp_s: Ints) -> bool:
    """Tell whether stamps are those of a log with one row for each day.

    Parameters
    ----------
    stamp_s : ndarray of int64, shape (n,)
        Stamps, sorted [s].
    """
    steps_s = np.diff(stamp_s)
    steps_s = steps_s[steps_s > 0]
    if not steps_s.size:
        return False
    shortest_s, longest_s = _DAY_STEPS_S
    within = float((steps_s < shortest_s).mean())
    neighbours = float(((steps_s >= shortest_s) & (steps_s <= longest_s)).mean())
    return within <= _ODD_FRAC and neighbours >= _NEIGHBOURS_FRAC


class Happening(NamedTuple):
    """Something that one kind's examination saw within one local day.

    `values` holds named numbers; `channel` where it is about one sensor. A year has a thousand,
    and a named tuple is made in a third of the time.
    """

    kind: str
    date: str
    start_s: int
    end_s: int
    values: Mapping[str, float]
    channel: str | None = None


class _Happenings(tuple[Happening, ...]):
    """Happenings of a table; every kind asks for its own, and tables hand them on."""

    @cached_property
    def by_kind(self) -> dict[str, tuple[Happening, ...]]:
        """The happenings of each kind, in the same order."""
        found: dict[str, list[Happening]] = {}
        for item in self:
            found.setdefault(item.kind, []).append(item)
        return {kind: tuple(items) for kind, items in found.items()}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DayTable:
    """What each local day showed.

    Attributes
    ----------
    days : the local days, rising, without holes
    columns : name to one number per day, shape (n,); NaN where the day does not tell
    happenings : in order of start
    """

    days: LocalDays
    columns: Mapping[str, Floats]
    happenings: tuple[Happening, ...]

    def __post_init__(self) -> None:
        # Another table's, as `replace` hands them on, are as they shall be.
        if not isinstance(self.columns, MappingProxyType):
            for values in self.columns.values():
                values.setflags(write=False)
            object.__setattr__(self, "columns", MappingProxyType(dict(self.columns)))
        if not isinstance(self.happenings, _Happenings):
            object.__setattr__(self, "happenings", _Happenings(self.happenings))

    def column(self, name: str) -> Floats:
        """Give a column, all NaN where no day has it."""
        found = self.columns.get(name)
        return found if found is not None else np.full(len(self.days), np.nan)

    def of_kind(self, kind: str) -> tuple[Happening, ...]:
        """Give the happenings of one kind."""
        assert isinstance(self.happenings, _Happenings)
        return self.happenings.by_kind.get(kind, ())


def joined(tables: Sequence[DayTable], *, timezone: str) -> DayTable:
    """Put tables of separate days together; days that no table has are NaN rows.

    A later table wins where two hold the same day.
    """
    if len(tables) == 1:
        return tables[0]
    of_table = {day: number for number, table in enumerate(tables) for day in table.days.dates}
    first, last = min(of_table), max(of_table)
    days = local_days(
        first=date.fromisoformat(first), last=date.fromisoformat(last), timezone=timezone
    )
    names = sorted({name for table in tables for name in table.columns})
    place = {day: position for position, day in enumerate(days.dates)}
    columns = dict(zip(names, np.full((len(names), len(days)), np.nan), strict=True))
    for number, table in enumerate(tables):
        dates = table.days.dates
        own = np.array([row for row, day in enumerate(dates) if of_table[day] == number], np.intp)
        at = np.array([place[dates[row]] for row in own.tolist()], np.intp)
        for name, values in table.columns.items():
            columns[name][at] = values[own]
    happenings = [
        item
        for number, table in enumerate(tables)
        for item in table.happenings
        if of_table[item.date] == number
    ]
    happenings.sort(key=lambda item: (item.start_s, item.kind))
    return DayTable(days=days, columns=columns, happenings=tuple(happenings))


def span_s(table: DayTable) -> tuple[int, int] | None:
    """Give the first and the last instant of which the table knows anything, if there are [s]."""
    first, last = table.column("first_s"), table.column("last_s")
    if not np.isfinite(first).any():
        return None
    return int(np.nanmin(first)), round(float(np.nanmax(last)))


def part_of(table: DayTable, *, first: int, last: int) -> DayTable:
    """Give days `first` to `last` (excluded) of a table."""
    if (first, last) == (0, len(table.days)):
        return table
    kept = frozenset(table.days.dates[first:last])
    return DayTable(
        days=LocalDays(
            dates=table.days.dates[first:last], edge_s=table.days.edge_s[first : last + 1]
        ),
        columns={name: values[first:last] for name, values in table.columns.items()},
        happenings=tuple(item for item in table.happenings if item.date in kept),
    )
