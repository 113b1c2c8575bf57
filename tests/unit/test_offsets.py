"""The offset of the pipe sensors: which nights teach it, what is corrected, what is left alone."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from analysis.basis import PairOffset
from analysis.case import case_of
from analysis.days import Happening
from analysis.energy import delivered
from analysis.field_check.balance import field_check
from analysis.offsets import (
    GRAIN_U_K,
    LEAST_NIGHTS,
    PLACE_K,
    PLACE_U_K,
    REACH_DAYS,
    SCATTER_K,
    corrected,
    learn_offsets,
)
from analysis.resting import REST_H, pair_columns
from analysis.results import report_from_json, report_json
from analysis.site import Change
from analysis.uncertainty import growth_from
from dashboards.texts import heat_basis, offset_words
from fixtures.faults import Fault
from tests.build import FULL_LOG, a_plant, a_record, a_site, a_table

SITE = a_site(sensors={"temperature_class": "B"})
PAIR_LOG = ("loop_hot", "loop_cold", "store_bottom", "collector", "flow", "pump", "ambient")


def rested(*, nights=40, spread=0.5 + PLACE_K, happenings=(), **given):
    """Give days whose nights all count: pipes at 15 °C, the store's bottom 4 K below them."""
    columns = {
        "rest_h": 4.0,
        "rest_spread_k": spread,
        "rest_change_k_h": 0.0,
        "rest_pipe_c": 15.0,
        "rest_store_k": -4.0,
        "heat_kwh": 4.0,
        "heat_random_kwh2": 0.0,
        "heat_per_k_kwh": 0.5,
        "heat_hot_c": 50.0,
        "heat_cold_c": 40.0,
        "heat_hot_u_kwh": 0.15,
        "heat_cold_u_kwh": 0.14,
    }
    return a_table(count=nights, happenings=happenings, **{**columns, **given})


def known(spells):
    return [(one.first, one.last, one.corrected) for one in spells]


def test_the_offset_is_weighed_against_the_class():
    """By hand, Gauss-Markov: class B at 15 °C is 0.375 K a sensor; nights without scatter."""
    (spell,) = learn_offsets(rested(), SITE)
    prior = 2.0 * 0.375**2 / 3.0
    seen = PLACE_U_K**2 + GRAIN_U_K**2
    assert spell.offset_k == pytest.approx(0.5 * prior / (prior + seen))
    assert spell.u_k == pytest.approx(np.sqrt(prior * seen / (prior + seen)))
    assert known([spell]) == [(0, 40, True)]


def test_good_sensors_are_hardly_touched():
    good = a_site(sensors={"temperature_class": "AA"})
    (spell,) = learn_offsets(rested(spread=0.1 + PLACE_K), good)
    assert 0.0 < spell.offset_k < 0.05


def test_few_nights_teach_nothing():
    assert learn_offsets(rested(nights=LEAST_NIGHTS - 1), SITE) == ()
    assert learn_offsets(rested(nights=LEAST_NIGHTS), SITE) != ()


@pytest.mark.parametrize(
    "unfit",
    [
        {"rest_store_k": -1.0},
        {"rest_store_k": np.nan},
        {"rest_h": 0.2},
        {"rest_change_k_h": 0.3},
        {"rest_change_k_h": np.nan},
        {"rest_pipe_c": 55.0},
        {"rest_spread_k": np.nan},
    ],
)
def test_a_night_that_is_no_rest_beside_a_cold_store_does_not_count(unfit):
    assert learn_offsets(rested(**unfit), SITE) == ()


def test_pipes_that_differ_now_so_now_so_teach_nothing():
    """Backflow through a leaking valve follows the cold of the night."""
    random = np.random.default_rng(1)
    spread = 1.0 + 1.5 * SCATTER_K * random.standard_normal(60)
    assert learn_offsets(rested(nights=60, spread=spread), SITE) == ()


def test_nights_near_backflow_do_not_count():
    fed = np.zeros(40)
    fed[[5, 20, 35]] = 3.0
    assert learn_offsets(rested(night_fed_h=fed), SITE) == ()


