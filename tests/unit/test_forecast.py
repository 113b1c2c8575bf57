"""The year in progress: sums, bounds and what is not claimed. Invented numbers throughout."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.days import part_of
from analysis.figures import day_figures, promises_of
from analysis.forecast import MONTH_FRAC, SHARE_FRAC, year_in_progress
from analysis.savings import savings_of
from analysis.site import Design
from analysis.years import year_figures
from dashboards.check_facts import year_of
from fixtures.scenario import home
from tests.build import a_site, a_table
from tests.plants import examine
from tests.unit.test_savings import gas_site, year

PROMISE = Design(monthly_kwh=(30.0,) * 3 + (120.0,) * 6 + (30.0,) * 3)


def table_of(days, *, first="2025-01-01", heat=2.0, **given):
    columns = {"heat_kwh": heat, "known_s": 86_400.0, "pump_kwh": 0.1, **given}
    parts = {f"heat_{name}_u_kwh": 0.0 for name in ("hot", "cold", "flow", "fluid", "method")}
    return a_table(first=first, count=days, heat_random_kwh2=0.0, **parts, **columns)


def forecast(table, site):
    return year_in_progress(
        table,
        site,
        day_figures(table, site),
        so_far=year_figures(table, site)[-1],
        promised_kwh=promises_of(site),
    )


def site_with(design=PROMISE):
    return replace(gas_site(), design=design)


def test_a_year_that_is_over_has_nothing_ahead():
    found = forecast(table_of(365), site_with())
    assert found.by_end_delivered_kwh == found.delivered_kwh
    assert found.delivered_kwh.value == pytest.approx(730.0)


def test_the_rest_is_the_design_yield_at_the_plants_own_share():
    # 181 days to the end of June promise 90 + 360 kWh; the plant gave half.
    table = table_of(181, heat=450.0 / 2.0 / 181.0)
    found = forecast(table, site_with())
    weight = 181.0 / (181.0 + 30.0)
    share = weight * 0.5 + (1.0 - weight)
    ahead = found.by_end_delivered_kwh.value - found.delivered_kwh.value
    assert ahead == pytest.approx(share * (3 * 120.0 + 3 * 30.0))


def test_bounds_of_the_rest_hold_weather_and_share():
    found = forecast(table_of(181), site_with())
    rest = found.by_end_delivered_kwh.high - found.delivered_kwh.high
    value = found.by_end_delivered_kwh.value - found.delivered_kwh.value
    months = np.array([120.0] * 3 + [30.0] * 3) / 450.0
    least = 1.96 * value * np.hypot(MONTH_FRAC * np.sqrt((months**2).sum()), SHARE_FRAC)
    assert rest - value >= least * 0.999


def test_only_this_calendar_year_counts():
    table = table_of(400, first="2024-06-01")
    found = forecast(table, site_with())
    assert (found.year, found.until) == (2025, "2025-07-05")
    assert found.delivered_kwh.value == pytest.approx(2.0 * 186)


def test_without_a_design_yield_nothing_is_forecast():
    nowhere = replace(site_with(design=None), place=replace(a_site().place, timezone="UTC"))
    assert forecast(table_of(100), nowhere) is None


def test_without_a_backup_heat_is_forecast_and_money_is_not():
    site = replace(a_site(), backup=None, design=PROMISE)
    found = forecast(table_of(181), site)
    assert found.by_end_delivered_kwh.value > found.delivered_kwh.value
    assert found.by_end_money_net is None


def test_money_ahead_goes_by_the_last_days_price():
    """900 kWh ahead of like days: twice the heat is twice the money, pump included."""
    site = site_with()
    found = forecast(table_of(181, heat=450.0 / 181.0, store_excess_kh=0.0), site)
    share = found.by_end_delivered_kwh.value / found.delivered_kwh.value
    assert found.by_end_money_net.value == pytest.approx(found.money_net.value * share)
    assert found.by_end_co2_kg.value == pytest.approx(found.co2_kg.value * share)
    assert found.by_end_money_net.low < found.by_end_money_net.value < found.by_end_money_net.high


def test_a_few_days_promise_little_and_say_so():
    found = forecast(table_of(5, heat=0.1), site_with())
    assert "only 5 days" in found.rests_on
    wide = found.by_end_delivered_kwh
    assert wide.high - wide.value > 0.4 * wide.value


def test_the_stated_range_of_the_backup_sets_the_bounds():
    narrow = gas_site(efficiency_low=0.84, efficiency_high=0.86)
    wide = gas_site(efficiency_low=0.72, efficiency_high=0.90)

    def reach(site):
        found = savings_of(year(), site)
        return found.fuel_high_kwh - found.fuel_kwh

    assert reach(wide) == pytest.approx(9.0 * reach(narrow))


def test_the_forecast_of_june_holds_what_december_shows():
    """Invented years, the promise taken from other years of the same plant."""
    years = [examine(home(), seed=seed, step_s=900).report.months for seed in (61, 62, 63)]
    promise = tuple(
        float(np.mean([month.delivered_kwh for month in months]))
        for months in zip(*years, strict=True)
    )
    held = []
    for seed in (11, 12, 13, 14):
        whole = examine(home(design_monthly_kwh=promise), seed=seed, step_s=900)
        half = part_of(whole.table, first=0, last=181)
        ahead = forecast(half, whole.site).by_end_delivered_kwh
        held.append(ahead.low <= whole.report.totals.delivered_kwh <= ahead.high)
    assert sum(held) >= 3


def test_the_words_give_both_figures_and_what_they_rest_on():
    report = examine(home(), seed=11, days=120).report
    (heat, *_) = year_of(report)
    assert "so far" in heat.value
    assert "By the end of the year" in heat.note
    assert "design yield" in heat.note
