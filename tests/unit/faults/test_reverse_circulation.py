"""Reverse circulation: warm collectors in the dark, and collectors that merely cool slowly."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.faults import Judged, NotJudged
from analysis.faults.reverse_circulation import seasonal_air_c
from fixtures.faults import Fault
from fixtures.weather import ALPINE
from tests.build import FULL_LOG, NO_SUN_LOG, PUMP_LOG, a_plant, at, of_kind, with_values

KIND = "reverse_circulation"
LEAK = Fault(kind=KIND, start="2025-03-05", end="2025-03-22")
LOGS = pytest.mark.parametrize("channels", [FULL_LOG, NO_SUN_LOG, PUMP_LOG])


@LOGS
def test_a_leaking_check_valve_is_found_and_its_end_seen(channels):
    plant = a_plant(start="2025-03-01", days=34, channels=channels, faults=(LEAK,))
    (found,) = of_kind(plant.report(), KIND)
    assert at("2025-03-05T00:00") <= found.start_s <= at("2025-03-10T00:00")
    assert found.end_s is not None
    assert at("2025-03-16T00:00") <= found.end_s <= at("2025-03-23T00:00")
    assert found.lost is not None
    assert found.lost.low > 0.0


def test_high_up_the_night_air_is_cooler_where_nobody_measures_it():
    high = {"latitude_deg": 46.8, "elevation_m": 1400.0, "climate": ALPINE}
    leak = Fault(kind=KIND, start="2025-09-05", end="2025-09-25")
    plant = a_plant(start="2025-09-01", days=25, channels=PUMP_LOG, faults=(leak,), **high)
    assert of_kind(plant.report(), KIND)
    sound = a_plant(start="2025-09-01", days=25, channels=PUMP_LOG, **high)
    assert of_kind(sound.report(), KIND) == ()


def test_a_leak_that_goes_on_has_no_end():
    plant = a_plant(start="2025-03-01", days=25, faults=(replace(LEAK, end=None),))
    (found,) = of_kind(plant.report(), KIND)
    assert found.end_s is None


def test_the_loss_is_of_the_size_of_the_truth():
    plant = a_plant(start="2025-03-01", days=34, faults=(LEAK,), sensors="perfect")
    (found,) = of_kind(plant.report(), KIND)
    true_kwh = sum(plant.run.daily_truth(of="reversed_w").values())
    assert found.lost.low <= true_kwh <= found.lost.high


@LOGS
@pytest.mark.parametrize("start", ["2025-03-01", "2025-07-01", "2025-10-01"])
def test_a_sound_plant_is_clear_in_any_season(start, channels):
    plant = a_plant(start=start, days=30, channels=channels)
    assert of_kind(plant.report(), KIND) == ()


@LOGS
@pytest.mark.parametrize("start", ["2025-04-01", "2025-07-01"])
def test_a_collector_that_cools_slowly_is_not_it(start, channels):
    """Twice the capacity that the papers state: it stays warm far into the night by itself."""
    plant = a_plant(start=start, heat_capacity_kj_m2k=30.0, channels=channels)
    arrays = tuple(replace(array, heat_capacity_kj_m2k=15.0) for array in plant.site.arrays)
    slow = replace(plant, site=replace(plant.site, arrays=arrays))
    assert of_kind(slow.report(), KIND) == ()


@LOGS
def test_a_hot_collector_after_a_full_store_is_not_it(channels):
    plant = a_plant(start="2025-07-01", away=(("2025-07-05", "2025-07-25"),), channels=channels)
    assert of_kind(plant.report(), KIND) == ()


def test_a_pump_that_runs_at_night_is_another_matter():
    fault = Fault(kind="night_running", start="2025-03-05", end="2025-03-22")
    plant = a_plant(start="2025-03-01", days=30, faults=(fault,))
    assert of_kind(plant.report(), KIND) == ()


def test_two_nights_are_too_few():
    fault = Fault(kind=KIND, start="2025-03-05", end="2025-03-07")
    plant = a_plant(start="2025-03-01", days=20, faults=(fault,))
    assert plant.conclusion(KIND) == Judged(findings=())


def test_without_a_store_warmer_than_the_roof_nothing_can_be_said():
    plant = a_plant(start="2025-03-01", days=10)
    cold = plant.record.columns["collector"]
    record = with_values(
        plant.record, **{name: np.minimum(cold, 20.0) for name in ("store_bottom", "store_top")}
    )
    conclusion = replace(plant, record=record).conclusion(KIND)
    assert isinstance(conclusion, NotJudged)
    assert "store warmer" in conclusion.why


@pytest.mark.parametrize(
    ("latitude_deg", "instant", "lowest", "highest"),
    [
        # Usual monthly means of places near sea level, rounded, from memory: for plausibility only.
        (52.0, "2025-01-20", -3.0, 6.0),
        (52.0, "2025-07-20", 13.0, 22.0),
        (37.0, "2025-07-20", 17.0, 28.0),
        (-34.0, "2025-01-20", 17.0, 27.0),
        (-34.0, "2025-07-20", 6.0, 15.0),
        (0.0, "2025-04-20", 24.0, 29.0),
    ],
)
def test_the_season_is_roughly_right_on_both_sides_of_the_equator(
    latitude_deg, instant, lowest, highest
):
    found = float(seasonal_air_c(latitude_deg, np.array([at(f"{instant}T00:00")]))[0])
    assert lowest <= found <= highest
