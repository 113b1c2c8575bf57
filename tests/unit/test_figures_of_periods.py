"""Days, months and totals of the report: coverage, promises, unknowns."""

import numpy as np
import pytest

from analysis.day_figures import HEAT_PARTS
from analysis.figures import coverages, day_figures, month_figures, total_figures
from tests.build import a_site, a_table

PROMISE = (31.0, 28.0, 62.0, 90.0, 124.0, 150.0, 155.0, 124.0, 90.0, 62.0, 30.0, 15.5)


def site():
    return a_site(design={"monthly_kwh": PROMISE})


def table(**given):
    columns = {
        "heat_kwh": 4.0,
        "heat_random_kwh2": 0.0,
        "known_s": 86400.0,
        "pump_kwh": 0.2,
        "irradiation_kwh_m2": 5.0,
        "peak_collector_c": 80.0,
        **{f"heat_{name}_u_kwh": 0.0 for name in HEAT_PARTS},
        **given,
    }
    return a_table(**{"first": "2025-06-01", "count": 30, "timezone": "UTC", **columns})


def totals(days):
    edges = days.days.edge_s
    months = month_figures(days, site())
    return total_figures(days, site(), months, start_s=int(edges[0]), end_s=int(edges[-1]))


def test_a_day_carries_its_share_of_the_promise():
    (first, *_) = day_figures(table(), site())
    assert first.date == "2025-06-01"
    assert first.design_kwh == pytest.approx(150.0 / 30)
    assert first.delivered_kwh == 4.0


def test_a_promise_holds_for_the_day_whatever_was_logged_of_it():
    (first, *_) = day_figures(table(known_s=43200.0), site())
    assert first.coverage == pytest.approx(0.5)
    assert first.design_kwh == pytest.approx(5.0)


def test_unknown_is_null_and_never_zero():
    (first, *_) = day_figures(table(heat_kwh=np.nan, pump_kwh=np.nan, peak_collector_c=np.nan),
                              a_site(design=None, place={"timezone": "UTC"}))  # fmt: skip
    for value in (
        first.delivered_kwh, first.delivered_low_kwh, first.pump_kwh, first.expected_kwh,
        first.design_kwh, first.peak_collector_c,
    ):  # fmt: skip
        assert value is None


def test_a_day_without_rows_has_no_coverage():
    known = np.full(30, 86400.0)
    known[3] = np.nan
    assert coverages(table(known_s=known))[3] == 0.0


def test_a_month_adds_its_days():
    (june,) = month_figures(table(), site())
    assert june.month == "2025-06"
    assert june.delivered_kwh == pytest.approx(120.0)
    assert june.irradiation_kwh_m2 == pytest.approx(150.0)
    assert june.coverage == pytest.approx(1.0)
    assert june.design_kwh == pytest.approx(150.0)
    assert not june.design_pro_rata


def test_a_month_logged_in_part_has_the_coverage_of_the_whole_month_and_a_promise_pro_rata():
    (june,) = month_figures(table(count=15), site())
    assert june.coverage == pytest.approx(0.5)
    assert june.design_pro_rata
    assert june.design_kwh == pytest.approx(75.0)


def test_a_month_at_nine_tenths_keeps_its_whole_promise():
    known = np.full(30, 86400.0)
    known[:3] = 0.0
    (june,) = month_figures(table(known_s=known), site())
    assert june.coverage == pytest.approx(0.9)
    assert june.design_kwh == pytest.approx(150.0)


def test_days_fall_into_their_calendar_months():
    june, july = month_figures(table(count=45), site())
    assert (june.month, july.month) == ("2025-06", "2025-07")
    assert july.delivered_kwh == pytest.approx(60.0)


def test_totals_are_the_sums_of_the_days():
    whole = table(count=45)
    found = totals(whole)
    assert found.delivered_kwh == pytest.approx(
        sum(day.delivered_kwh for day in day_figures(whole, site()))
    )
    assert found.pump_kwh == pytest.approx(9.0)
    assert found.coverage == pytest.approx(1.0)
    assert found.expected_kwh is None


def test_totals_of_nothing_are_unknown():
    found = totals(a_table(count=5))
    assert found.delivered_kwh is None
    assert found.pump_kwh is None
    assert found.coverage == 0.0
