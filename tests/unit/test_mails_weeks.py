"""Weeks of ISO 8601: their names, days and instants. Checked against the standard's own rule."""

from datetime import UTC, date, datetime, timedelta

import pytest

from dashboards.weeks import Week, parse_week, week_before, week_of


@pytest.mark.parametrize(
    ("day", "week"),
    [
        # ISO 8601: week 1 is the one with the year's first Thursday. 1 January 2026 is a Thursday,
        # 1 January 2027 a Friday, so that 2026 has 53 weeks.
        (date(2025, 12, 29), "2026-W01"),
        (date(2026, 1, 4), "2026-W01"),
        (date(2026, 12, 31), "2026-W53"),
        (date(2027, 1, 3), "2026-W53"),
        (date(2027, 1, 4), "2027-W01"),
        (date(2026, 6, 22), "2026-W26"),
    ],
)
def test_a_day_lies_in_its_iso_week(day, week):
    assert str(week_of(day)) == week


def test_the_week_before_the_first_of_a_year_is_the_last_of_the_year_before():
    assert week_before(date(2027, 1, 4)) == Week(2026, 53)
    assert week_before(date(2026, 1, 5)) == Week(2026, 1)
    assert week_before(date(2025, 12, 29)) == Week(2025, 52)


def test_weeks_follow_one_another_for_years():
    day = date(2020, 1, 1)
    while day < date(2031, 1, 1):
        assert week_before(day + timedelta(days=7)) == week_of(day)
        assert parse_week(str(week_of(day))) == week_of(day)
        day += timedelta(days=1)


@pytest.mark.parametrize("text", ["2026-W54", "2025-W53", "2026-W00", "W26", "2026-26", "", "June"])
def test_a_week_that_is_none_is_refused_plainly(text):
    with pytest.raises(ValueError, match="week"):
        parse_week(text)


def test_a_week_with_the_change_of_the_clocks_is_an_hour_shorter_or_longer():
    hour = 3600
    start, end = Week(2026, 13).days.span_s("Europe/London")  # clocks go forward on 29 March 2026
    assert end - start == 7 * 24 * hour - hour
    start, end = Week(2026, 43).days.span_s("Europe/London")  # and back on 25 October 2026
    assert end - start == 7 * 24 * hour + hour
    assert start == datetime(2026, 10, 18, 23, tzinfo=UTC).timestamp()


def test_words_name_the_days():
    assert Week(2026, 26).days.words == "22 to 28 June 2026"
    assert Week(2026, 27).days.words == "29 June to 5 July 2026"
    assert Week(2026, 53).days.words == "28 December 2026 to 3 January 2027"