def test_nights_of_a_faulty_sensor_do_not_count():
    table = rested()
    faulty = tuple(
        Happening(kind="sensor_fault", date=day, start_s=0, end_s=1, values={}, channel="loop_hot")
        for day in table.days.dates[:32]
    )
    assert learn_offsets(rested(happenings=faulty), SITE) == ()
    elsewhere = tuple(item._replace(channel="store_top") for item in faulty)
    assert learn_offsets(rested(happenings=elsewhere), SITE) != ()


def test_warmth_that_creeps_into_the_hot_pipe_is_not_taken_for_an_offset():
    creep = np.abs(np.random.default_rng(2).normal(0.0, 0.15, 60))
    (spell,) = learn_offsets(rested(nights=60, spread=PLACE_K + creep), SITE)
    assert abs(spell.offset_k) < 0.08


def test_more_than_the_class_allows_is_said_and_not_corrected():
    table = rested(spread=1.6)
    spells = learn_offsets(table, SITE)
    assert known(spells) == [(0, 40, False)]
    assert spells[0].offset_k == pytest.approx(1.6 - PLACE_K)
    assert corrected(table, spells, SITE) is table


def test_a_changed_sensor_parts_the_log_and_nobody_knows_the_day():
    spread = np.where(np.arange(100) < 50, 0.5, -0.1)
    store = np.where((np.arange(100) < 40) | (np.arange(100) >= 70), -4.0, 10.0)
    spells = learn_offsets(rested(nights=100, spread=spread, rest_store_k=store), SITE)
    assert known(spells) == [(0, 40, True), (70, 100, True)]
    assert spells[0].offset_k > 0.2 > -0.2 > spells[1].offset_k
    table = rested(nights=100, spread=spread, rest_store_k=store)
    heat = corrected(table, spells, SITE).column("heat_kwh")
    assert (heat[:40] < 4.0).all()
    assert (heat[40:70] == 4.0).all()
    assert (heat[70:] > 4.0).all()


def test_a_change_in_the_site_file_parts_it_on_its_day():
    change = Change(
        date=date(2025, 6, 21), key="sensors.temperature_class", value="A", why="new pockets"
    )
    spells = learn_offsets(rested(spread=PLACE_K), replace(SITE, changes=(change,)))
    assert known(spells) == [(0, 20, True), (20, 40, True)]
    assert spells[1].u_k < spells[0].u_k


def test_far_from_its_nights_nothing_is_corrected():
    days = np.arange(500)
    store = np.where(days < 60, -4.0, 10.0)
    (spell,) = learn_offsets(rested(nights=500, rest_store_k=store), SITE)
    assert spell.last == 60 + REACH_DAYS


def test_heat_and_its_bounds_by_hand():
    """GUM: what is left of the offset is common to all days, the growth belongs to each sensor."""
    table = rested(nights=40)
    spells = learn_offsets(table, SITE)
    better = corrected(table, spells, SITE)
    (spell,) = spells
    grown = growth_from(temperature_class="B", from_c=15.0, to_c=45.0)
    per_k = 0.5
    off = spell.offset_k * float(grown.factor)
    np.testing.assert_allclose(better.column("heat_kwh"), 4.0 - off * per_k)
    found = delivered(better, np.arange(40))
    parts = (
        spell.u_k * float(grown.factor) * per_k * 40,
        grown.u_k_per_k * 35.0 * per_k * 40,
        grown.u_k_per_k * 25.0 * per_k * 40,
    )
    assert found.high - found.value == pytest.approx(1.96 * np.sqrt(np.sum(np.square(parts))))
    before = delivered(table, np.arange(40))
    assert found.high - found.low < 0.7 * (before.high - before.low)


def test_a_day_without_movement_keeps_its_figures():
    moved = np.arange(40) != 7
    table = rested(
        heat_per_k_kwh=np.where(moved, 0.5, 0.0),
        heat_hot_c=np.where(moved, 50.0, np.nan),
        heat_kwh=np.where(moved, 4.0, 0.0),
    )
    better = corrected(table, learn_offsets(table, SITE), SITE)
    assert better.column("heat_kwh")[7] == 0.0
    assert np.isfinite(better.column("heat_pair_u_kwh")).all()


