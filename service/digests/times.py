"""When mail may reach somebody: Monday mornings and quiet hours, by the reader's own clock."""

import logging
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from dashboards.weeks import Week, week_before, week_of

LOG = logging.getLogger("suntally.mail")

MORNING = time(6, 0)
# A digest that could not go out on Monday is still worth reading this long.
_LATEST = timedelta(days=3)


def zone_of(name: str) -> ZoneInfo:
    """Give a zone by name; UTC, and a line in the log, where there is none of that name."""
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        LOG.warning("there is no time zone %r; UTC is used", name)
        return ZoneInfo("UTC")


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """The digest that is due, and the Monday morning it is due from."""

    week: Week
    since: datetime


def digest_due(*, now: datetime, timezone: str) -> Due | None:
    """Give the digest that somebody in a zone should have by now, None where none is.

    It is about the week before the Monday, due from six o'clock on that day.
    """
    zone = zone_of(timezone)
    today = now.astimezone(zone).date()
    since = datetime.combine(week_of(today).monday, MORNING, tzinfo=zone).astimezone(UTC)
    if not since <= now < since + _LATEST:
        return None
    return Due(week=week_before(today), since=since)


def not_before(*, now: datetime, timezone: str, quiet_from: str, quiet_until: str) -> datetime:
    """Give when a mail may leave: now, or at the end of the quiet hours.

    Parameters
    ----------
    now : aware
    timezone : the reader's zone
    quiet_from, quiet_until : local clock times `HH:MM`; equal ones mean no quiet hours
    """
    start, end = time.fromisoformat(quiet_from), time.fromisoformat(quiet_until)
    local = now.astimezone(zone_of(timezone))
    clock = local.timetz().replace(tzinfo=None)
    over_midnight = start > end
    quiet = (clock >= start or clock < end) if over_midnight else start <= clock < end
    if not quiet:
        return now
    day = local.date() + timedelta(days=1 if over_midnight and clock >= start else 0)
    return max(now, datetime.combine(day, end, tzinfo=local.tzinfo).astimezone(UTC))
