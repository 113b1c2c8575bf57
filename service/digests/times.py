"""When mail may reach somebody: the digest's day and quiet hours, by the reader's own clock."""

import logging
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from dashboards.weeks import Days, Week, seven_days_before, week_before

LOG = logging.getLogger("suntally.mail")

# A digest that could not go out on its day is still worth reading this long.
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
    """The digest that is due.

    Attributes
    ----------
    since : the moment from which it is due
    week : the week before, which names it: nobody gets two of one week, whatever day they choose
    days : the seven days before, which it is about
    """

    since: datetime
    week: Week
    days: Days


def digest_due(*, now: datetime, timezone: str, weekday: int = 0, hour: int = 6) -> Due | None:
    """Give the digest that somebody in a zone should have by now, None where none is.

    Parameters
    ----------
    now : aware
    timezone : the reader's zone
    weekday : the day it leaves on, Monday is 0
    hour : the full hour from which it may leave on that day
    """
    zone = zone_of(timezone)
    today = now.astimezone(zone).date()
    day = today - timedelta(days=(today.weekday() - weekday) % 7)
    since = datetime.combine(day, time(hour), tzinfo=zone).astimezone(UTC)
    if since > now:
        day -= timedelta(days=7)
        since = datetime.combine(day, time(hour), tzinfo=zone).astimezone(UTC)
    if now >= since + _LATEST:
        return None
    return Due(since=since, week=week_before(day), days=seven_days_before(day))


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
