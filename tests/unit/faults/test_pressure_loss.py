"""Pressure loss: leaks and falls at once; not cold, not warm gas, not a low fill on purpose."""

from dataclasses import replace
from datetime import date
from itertools import pairwise

import numpy as np
import pytest

from analysis.faults import Judged, NotJudged
from analysis.season import SEASON_DAYS
from analysis.site import Change
from fixtures.faults import Fault
from tests.build import FULL_LOG, NO_SUN_LOG, a_history, a_plant, a_site, a_table, fault_of, of_kind

pytestmark = pytest.mark.thorough

KIND = "pressure_loss"


def judged(cold_bar, *, site=None, **columns):
    """Let nights with these pressures be judged; fluid and gas at 15 °C unless given."""
    columns = {"cold_grown_l": 0.0, "cold_gas_c": 15.0, "peak_collector_c": 60.0} | columns
    table = a_table(first="2024-03-01", cold_pressure_bar=np.asarray(cold_bar), **columns)
    return fault_of(KIND).conclude(a_history(table, site=site))


def noisy(levels_bar, seed=1):
    levels = np.asarray(levels_bar, dtype=np.float64)
    return levels + 0.01 * np.random.default_rng(seed).standard_normal(levels.size)


def test_a_leak_is_found_from_its_first_day_until_it_is_mended():
    fault = Fault(kind="pressure_leak", value=0.9, start="2025-05-08", end="2025-05-26")
    plant = a_plant(start="2025-05-01", days=40, faults=(fault,))
    report = plant.report()
    (found,) = of_kind(report, KIND)
    edges = plant.table(catalogue=()).days.edge_s
    assert abs(found.start_s - edges[7]) <= 2 * 86400
    assert abs(found.end_s - edges[25]) <= 2 * 86400
    assert found.urgency == "visit"
    assert found.lost is None
    before, now, a_month, static = (item.value for item in found.evidence)
    # A pressure sensor of ±0.1 bar.
    assert before == pytest.approx(2.0, abs=0.15)
    assert before - now == pytest.approx(17 * 0.03, abs=0.05)
    assert a_month == pytest.approx(0.9, rel=0.1)
    assert static == pytest.approx(0.6)


@pytest.mark.parametrize(("fall_bar", "urgency"), [(0.15, None), (0.25, "watch"), (0.4, "visit")])
def test_a_fall_at_once_counts_by_its_size(fall_bar, urgency):
    found = judged(noisy([2.0] * 30 + [2.0 - fall_bar] * 20)).findings
    assert [item.urgency for item in found] == ([] if urgency is None else [urgency])
    for item in found:
        assert "at once" in item.summary
        assert item.end_s is None


def test_after_a_hot_day_the_safety_valve_is_named():
    hot = np.full(50, 60.0)
    hot[29] = 160.0
    (found,) = judged(noisy([2.0] * 30 + [1.5] * 20), peak_collector_c=hot).findings
    assert "safety valve" in found.summary


def test_near_the_weight_of_the_fluid_it_is_urgent():
    (found,) = judged(noisy([2.0] * 20 + list(np.linspace(2.0, 0.6, 30)))).findings
    assert found.urgency == "act"


def test_too_little_from_the_first_day_on_is_found_where_the_height_is_known():
    (found,) = judged(noisy([0.8] * 20)).findings
    assert "too little for its height" in found.summary
    conclusion = judged(noisy([0.8] * 20), site=a_site(loop={"height_m": None}))
    assert isinstance(conclusion, Judged)
    assert conclusion.findings == ()
    assert "height" in conclusion.why


def test_a_slow_leak_over_a_year_is_found_and_half_of_it_is_not():
    assert judged(noisy(np.linspace(2.0, 1.6, 365))).findings
    assert judged(noisy(np.linspace(2.0, 1.85, 365))).findings == ()


