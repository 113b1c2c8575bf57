"""A wrong clock is found by the sun's hours; planes, hills and dull weather look alike."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.faults import Judged, NotJudged
from analysis.record import record_from_stamps
from fixtures.faults import Fault
from fixtures.weather import DULL
from tests.build import FULL_LOG, NO_SUN_LOG, PUMP_LOG, Plant, a_plant, of_kind

pytestmark = pytest.mark.thorough

KIND = "clock_wrong"
SETS = pytest.mark.parametrize("channels", [FULL_LOG, NO_SUN_LOG, PUMP_LOG])


def moved(plant: Plant, ahead_s) -> Plant:
    """Give the plant as a clock would log it that is ahead by so much."""
    start_s, first = np.unique(plant.record.start_s + ahead_s, return_index=True)
    columns = {name: values[first] for name, values in plant.record.columns.items()}
    return replace(
        plant, record=record_from_stamps(stamp_s=start_s, columns=columns, stamp="start")
    )


def findings(plant: Plant):
    conclusion = plant.conclusion(KIND)
    assert isinstance(conclusion, Judged)
    return conclusion.findings


def minutes_of(found) -> float:
    return next(one.value for one in found.evidence if one.unit == "min")


@SETS
@pytest.mark.parametrize("minutes", [30, -45])
def test_a_clock_off_from_the_start_is_found_by_every_set_with_a_collector(channels, minutes):
    plant = a_plant(start="2025-03-20", days=50, channels=channels)
    (found,) = findings(moved(plant, minutes * 60))
    assert (found.urgency, found.end_s) == ("watch", None)
    within = 8.0 if channels is FULL_LOG else 1.96 * found.evidence[1].value
    assert abs(minutes_of(found) - minutes) < within
    assert found.evidence[1].value < 11.0
    assert ("ahead of" if minutes > 0 else "behind") in found.summary
    assert "clock_offset_min = " in found.summary
    assert findings(plant) == ()


@pytest.mark.parametrize("channels", [FULL_LOG, PUMP_LOG])
def test_a_clock_that_was_put_over_and_right_again_is_found_with_its_span(channels):
    faults = (Fault(kind="clock_offset", start="2025-04-20", end="2025-06-01", value=75.0),)
    plant = a_plant(start="2025-03-10", days=120, channels=channels)
    start_s, end_s = (
        int(np.datetime64(day, "s").astype(np.int64)) for day in (faults[0].start, faults[0].end)
    )
    inside = (plant.record.start_s >= start_s) & (plant.record.start_s < end_s)
    (found,) = findings(moved(plant, np.where(inside, 75 * 60, 0)))
    give_s = (3 if channels is FULL_LOG else 8) * 86400
    assert abs(found.start_s - start_s) < give_s
    assert found.end_s is not None
    assert abs(found.end_s - end_s) < give_s
    assert "clock_from = 2025-04-" in found.summary
    assert "clock_until = " in found.summary


@pytest.mark.parametrize(("channels", "ahead_min"), [(PUMP_LOG, 30), (NO_SUN_LOG, -30)])
def test_half_an_hour_for_two_months_is_told_without_a_sun_sensor(channels, ahead_min):
    plant = a_plant(start="2025-05-01", days=112, channels=channels)
    first_s, end_s = (
        int(np.datetime64(day, "s").astype(np.int64)) for day in ("2025-06-10", "2025-08-09")
    )
    inside = (plant.record.start_s >= first_s) & (plant.record.start_s < end_s)
    (found,) = findings(moved(plant, np.where(inside, ahead_min * 60, 0)))
    assert abs(minutes_of(found) - ahead_min) < 1.96 * found.evidence[1].value
    assert abs(found.start_s - first_s) < 6 * 86400
    assert findings(plant) == ()


def test_a_clock_that_gains_is_a_drift_with_its_rate():
    plant = a_plant(start="2025-02-01", days=160)
    late_s = plant.record.start_s - plant.record.start_s[0]
    (found,) = findings(moved(plant, (late_s * 12 * 60 / (30.4375 * 86400)).astype(np.int64)))
    assert "gains 1" in found.summary
    assert "clock_drift_min_per_month = 1" in found.summary


def test_a_clock_without_summer_time_is_a_matter_of_its_zone():
    plant = a_plant(start="2025-02-15", days=80)
    summer = plant.record.start_s >= int(np.datetime64("2025-03-30T01:00", "s").astype(np.int64))
    (found,) = findings(moved(plant, np.where(summer, -3600, 0)))
    assert 'timezone = "UTC"' in found.summary
    assert "as if it ran on UTC" in found.summary


@pytest.mark.parametrize("azimuth_deg", [90.0, 270.0])
@SETS
def test_planes_to_the_east_and_west_are_clear(azimuth_deg, channels):
    assert findings(a_plant(days=40, azimuth_deg=azimuth_deg, channels=channels)) == ()


@SETS
def test_hills_and_dull_weather_are_clear(channels):
    hills = {
        "horizon_azimuth_deg": (60.0, 100.0, 140.0, 150.0),
        "horizon_elevation_deg": (15.0, 20.0, 8.0, 0.0),
    }
    assert findings(a_plant(days=40, climate=DULL, channels=channels, **hills)) == ()


@SETS
def test_a_full_store_in_a_holiday_is_clear(channels):
    away = (("2025-05-10", "2025-05-31"),)
    assert findings(a_plant(days=45, away=away, channels=channels)) == ()


def test_a_log_without_sun_sensor_and_collector_cannot_be_judged():
    plant = a_plant(channels=("store_bottom", "store_top", "pump"))
    conclusion = plant.conclusion(KIND)
    assert isinstance(conclusion, NotJudged)
    assert "collector" in conclusion.why


def test_a_clock_twelve_hours_off_explains_a_pump_at_night():
    plant = moved(a_plant(start="2025-06-01", days=30, channels=PUMP_LOG), 11 * 3600)
    report = plant.report()
    assert of_kind(report, KIND)
    for item in of_kind(report, "night_running"):
        assert item.suppressed_by == KIND
