"""Sensor faults: open, stuck and missing channels, and things that merely rest."""

from dataclasses import replace

import numpy as np
import pytest

from fixtures.faults import Fault
from tests.build import (
    FULL_LOG,
    Plant,
    a_clear_day,
    a_plant,
    a_site,
    at,
    fault_of,
    of_kind,
    with_values,
)

KIND = "sensor_fault"
TEMPERATURES = ("collector", "loop_hot", "loop_cold", "store_bottom", "store_top", "ambient")


def faulty(kind, channel, *, start="2025-05-08", **given):
    fault = Fault(kind=kind, start=start, end="2025-05-16", channel=channel, **given)
    return a_plant(start="2025-05-01", faults=(fault,))


def about(plant, channel):
    """Give the findings about one channel, and see that there are none about others."""
    found = of_kind(plant.report(), KIND)
    assert {item.channel for item in found} <= {channel}
    return found


def coarsened(plant, step_k):
    """Give the plant as a logger with coarse steps writes it down."""
    columns = {
        name: np.round(plant.record.columns[name] / step_k) * step_k for name in TEMPERATURES
    }
    return replace(plant, record=with_values(plant.record, **columns))


@pytest.mark.parametrize(
    ("channel", "value"),
    [("collector", 999.9), ("collector", -60.0), ("store_bottom", 850.0), ("ambient", 999.0)],
)
def test_an_open_sensor_is_found_with_its_days(channel, value):
    (found,) = about(faulty("sensor_open", channel, value=value), channel)
    assert at("2025-05-07T22:00") <= found.start_s <= at("2025-05-08T06:00")
    assert found.end_s is not None
    assert at("2025-05-15T20:00") <= found.end_s <= at("2025-05-16T06:00")
    assert "off its scale" in found.summary


@pytest.mark.parametrize("channel", ["loop_hot", "flow", "irradiance_plane"])
def test_a_sensor_that_gives_nothing_any_more_is_found(channel):
    (found,) = about(faulty("sensor_open", channel, value=None), channel)
    assert "gave no value" in found.summary
    assert found.start_s == at("2025-05-08T00:00+01:00")
    assert found.end_s == at("2025-05-16T00:00+01:00")


@pytest.mark.parametrize("channel", [*TEMPERATURES, "irradiance_plane"])
@pytest.mark.parametrize(
    "start",
    ["2025-05-08T12:00", pytest.param("2025-05-08T02:00", marks=pytest.mark.thorough)],
    ids=["at noon", "at night"],
)
def test_a_stuck_sensor_is_found(channel, start):
    (found,) = about(faulty("sensor_stuck", channel, start=start), channel)
    assert "repeated one value" in found.summary
    # By midnight of the third day at the latest; it ends when the sensor was changed.
    assert found.start_s <= at("2025-05-10T00:00")
    assert found.end_s is not None
    assert abs(found.end_s - at("2025-05-16T00:00+01:00")) <= 3600


def test_a_flow_that_goes_on_while_the_pump_rests_is_stuck():
    (found,) = about(faulty("sensor_stuck", "flow", start="2025-05-08T12:00"), "flow")
    assert found.end_s is not None


def test_sensors_that_steer_the_loop_are_worth_a_visit():
    for channel in ("collector", "store_bottom"):
        (found,) = about(faulty("sensor_stuck", channel), channel)
        assert found.urgency == "visit"


def test_what_a_broken_collector_sensor_does_to_the_loop_is_explained():
    report = faulty("sensor_open", "collector", value=999.9).report()
    assert [item.kind for item in report.findings if item.urgency != "record"] == [KIND]


@pytest.mark.parametrize("start", ["2025-01-05", "2025-07-01", "2025-11-10"])
def test_a_sound_plant_is_clear_in_any_season(start):
    assert about(a_plant(start=start, days=40), None) == ()


@pytest.mark.parametrize("start", ["2025-01-05", "2025-07-01", "2025-11-10"])
def test_a_resting_store_and_a_logger_of_whole_kelvins_are_not_a_stuck_sensor(start):
    month = start[:8]
    resting = a_plant(start=start, days=40, backup_w=0.0, away=((f"{month}12", f"{month}28"),))
    assert about(coarsened(resting, 1.0), None) == ()


def test_a_stuck_sensor_is_found_through_a_logger_of_whole_kelvins_where_heat_moved():
    for channel in ("collector", "store_bottom"):
        plant = coarsened(faulty("sensor_stuck", channel), 1.0)
        (found,) = about(plant, channel)
        assert found.urgency == "visit"


def test_a_night_without_flow_and_sun_is_not_a_stuck_sensor():
    plant = a_plant(start="2025-12-10", days=15)
    assert about(plant, None) == ()


def test_a_channel_that_was_never_there_is_not_missing():
    plant = a_plant(start="2025-05-01", channels=FULL_LOG[:6])
    assert about(plant, None) == ()


def test_a_silent_logger_is_not_a_missing_sensor():
    fault = Fault(kind="silence", start="2025-05-08", end="2025-05-12")
    assert about(a_plant(start="2025-05-01", faults=(fault,)), None) == ()


def test_a_few_odd_readings_are_no_fault():
    plant = a_plant(start="2025-05-01", days=10)
    values = plant.record.columns["collector"].copy()
    values[np.arange(50, 1000, 97)] = np.nan
    masked = np.isnan(values)
    record = replace(with_values(plant.record, collector=values), masked={"collector": masked})
    assert about(replace(plant, record=record), None) == ()


def test_a_day_of_even_sun_by_hand_is_not_stuck():
    day = a_clear_day()
    plant = Plant(site=a_site(), record=day, channels=frozenset(day.columns))
    seen = plant.table(catalogue=(fault_of(KIND),)).of_kind(KIND)
    # Only pipes that rest all night at one invented value, for less than a day.
    assert {item.channel for item in seen} <= {"loop_hot", "loop_cold"}


def test_darkness_before_and_after_a_hole_is_not_one_value():
    plant = a_plant(start="2025-05-01", days=5)
    dark = plant.record.columns["irradiance_plane"].copy()
    day = (plant.record.start_s >= at("2025-05-02T22:00")) & (
        plant.record.start_s < at("2025-05-04")
    )
    dark[day] = 0.0
    stuck = replace(plant, record=with_values(plant.record, irradiance_plane=dark))
    assert of_kind(stuck.report(), KIND)
    hour = plant.record.start_s // 3600 % 24
    holed = np.where(day & (hour >= 3) & (hour < 21), np.nan, dark)
    gone = replace(plant, record=with_values(plant.record, irradiance_plane=holed))
    assert of_kind(gone.report(), KIND) == ()