def test_measured_hours_are_corrected_with_their_day():
    item = Happening(
        kind="field_check_hour",
        date="2025-06-03",
        start_s=0,
        end_s=3600,
        values={
            "measured_w": 900.0, "per_k_w_k": 100.0, "estimated_w": 950.0, "pipe_w": 10.0,
            "strict": 0.0, "wind_known": 0.0,
        },
    )  # fmt: skip
    table = rested(happenings=(item,))
    spells = learn_offsets(table, SITE)
    checked = field_check(corrected(table, spells, SITE), SITE, end_s=3600)
    factor = float(growth_from(temperature_class="B", from_c=15.0, to_c=45.0).factor)
    (measured_w,), (estimated_w,) = checked.points.measured_w, checked.points.estimated_w
    assert measured_w == pytest.approx(900.0 - 100.0 * factor * spells[0].offset_k)
    assert estimated_w == pytest.approx(950.0 * checked.safety_factor)


def test_growth_is_the_regression_of_independent_rectangles():
    """Against a million drawn sensors (invented draws, rectangles of IEC 60751 class B)."""
    random = np.random.default_rng(3)
    constant, share = random.uniform(-0.3, 0.3, 10**6), random.uniform(-0.005, 0.005, 10**6)
    at_20, at_60 = constant + 20.0 * share, constant + 60.0 * share
    slope = (at_20 * at_60).mean() / np.square(at_20).mean()
    left = np.sqrt(np.square(at_60 - slope * at_20).mean()) / 40.0
    grown = growth_from(temperature_class="B", from_c=20.0, to_c=60.0)
    assert float(grown.factor) == pytest.approx(slope, abs=0.003)
    assert grown.u_k_per_k == pytest.approx(left, rel=0.01)


def test_limits_given_as_a_number_do_not_grow():
    grown = growth_from(temperature_class=0.5, from_c=20.0, to_c=[30.0, 60.0])
    assert grown.factor.tolist() == [1.0, 1.0]
    assert grown.u_k_per_k == 0.0


def night(*, last_run_h=20.0, **given):
    """Give the pair's columns in January: the pump runs until an hour, the log ends at noon."""
    hour = np.arange(432) * 300 / 3600.0
    on = (hour >= last_run_h - 4.0) & (hour < last_run_h)
    columns = {
        "loop_hot": np.where(on, 50.0, 15.6),
        "loop_cold": np.where(on, 40.0, 15.2),
        "store_bottom": 11.0,
        "collector": np.where(np.arange(432) % 2, 5.0, 5.1),  # nothing alive stands still by day
        "ambient": 4.0,
        "flow": np.where(on, 1.6, 0.0),
        "pump": np.where(on, 100.0, 0.0),
    }
    record = a_record(start="2025-01-10T00:00", rows=432, **{**columns, **given})
    case = case_of(site=SITE, record=record, channels=frozenset(PAIR_LOG))
    return pair_columns(case)


def test_rest_begins_hours_after_the_last_movement_and_ends_with_the_dark():
    found = night(last_run_h=18.0)
    # The sun rises over Warwickshire at about 8:11 UTC that day.
    assert found["rest_h"][1] == pytest.approx(8.2 - (18.0 + REST_H - 24.0), abs=0.35)
    assert found["rest_spread_k"][1] == pytest.approx(0.4)
    assert found["rest_store_k"][1] == pytest.approx(-4.4)
    assert found["rest_pipe_c"][1] == pytest.approx(15.4)
    assert found["rest_change_k_h"][1] == pytest.approx(0.0, abs=1e-9)
    # Before the log nothing is known: the first night has no rest before eight hours are seen.
    assert found["rest_h"][0] < 0.3


def test_a_flow_without_a_command_is_no_rest():
    hour = np.arange(432) * 300 / 3600.0
    assert night(flow=np.where(hour > 30.0, 0.2, 0.0), last_run_h=18.0)["rest_h"][1] < 4.3


