"""Actual against design: as it stands, and corrected for the year's sun."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.design.compared import compared
from analysis.design.promise import computed_of, design_yield
from analysis.figures import month_figures
from analysis.results import report_from_json, report_json
from dashboards.design_facts import beside_of, design_of
from tests.build import a_plant, a_site, a_table

FIRST, DAYS = "2025-01-01", 365
MONTH = np.array([int(day[5:7]) - 1 for day in np.datetime_as_string(
    np.arange("2025-01-01", "2026-01-01", dtype="datetime64[D]"))])  # fmt: skip
LENGTH = np.bincount(MONTH)


def daily(monthly):
    """Spread monthly sums evenly over the days of 2025."""
    return (np.array(monthly) / LENGTH)[MONTH]


def year(site, *, heat=1.0, sun=1.0, u=0.0, known=None, **columns):
    """Give the design held against a year of these multiples of the design."""
    computed = computed_of(site)
    design = design_yield(site)
    irradiation = daily(computed.first_plane_kwh_m2) * sun
    if known is not None:
        irradiation = np.where(known, irradiation, np.nan)
    got = daily(design.monthly_kwh) * heat
    given = {
        "known_s": 86400.0, "length_s": 86400.0, "heat_kwh": got, "heat_random_kwh2": 0.0,
        "heat_flow_u_kwh": u * got, "irradiation_kwh_m2": irradiation, "sky_source": 0.0,
    } | columns  # fmt: skip
    table = a_table(first=FIRST, count=DAYS, **given)
    # Days of the clock's change are 23 and 25 h long: what is known follows them.
    table = replace(table, columns={**table.columns, "known_s": np.minimum(
        table.column("known_s"), table.days.length_s)})  # fmt: skip
    return compared(design, table, site, month_figures(table, site))


def bare():
    return replace(a_site(), design=None)


def test_year_as_designed_reaches_the_design():
    found = year(bare())
    assert found.raw_ratio == pytest.approx(1.0, abs=1e-3)
    assert found.weather_corrected_ratio == pytest.approx(1.0, abs=1e-3)
    assert found.sun_ratio == pytest.approx(1.0, abs=1e-9)
    assert (found.compared_from, found.compared_to) == ("2025-01", "2025-12")
    assert (found.compared_months, found.corrected_months) == (12, 12)


def test_dull_year_is_forgiven_by_the_correction_alone():
    site = bare()
    dull = computed_of(site).under(np.full(12, 0.85)).sum() / design_yield(site).yearly_kwh
    found = year(site, heat=dull, sun=0.85)
    assert found.raw_ratio == pytest.approx(dull, abs=1e-3)
    assert found.sun_ratio == pytest.approx(0.85)
    assert found.usual_promise_kwh == pytest.approx(found.yearly_kwh, rel=1e-3)
    assert found.corrected_promise_kwh == pytest.approx(dull * found.yearly_kwh, rel=2e-3)
    # The spread over the months is not quite even, hence not quite 1.
    assert found.weather_corrected_ratio == pytest.approx(1.0, abs=2e-3)


def test_weak_plant_in_usual_sun_is_not_forgiven():
    found = year(bare(), heat=0.7)
    assert found.weather_corrected_ratio == pytest.approx(0.7, abs=1e-3)


def test_given_promise_is_corrected_by_the_method_too():
    found = year(a_site(), sun=0.85)
    assert found.method == "given"
    assert found.raw_ratio == pytest.approx(1.0, abs=1e-3)
    assert found.weather_corrected_ratio > 1.1


def test_bounds_hold_heat_method_and_sun():
    exact, given = year(bare()), year(a_site())
    # A computed figure is good to 15 % (95 %), a given one is what it is.
    assert exact.raw_ratio - exact.raw_ratio_low == pytest.approx(0.15, abs=1e-3)
    assert given.raw_ratio_high - given.raw_ratio_low == pytest.approx(0.0, abs=1e-6)
    spread = year(a_site(), u=0.05)
    assert spread.raw_ratio_high - 1.0 == pytest.approx(1.96 * 0.05, rel=0.02)
    # The sensor of the sun (8 %) and the typical sun widen the corrected one.
    assert given.weather_corrected_ratio_high > 1.05
    better = replace(a_site(), sensors=replace(a_site().sensors, irradiance_percent=2.0))
    assert year(better).weather_corrected_ratio_high < given.weather_corrected_ratio_high


def test_months_without_enough_rows_do_not_count():
    known_s = np.where(MONTH == 2, 0.8 * 86400.0, 86400.0)
    found = year(bare(), known_s=known_s)
    assert (found.compared_months, found.corrected_months) == (11, 11)
    assert found.raw_ratio == pytest.approx(1.0, abs=1e-3)


def test_what_is_missing_of_a_month_is_not_promised():
    known_s = np.full(DAYS, 0.95 * 86400.0)
    heat = daily(design_yield(bare()).monthly_kwh) * 0.95
    found = year(bare(), known_s=known_s, heat_kwh=heat)
    assert found.raw_ratio == pytest.approx(1.0, abs=2e-3)


def test_months_whose_sun_is_unknown_are_not_corrected():
    known = (MONTH != 5) & (MONTH != 6)
    found = year(bare(), known=known)
    assert (found.compared_months, found.corrected_months) == (12, 10)
    dark = year(bare(), known=np.zeros(DAYS, dtype=bool))
    assert (dark.corrected_months, dark.sun_ratio, dark.weather_corrected_ratio) == (0, None, None)
    assert dark.raw_ratio is not None


def test_nothing_whole_is_not_compared():
    found = year(bare(), known_s=0.5 * 86400.0)
    assert (found.compared_months, found.raw_ratio, found.compared_from) == (0, None, None)


def test_latest_twelve_months_count():
    site = a_site()
    table = a_table(first="2024-01-01", count=731, known_s=86400.0, length_s=86400.0,
                    heat_kwh=np.where(np.arange(731) < 366, 9.0, 2.0),
                    heat_random_kwh2=0.0)  # fmt: skip
    found = compared(design_yield(site), table, site, month_figures(table, site))
    assert (found.compared_from, found.compared_to) == ("2025-01", "2025-12")
    assert found.raw_ratio == pytest.approx(730.0 / 981.0, rel=2e-3)


def test_report_carries_and_tells_it():
    plant = a_plant(start="2025-05-01", days=61, site={"design": None})
    report = plant.report()
    assert report.basis.design == "EN 15316-4-3"
    assert report.design.compared_months == 2
    assert report.totals.design_kwh == pytest.approx(sum(report.design.monthly_kwh[4:6]), rel=1e-6)
    again = report_from_json(report_json(report))
    assert again.design.raw_ratio == pytest.approx(report.design.raw_ratio, abs=1e-4)
    assert len(again.design.beside) == 2
    said = " ".join(f"{fact.label} {fact.value} {fact.note}" for fact in design_of(report))
    for words in ("EN 15316-4-3", "Midlands", "2 months from May 2025 to June 2025", "of the usual",
                  "likely between", "corrected for the weather"):  # fmt: skip
        assert words in said
    assert any("extrapolation" in fact.note for fact in beside_of(report))


def test_stored_report_of_before_still_loads():
    report = a_plant(days=6).report()
    old = report_json(report)
    del old["design"]
    assert report_from_json(old).design is None
    assert design_of(report_from_json(old)) == ()
