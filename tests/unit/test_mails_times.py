"""When mail may reach somebody: Monday mornings and quiet hours on the reader's own clock.

Zones and the days on which clocks change come from the IANA time zone database.
"""

from datetime import UTC, datetime, timedelta

import pytest

from service.digests.times import digest_due, not_before


def utc(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=UTC)


@pytest.mark.parametrize(
    ("now", "zone", "week"),
    [
        # Monday 29 June 2026, 06:00 in London is 05:00 UTC.
        (utc(2026, 6, 29, 4, 59), "Europe/London", None),
        (utc(2026, 6, 29, 5, 0), "Europe/London", "2026-W26"),
        # In Sydney it is then Monday afternoon, in New York Monday one o'clock at night.
        (utc(2026, 6, 29, 5, 0), "Australia/Sydney", "2026-W26"),
        (utc(2026, 6, 29, 5, 0), "America/New_York", None),
        (utc(2026, 6, 28, 20, 0), "Australia/Sydney", "2026-W26"),
        # Whoever was away on Monday still sends it, but not for ever.
        (utc(2026, 7, 1, 20, 0), "Europe/London", "2026-W26"),
        (utc(2026, 7, 2, 6, 0), "Europe/London", None),
        (utc(2026, 7, 5, 12, 0), "Europe/London", None),
        # The year's end: 2026 has 53 weeks.
        (utc(2026, 12, 28, 7, 0), "Europe/London", "2026-W52"),
        (utc(2027, 1, 4, 7, 0), "Europe/London", "2026-W53"),
        (utc(2026, 1, 5, 7, 0), "Europe/London", "2026-W01"),
        (utc(2025, 12, 29, 7, 0), "Europe/London", "2025-W52"),
        # A zone that nobody knows reads UTC.
        (utc(2026, 6, 29, 6, 0), "Atlantis/Harbour", "2026-W26"),
        (utc(2026, 6, 29, 5, 59), "Atlantis/Harbour", None),
    ],
)
def test_the_digest_is_due_from_six_on_monday_of_the_reader(now, zone, week):
    due = digest_due(now=now, timezone=zone)
    assert (None if due is None else str(due.week)) == week


@pytest.mark.parametrize("monday", [utc(2026, 3, 30), utc(2026, 10, 26)])
@pytest.mark.parametrize("zone", ["Europe/London", "Europe/Berlin", "America/New_York"])
def test_after_the_clocks_changed_it_is_due_at_six_of_the_new_time_and_once(monday, zone):
    weeks = set()
    began = None
    for minutes in range(0, 3 * 24 * 60, 10):
        now = monday - timedelta(hours=12) + timedelta(minutes=minutes)
        due = digest_due(now=now, timezone=zone)
        if due is not None:
            weeks.add(due.week)
            began = began or due.since
    assert len(weeks) == 1
    assert began is not None
    from zoneinfo import ZoneInfo

    assert began.astimezone(ZoneInfo(zone)).strftime("%A %H:%M") == "Monday 06:00"


@pytest.mark.parametrize(
    ("now", "leaves"),
    [
        (utc(2026, 6, 23, 12, 0), utc(2026, 6, 23, 12, 0)),  # 13:00 in London
        (utc(2026, 6, 23, 19, 59), utc(2026, 6, 23, 19, 59)),  # 20:59
        (utc(2026, 6, 23, 20, 0), utc(2026, 6, 24, 6, 0)),  # 21:00, until 07:00
        (utc(2026, 6, 24, 2, 0), utc(2026, 6, 24, 6, 0)),  # 03:00
        (utc(2026, 6, 24, 5, 59), utc(2026, 6, 24, 6, 0)),
        (utc(2026, 6, 24, 6, 0), utc(2026, 6, 24, 6, 0)),
        # The night of 28 March 2026 is an hour shorter, that of 24 October an hour longer.
        (utc(2026, 3, 28, 22, 0), utc(2026, 3, 29, 6, 0)),
        (utc(2026, 10, 24, 22, 0), utc(2026, 10, 25, 7, 0)),
    ],
)
def test_quiet_hours_hold_a_mail_until_their_end(now, leaves):
    found = not_before(now=now, timezone="Europe/London", quiet_from="21:00", quiet_until="07:00")
    assert found == leaves


def test_quiet_hours_can_lie_within_a_day_or_not_be_there_at_all():
    noon = utc(2026, 1, 5, 12, 30)
    within = not_before(now=noon, timezone="UTC", quiet_from="12:00", quiet_until="14:00")
    assert within == utc(2026, 1, 5, 14, 0)
    none = not_before(now=noon, timezone="UTC", quiet_from="07:00", quiet_until="07:00")
    assert none == noon
