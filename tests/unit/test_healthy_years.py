"""Healthy plants over whole years ask for nobody's time: invented years, several kinds of plant.

Only `act` and `visit` take someone's time; standing hot with a full store in summer is on record.
"""

import pytest

from tests.build import FULL_LOG, NO_SUN_LOG, PUMP_LOG, a_plant, asking

YEARS = {
    "a home with irradiance": {"seed": 31},
    "a home without irradiance": {"seed": 32, "channels": NO_SUN_LOG, "tubes": 30},
    "a flat roof of direct-flow tubes": {"seed": 33, "plant": "flat_roof", "channels": FULL_LOG},
    "a school, pump and three sensors": {"seed": 34, "plant": "school", "channels": PUMP_LOG},
}


@pytest.fixture(scope="module", params=YEARS)
def year(request):
    plant = a_plant(start="2025-01-01", days=365, **YEARS[request.param])
    return plant, plant.report()


def test_a_healthy_year_asks_for_no_visit(year):
    _, report = year
    assert asking(report) == []


def test_its_heat_lies_within_the_bounds(year):
    """Of single plants 95 % bounds may miss one; three standard uncertainties miss none."""
    plant, report = year
    true_kwh = sum(plant.run.daily_truth().values())
    totals = report.totals
    u_kwh = (totals.delivered_high_kwh - totals.delivered_kwh) / 1.96
    assert abs(totals.delivered_kwh - true_kwh) <= 3.0 * u_kwh
    if str(report.basis.heat).startswith("flow_and_temperatures"):
        assert totals.delivered_kwh == pytest.approx(true_kwh, rel=0.15)


def test_its_healthy_figure_holds_what_it_delivered(year):
    _, report = year
    totals = report.totals
    if totals.expected_kwh is None:
        assert report.basis.weather is None
        return
    reach = totals.delivered_high_kwh - totals.delivered_kwh
    assert totals.expected_low_kwh - reach <= totals.delivered_kwh
    assert totals.delivered_kwh <= totals.expected_high_kwh + reach


def test_every_kind_was_judged_or_says_why_not(year):
    _, report = year
    assert len(report.verdicts) >= 9
    for verdict in report.verdicts:
        assert verdict.outcome != "cannot_judge" or verdict.why


def test_all_of_the_year_is_covered(year):
    _, report = year
    assert len(report.days) == 365
    assert len(report.months) == 12
    assert report.totals.coverage == pytest.approx(1.0, abs=0.002)
