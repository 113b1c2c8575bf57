"""Days that take no rows any more, since they are rolled up or removed, met while storing."""

from collections.abc import Mapping
from datetime import date

from sqlalchemy.orm import Session

from analysis.blocks import Block
from analysis.days import local_date
from service.ingest.blocks import Change
from service.retention import queries

# Rows are kept as they came for a year at least (`Settings.keep_full_years`). A gateway's batch,
# which is of today, is not to cost a query.
_NEVER_ROLLED_DAYS = 360


def take_closed(db: Session, *, site_id: int, parts: dict[date, Block], today: date) -> int:
    """Leave out what lies on closed days; tells how many rows."""
    old = [day for day in parts if (today - day).days > _NEVER_ROLLED_DAYS]
    closed = queries.closed_days(db, site_id=site_id, days=old) if old else set()
    return sum(len(parts.pop(day)) for day in closed)


def free_neighbours(
    db: Session, *, site_id: int, timezone: str, changes: Mapping[date, Change], today: date
) -> None:
    """Have local days that border on closed ones looked at again, since they got rows."""
    days: set[date] = set()
    for day, one in changes.items():
        if one.touched_s.shape[0] and (today - day).days > _NEVER_ROLLED_DAYS:
            ends = (int(one.touched_s[0]), int(one.touched_s[-1]))
            days |= {local_date(end, timezone) for end in ends}
    if days:
        queries.free_rows(db, site_id=site_id, days=days)