def test_a_fall_counts_from_the_highest_night_within_reach():
    read = noisy(2.0 + 0.2 * np.sin(np.arange(900) / 90.0))
    table = a_table(first="2022-03-01", cold_pressure_bar=read, cold_grown_l=0.0, cold_gas_c=15.0)
    fault = fault_of(KIND)
    levels = fault._levels(a_history(table))
    even = levels.even_bar
    assert levels.span.max() == 0
    for reach, falls in ((fault.fast_days, levels.fast_bar), (fault.slow_days, levels.slow_bar)):
        highest = [even[max(day + 1 - reach, 0) : day + 1].max() for day in range(len(even))]
        np.testing.assert_array_equal(falls, highest - even)


def test_a_leak_that_is_topped_up_and_goes_on_is_the_same_finding():
    down = list(np.linspace(2.0, 1.6, 40))
    # Each top-up parts it; the report joins what comes back within a season.
    findings = judged(noisy([*down, *down, *down])).findings
    assert findings[-1].end_s is None
    assert all(
        other.start_s - one.end_s < SEASON_DAYS * 86_400 for one, other in pairwise(findings)
    )


def test_an_open_fall_lasts_however_long_nobody_tops_up():
    (found,) = judged(noisy([2.0] * 30 + [1.6] * 200)).findings
    assert found.end_s is None


def test_a_pressure_lowered_on_purpose_is_no_loss_once_it_is_recorded():
    change = Change(date=date(2024, 3, 31), key="loop.pressure_bar", value=1.5, why="lowered")
    site = replace(a_site(), changes=(change,))
    assert judged(noisy([2.0] * 30 + [1.5] * 20), site=site).findings == ()


def test_a_new_fill_that_airs_is_only_watched():
    site = a_site(commissioned={"filled": date(2024, 3, 1)})
    levels = noisy([*np.linspace(2.4, 2.0, 25), *[2.0] * 20])
    assert [item.urgency for item in judged(levels, site=site).findings] == ["watch"]


def test_cold_fluid_and_cold_gas_are_not_a_leak():
    # From 25 °C to 5 °C gas loses 7 % of the absolute pressure; half a litre of growth in a vessel
    # of 45 bar·l at 3 bar is as much again: law of ideal gases, Charles and Boyle.
    warm = np.linspace(25.0, 5.0, 120)
    grown_l = np.linspace(0.5, 0.0, 120)
    absolute = 3.0 * (warm + 273.15) / 288.15 / (1.0 - 3.0 * grown_l / 45.234)
    levels = noisy(absolute - 1.013)
    assert levels[0] - levels[-1] > 0.3
    assert judged(levels, cold_grown_l=grown_l, cold_gas_c=warm).findings == ()


def test_pipes_that_carry_the_store_up_at_night_say_nothing_of_the_gas():
    faults = (Fault(kind="reverse_circulation", start="2025-08-25", end="2025-09-10"),)
    given = {"start": "2025-07-20", "days": 60, "litres_per_day": 50.0}
    plant = a_plant(channels=(*FULL_LOG, "pressure"), faults=faults, **given)
    assert np.nanmax(plant.table().column("cold_gas_c")) <= 30.0
    assert of_kind(plant.report(), KIND) == ()


def test_a_vessel_that_loses_its_gas_explains_a_falling_pressure():
    faults = (
        Fault(kind="vessel_charge_lost", value=0.3, start="2025-05-24"),
        Fault(kind="pressure_step", value=0.35, start="2025-05-26"),
    )
    report = a_plant(start="2025-05-01", days=50, faults=faults).report()
    assert [item.suppressed_by for item in of_kind(report, KIND)] == ["vessel_charge_lost"]


def test_without_a_pressure_or_in_a_loop_that_drains_back_it_cannot_be_judged():
    assert isinstance(a_plant(channels=NO_SUN_LOG).conclusion(KIND), NotJudged)
    conclusion = a_plant(site={"loop": {"kind": "drain_back"}}).conclusion(KIND)
    assert "drains back" in conclusion.why
