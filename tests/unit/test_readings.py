"""Heat between two readings of a meter by hand. Invented numbers."""

from datetime import date, timedelta

import pytest

from analysis.readings import hand_spans
from analysis.results import DayFigure
from analysis.sitefile import parse_site
from analysis.sitefile_splice import with_log, with_reading
from analysis.sitefile_write import site_to_toml
from tests.build_service import SITE_FILE

BARE = SITE_FILE.format(name="Mill Lane 4")


def text(*readings: tuple[str, float]) -> str:
    return BARE + "".join(
        f'\n[[reading]]\nat = "{at}"\nheat_register_kwh = {kwh}\nwho = "Kim"\n'
        for at, kwh in readings
    )


def a_day(when: date, kwh: float | None, coverage: float = 1.0) -> DayFigure:
    given = dict.fromkeys(DayFigure._fields)
    return DayFigure(
        **{**given, "date": when.isoformat(), "coverage": coverage, "delivered_kwh": kwh}
    )


def test_the_difference_of_two_registers_is_the_heat_with_the_meters_bounds() -> None:
    site = parse_site(
        text(("2025-03-02T10:00:00+01:00", 1200), ("2025-09-05T10:00:00+02:00", 2012))
    )
    (span,) = hand_spans(site, ())
    assert span.delivered_kwh == pytest.approx(812)
    # MID Annex VI class 2, 4.45 % as in analysis.heat, and 1 kWh either way for each reading:
    # hypot(812 * 0.0445, 1.96 * sqrt(2) / sqrt(3)) = 36.17 (worked by hand).
    assert span.delivered_high_kwh - 812 == pytest.approx(36.17, abs=0.02)
    assert 812 - span.delivered_low_kwh == pytest.approx(36.17, abs=0.02)
    assert (span.logged_kwh, span.logged_frac, span.who) == (None, 0.0, "Kim")


def test_only_whole_days_of_the_log_stand_beside_it_and_nothing_is_added() -> None:
    site = parse_site(text(("2025-06-01T12:00:00+02:00", 10), ("2025-06-05T12:00:00+02:00", 60)))
    first = date(2025, 6, 1)
    days = [a_day(first + timedelta(days=n), 10.0, 0.5) for n in range(6)]
    (span,) = hand_spans(site, days)
    assert span.logged_kwh == pytest.approx(30.0)  # 2, 3 and 4 June
    assert span.logged_frac == pytest.approx(3 * 0.5 / 4)
    assert span.delivered_kwh == pytest.approx(50.0)


def test_a_register_that_went_down_tells_nothing() -> None:
    site = parse_site(text(("2025-06-01T12:00:00Z", 900), ("2025-06-05T12:00:00Z", 3)))
    (span,) = hand_spans(site, ())
    assert (span.delivered_kwh, span.delivered_low_kwh) == (None, None)


def test_readings_are_sorted_and_written_as_they_were_read() -> None:
    site = parse_site(text(("2025-06-05T12:00:00Z", 30), ("2025-06-01T12:00:00Z", 10.5)))
    assert [one.heat_register_kwh for one in site.readings] == [10.5, 30]
    assert parse_site(site_to_toml(site)) == site
    more = with_reading(with_log(site_to_toml(site), site.log), site.readings[0])
    assert len(parse_site(more).readings) == 3


def test_a_slip_names_key_and_line() -> None:
    from analysis.errors import SiteFileError

    with pytest.raises(SiteFileError) as caught:
        parse_site(text(("2025-06-05T12:00:00Z", -3)))
    assert "heat_register_kwh" in str(caught.value)
    with pytest.raises(SiteFileError):
        parse_site(text(("yesterday", 3)))
