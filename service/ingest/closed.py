"""Days that take no rows any more, since they are rolled up or removed, met while storing."""

from collections.abc import Mapping
from datetime import date, timedelta

from sqlalchemy.orm import Session

from analysis.blocks import Block, utc_day
from analysis.day_rows import numbers_of
from analysis.days import local_date, local_midnight_s
from analysis.units import SECONDS_PER_DAY
from service.ingest.blocks import Change
from service.retention import queries

_DAY_S = int(SECONDS_PER_DAY)
# Why a file that reaches into them is not undone.
NOT_UNDONE = (
    "Some days of this file are kept as five-minute means only, or were removed for their age, so "
    "its rows cannot be told from the others any more."
)


def take_closed(db: Session, *, site_id: int, parts: dict[date, Block], until: date | None) -> int:
    """Leave out what lies on closed days, the last of which is `until`; tells how many rows."""
    old = [day for day in parts if until is not None and day <= until]
    closed = queries.closed_days(db, site_id=site_id, days=old) if old else set()
    return sum(len(parts.pop(day)) for day in closed)


def left_out_words(rows: int) -> str:
    """Say that some rows are of days that are not kept as they came any more."""
    left = "1 row was" if rows == 1 else f"{rows:,} rows were"
    return (
        f"{left} left out: of their days only five-minute means are kept, or nothing, as the "
        "operator has set"
    )


def free_neighbours(
    db: Session, *, site_id: int, timezone: str, changes: Mapping[date, Change], until: date | None
) -> None:
    """Have local days that border on closed ones looked at again, since they got rows.

    The last closed day is `until`. A local day whose figures rest on more than is left
    of its rows stands: far from Greenwich most of its sun may lie on a UTC day that was removed.
    """
    if until is None:
        return
    days: set[date] = set()
    for day, one in changes.items():
        # A local day touches two UTC days.
        if one.touched_s.shape[0] and day <= until + timedelta(days=1):
            ends = (int(one.touched_s[0]), int(one.touched_s[-1]))
            days |= {local_date(end, timezone) for end in ends}
    if days:
        stand = _resting_on_more(db, site_id=site_id, timezone=timezone, days=days)
        queries.free_rows(db, site_id=site_id, days=days - stand)


def _resting_on_more(db: Session, *, site_id: int, timezone: str, days: set[date]) -> set[date]:
    """Give local days whose figures saw more hours than lie on UTC days that were not removed."""
    hours = {day: _seconds_by_utc_day(day, timezone) for day in days}
    touched = {one for own in hours.values() for one in own}
    gone = queries.gone_days(db, site_id=site_id, days=touched)
    partly = [day for day, own in hours.items() if own.keys() & gone]
    rows = queries.held_rows(db, site_id=site_id, days=partly)
    return {
        day
        for day in partly
        if day not in rows  # it cannot be read: who knows
        or numbers_of(rows[day]).get("logged_s", 0.0)
        > sum(seconds for one, seconds in hours[day].items() if one not in gone)
    }


def _seconds_by_utc_day(day: date, timezone: str) -> dict[date, int]:
    """Give how many seconds of a local day lie on each UTC day."""
    start_s = local_midnight_s(day, timezone)
    end_s = local_midnight_s(day + timedelta(days=1), timezone)
    edges = [start_s, *range(start_s // _DAY_S * _DAY_S + _DAY_S, end_s, _DAY_S), end_s]
    return {utc_day(edges[n]): edges[n + 1] - edges[n] for n in range(len(edges) - 1)}