def test_hours_that_are_not_known_are_no_rest():
    hour = np.arange(432) * 300 / 3600.0
    unknown = np.where((hour > 27.0) & (hour < 27.2), np.nan, 15.6)
    gone = np.where(np.isnan(unknown), np.nan, 0.0)
    found = night(loop_hot=unknown, flow=gone, pump=gone, last_run_h=12.0)
    assert found["rest_h"][1] == pytest.approx(3.0, abs=0.3)


def test_what_a_kelvin_makes_is_the_capacity_that_flowed():
    found = night(last_run_h=20.0)
    # 1.6 l/min of 40 % propylene glycol for 4 h: about 102 W/K (3770 J/kgK, 1.02 kg/l; CoolProp).
    assert found["heat_per_k_kwh"][0] == pytest.approx(0.41, rel=0.03)
    assert found["heat_hot_c"][0] == pytest.approx(50.0)
    assert np.isnan(found["heat_cold_c"][1])


def test_heat_that_does_not_rest_on_the_pair_has_no_such_columns():
    plant = a_plant(days=3, channels=("collector", "store_bottom", "pump"))
    assert "heat_per_k_kwh" not in plant.table().columns


WINTER = {"start": "2025-01-01", "days": 80}


@pytest.mark.parametrize("seed", [3, 5])
def test_the_report_learns_it_and_comes_nearer_the_truth(seed):
    """A small share of `tests.bench.offsets`: hot reads 0.5 K high, cold 0.2 K low."""
    from fixtures.sensors import SensorErrors

    errors = SensorErrors(constant_k={"loop_hot": 0.5, "loop_cold": -0.2})
    plant = a_plant(seed=seed, sensors=errors, channels=FULL_LOG, **WINTER)
    report = plant.report()
    true = sum(plant.run.daily_truth().values())
    table = plant.table(catalogue=())
    plain = delivered(table, np.arange(len(table.days)))
    assert abs(report.totals.delivered_kwh - true) < 0.5 * abs(plain.value - true)
    assert report.totals.delivered_low_kwh <= true <= report.totals.delivered_high_kwh
    width = report.totals.delivered_high_kwh - report.totals.delivered_low_kwh
    assert width < 0.8 * (plain.high - plain.low)
    assert report.basis.heat == "flow_and_temperatures_offset_learnt"
    (offset,) = report.basis.offsets
    assert offset.corrected
    assert 0.35 < offset.offset_k < 0.75
    written = report_json(report)
    assert written["basis"]["offsets"][0]["offset_k"] == pytest.approx(offset.offset_k, abs=1e-4)
    assert report_json(report_from_json(written)) == written


@pytest.mark.parametrize("severity", [1.0, 0.1, 0.02])
def test_a_leaking_valve_is_not_learnt_away(severity):
    leak = Fault(kind="reverse_circulation", start="2025-01-01", severity=severity)
    report = a_plant(seed=3, channels=FULL_LOG, faults=(leak,), **WINTER).report()
    assert report.basis.heat == "flow_and_temperatures"
    assert not [one for one in report.basis.offsets if one.corrected]


def test_an_older_report_without_offsets_is_read():
    written = report_json(a_plant(days=3).report())
    del written["basis"]["offsets"]
    assert report_from_json(written).basis.offsets == ()


def an_offset(value, reach, *, corrected=True):
    return PairOffset(
        first_date="2025-01-01",
        last_date="2025-12-31",
        nights=55,
        offset_k=value,
        offset_low_k=value - reach,
        offset_high_k=value + reach,
        corrected=corrected,
    )


def test_the_words_say_how_much_how_sure_and_what_was_done():
    said = offset_words(an_offset(-0.6, 0.2))
    for part in ("0.6 K less than cold", "between 0.4 and 0.8 K", "55 nights", "corrected for it"):
        assert part in said
    both_ways = offset_words(an_offset(0.1, 0.2))
    assert "between 0.1 K the other way and 0.3 K" in both_ways
    left = offset_words(an_offset(4.0, 0.3, corrected=False))
    assert "not corrected" in left
    assert "check valve" in left
    assert heat_basis("flow_and_temperatures_offset_learnt").startswith(
        heat_basis("flow_and_temperatures")
    )
