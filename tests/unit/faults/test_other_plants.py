"""Plants of another simulator: what must not be called there, and what must be found."""

import numpy as np
import pytest

from analysis.heat import heat_flow
from analysis.sunfit import check_sun
from tests.build import Plant, a_record, a_site, asking, at, of_kind, with_values
from tests.other_plant import Other, log_of

pytestmark = pytest.mark.thorough

DAY_S = 86400


def report_of(other, record=None):
    """Analyse the log of another plant, or the record that was made of it."""
    record = record if record is not None else log_of(other)
    channels = frozenset(record.columns)
    return Plant(site=other.site, record=record, channels=channels).report()


def day_of(other, time_s):
    return (time_s - at(f"{other.start}T00:00")) / DAY_S


def between(record, first, last):
    """Tell the rows of some days of a record, counted from its beginning."""
    day = (record.start_s - record.start_s[0]) / DAY_S
    return (day >= first) & (day < last)


@pytest.mark.parametrize(
    "limits",
    [
        {"limit": 62.0, "hysteresis_k": 9.0, "cutout": 200.0},
        {"limit": 60.0, "hysteresis_k": 9.0, "limit_on_top": True, "volume": 400.0},
        {"limit": 70.0, "hysteresis_k": 9.0, "limit_on_top": True, "volume": 400.0},
        {"limit": 60.0, "hysteresis_k": 2.0, "cutout": 110.0},
    ],
)
@pytest.mark.parametrize("without", [(), ("irradiance_plane", "flow", "loop_hot", "loop_cold")])
def test_a_full_store_waits_for_its_release_whatever_sensor_and_hysteresis_it_has(limits, without):
    other = Other(days=45, start="2025-05-01", litres_per_day=50.0, **limits)
    assert asking(report_of(other, log_of(other, without=without))) == []


@pytest.mark.parametrize("limit_on_top", [False, True])
def test_a_pump_that_dies_behind_a_full_store_is_found_within_three_days(limit_on_top):
    other = Other(days=40, start="2025-05-01", hysteresis_k=9.0, dead=(20, 30), cutout=200.0,
                  limit_on_top=limit_on_top, limit=70.0)  # fmt: skip
    (found,) = of_kind(report_of(other), "lost_circulation")
    assert 20.0 <= day_of(other, found.start_s) <= 23.0
    assert 30.0 <= day_of(other, found.end_s) <= 32.0


def test_runs_of_broken_days_are_no_weaker_collector_on_tubes_that_hold_much_heat():
    other = Other(days=150, start="2025-03-01", capacity_kj=30.0, clear=0.35, volume=250.0,
                  litres_per_day=200.0, area=2.2, seed=2)  # fmt: skip
    assert of_kind(report_of(other), "degraded_tubes") == ()


def test_a_shaded_array_is_dated_and_sized_by_the_days_that_follow():
    other = Other(days=165, start="2025-03-01", shade=(110, 140), volume=300.0,
                  litres_per_day=200.0)  # fmt: skip
    (found,) = of_kind(report_of(other), "degraded_tubes")
    assert day_of(other, found.start_s) == pytest.approx(110.0, abs=3.0)
    assert day_of(other, found.end_s) == pytest.approx(140.0, abs=3.0)
    # 38 % of the gain is gone; of the output, after an unchanged loss, somewhat more.
    assert 34.0 <= found.evidence[0].value <= 46.0


@pytest.mark.parametrize("without", [(), ("irradiance_plane", "flow", "loop_hot", "loop_cold")])
def test_a_store_that_rests_on_one_kelvin_under_an_airlock_is_no_stuck_sensor(without):
    other = Other(days=40, start="2025-05-01", airlock=(15, 30), grain_k=1.0)
    report = report_of(other, log_of(other, without=without))
    assert of_kind(report, "sensor_fault") == ()
    assert {kind for kind, *_ in asking(report)} == {"lost_circulation"}


def test_a_pump_dead_behind_its_command_is_not_hidden_by_a_store_at_rest_in_a_coarse_log():
    other = Other(days=40, start="2025-05-01", dead=(15, 30), grain_k=1.0, volume=400.0)
    record = log_of(other, without=("irradiance_plane", "flow", "loop_hot", "loop_cold"))
    assert {kind for kind, *_ in asking(report_of(other, record))} == {"lost_circulation"}


def test_a_flow_meter_that_stays_at_zero_over_warm_pipes_is_found():
    other = Other(days=40, start="2025-05-01", volume=300.0, litres_per_day=200.0)
    record = log_of(other)
    stuck = np.where(between(record, 15, 30), 0.0, record.columns["flow"])
    (found,) = of_kind(report_of(other, with_values(record, flow=stuck)), "sensor_fault")
    assert found.channel == "flow"
    assert day_of(other, found.start_s) == pytest.approx(15.0, abs=1.0)
    assert day_of(other, found.end_s) == pytest.approx(30.0, abs=1.0)


def test_a_stuck_pyranometer_does_not_move_the_site():
    other = Other(days=60)
    record = log_of(other)
    stuck = np.where(between(record, 10, 18), 512.0, record.columns["irradiance_plane"])
    assert check_sun(site=other.site, record=with_values(record, irradiance_plane=stuck)) is None


def test_a_pipe_warmer_than_the_roof_counts_backwards_where_the_meter_shows_no_direction():
    record = a_record(rows=12, collector=27.0, loop_hot=30.0, loop_cold=25.0, flow=0.5, pump=0.0)
    heat = heat_flow(site=a_site(), record=record, channels=frozenset(record.columns))
    assert (heat.power_w < 0.0).all()
