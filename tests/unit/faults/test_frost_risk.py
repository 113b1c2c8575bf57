"""Frost risk: water in winter, and antifreeze, drained roofs and broken sensors that are fine."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from analysis.fluid import ice_point_c
from analysis.site import Change
from tests.build import (
    FULL_LOG,
    PUMP_LOG,
    Plant,
    a_clear_day,
    a_plant,
    a_site,
    at,
    fault_of,
    of_kind,
)

KIND = "frost_risk"
WATER = {"fluid": "water", "concentration_frac": 0.0}


def single(record, **loop):
    plant = Plant(site=a_site(loop=loop), record=record, channels=frozenset(record.columns))
    return plant.table(catalogue=(fault_of(KIND),)).of_kind(KIND)


def cold_night(lowest_c, *, hours=4.0, **given):
    hour = np.arange(288) / 12.0
    cold = (hour >= 1.0) & (hour < 1.0 + hours)
    return a_clear_day(**{"collector": np.where(cold, lowest_c, 15.0), **given})


@pytest.mark.parametrize("channels", [FULL_LOG, PUMP_LOG])
def test_water_in_a_january_is_for_today(channels):
    found = of_kind(a_plant(start="2025-01-05", channels=channels, **WATER).report(), KIND)
    assert found
    assert {item.urgency for item in found} == {"act"}
    assert {item.channel for item in found} == {"collector"}


def test_forty_percent_glycol_in_the_same_january_is_fine():
    assert of_kind(a_plant(start="2025-01-05").report(), KIND) == ()


def test_a_roof_that_drains_while_the_pump_rests_is_fine():
    plant = a_plant(start="2025-01-05", site={"loop": {"kind": "drain_back"}}, **WATER)
    assert of_kind(plant.report(), KIND) == ()


@pytest.mark.parametrize(
    ("loop", "above", "below"),
    [
        (WATER, 3.5, 2.5),
        ({"fluid": "propylene_glycol", "concentration_frac": 0.4}, -17.0, -19.5),
        ({"fluid": "propylene_glycol", "concentration_frac": 0.2}, -3.5, -6.0),
        ({"fluid": "ethylene_glycol", "concentration_frac": 0.3}, -11.0, -13.5),
    ],
)
def test_the_limit_lies_three_kelvin_over_the_ice_point(loop, above, below):
    assert ice_point_c(**loop) + 3.0 == pytest.approx((above + below) / 2.0, abs=1.6)
    assert single(cold_night(above), **loop) == ()
    (seen,) = single(cold_night(below), **loop)
    assert seen.values["lowest_c"] == pytest.approx(below)


def test_a_clear_winter_night_on_the_roof_with_glycol_is_fine():
    """The collector radiates to the sky and falls below the air: -14 C with 40 % glycol."""
    assert single(cold_night(-14.0, ambient=-9.0)) == ()


@pytest.mark.parametrize("channel", ["collector", "loop_hot", "loop_cold"])
def test_any_sensor_of_the_loop_can_see_it(channel):
    hour = np.arange(288) / 12.0
    day = a_clear_day(**{channel: np.where(hour < 6.0, 1.0, 20.0)})
    (seen,) = single(day, **WATER)
    assert seen.channel == channel


def test_cold_outdoor_air_alone_is_not_it():
    assert single(a_clear_day(ambient=-12.0), **WATER) == ()


def test_a_sensor_below_any_weather_is_broken_and_not_cold():
    assert single(cold_night(-48.0), **WATER) == ()


@pytest.mark.parametrize(("hours", "seen"), [(0.25, 0), (0.5, 1), (6.0, 1)])
def test_a_moment_is_not_reported(hours, seen):
    assert len(single(cold_night(1.0, hours=hours), **WATER)) == seen


def test_unknown_values_are_not_cold():
    assert single(a_clear_day(collector=np.nan), **WATER) == ()


def test_many_cold_nights_are_one_finding_that_lasts_while_the_fluid_does():
    plant = a_plant(start="2025-01-05", days=40, **WATER)
    (found,) = of_kind(plant.report(), KIND)
    assert len(plant.table().of_kind(KIND)) > 1
    assert found.end_s is None


def test_a_better_fluid_on_record_ends_it():
    plant = a_plant(start="2025-01-05", days=40, **WATER)
    changes = tuple(
        Change(date=date(2025, 2, 10), key=f"loop.{key}", value=value, why="refilled")
        for key, value in (("fluid", "propylene_glycol"), ("concentration", 0.4))
    )
    (found,) = of_kind(plant.report(), KIND)
    mended = replace(plant, site=replace(plant.site, changes=changes))
    (over,) = of_kind(mended.report(), KIND)
    assert found.end_s is None
    assert over.end_s is not None
    assert over.end_s <= at("2025-02-10T00:00")
