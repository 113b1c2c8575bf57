"""Store overheat: hotter than the limit allows, and not a store that is meant to be hot."""

from dataclasses import replace

import numpy as np
import pytest

from fixtures.faults import Fault
from tests.build import Plant, a_clear_day, a_history, a_plant, a_site, fault_of, of_kind

pytestmark = pytest.mark.thorough

KIND = "store_overheat"


def single(*, top=70.0, hours=2.0, **store):
    """Give what one day shows whose store top is hot from noon UTC."""
    hour = np.arange(288) / 12.0
    hot = (hour >= 12.0) & (hour < 12.0 + hours)
    record = a_clear_day(store_top=np.where(hot, top, 60.0))
    plant = Plant(site=a_site(store=store), record=record, channels=frozenset(record.columns))
    return plant.conclusion(KIND).findings


@pytest.mark.parametrize(
    ("given", "seen"),
    [
        ({"top": 84.0}, 0),
        ({"top": 87.0}, 1),
        ({"top": 87.0, "hours": 0.3}, 0),
        # A limit stated that high is what somebody wanted, up to what the parts bear.
        ({"top": 87.0, "limit_c": 85.0}, 0),
        ({"top": 93.0, "limit_c": 85.0}, 1),
        ({"top": 94.0, "limit_c": 95.0}, 0),
        ({"top": 96.0, "limit_c": 95.0}, 1),
    ],
)
def test_what_counts_is_over_the_limit_and_long_enough(given, seen):
    assert len(single(**given)) == seen


@pytest.mark.parametrize(
    ("given", "urgency"),
    [
        ({"top": 88.0}, "watch"),
        ({"top": 88.0, "mixing_valve_c": None}, "act"),
        ({"top": 97.0}, "act"),
    ],
)
def test_act_is_for_near_boiling_or_no_valve(given, urgency):
    (found,) = single(**given)
    assert found.urgency == urgency
    assert ("no mixing valve" in found.summary) is ("mixing_valve_c" in given)
    assert found.end_s is None


def test_a_raised_limit_is_one_finding_that_a_well_held_store_ends():
    fault = Fault(kind="limit_raised", start="2025-06-03", end="2025-06-20")
    plant = a_plant(
        start="2025-06-01", days=60, tubes=30, volume_l=200.0, litres_per_day=60.0, faults=(fault,)
    )
    (found,) = of_kind(plant.report(), KIND)
    edges = plant.table(catalogue=()).days.edge_s
    assert edges[2] <= found.start_s < edges[8]
    assert found.end_s <= edges[20]
    assert found.urgency in ("visit", "act")
    assert found.lost is None


def test_a_danger_of_weeks_ago_asks_for_a_visit():
    (found,) = single(top=97.0)
    record = a_clear_day(store_top=np.where(np.arange(288) < 24, 97.0, 60.0))
    plant = Plant(site=a_site(), record=record, channels=frozenset(record.columns))
    table = plant.table(catalogue=(fault_of(KIND),))
    history = replace(a_history(table, site=plant.site), until_s=found.start_s + 40 * 86400)
    assert [item.urgency for item in fault_of(KIND).conclude(history).findings] == ["visit"]


def test_a_small_house_with_a_healthy_controller_is_clear():
    plant = a_plant(start="2025-06-01", days=40, tubes=30, volume_l=200.0, litres_per_day=40.0)
    assert of_kind(plant.report(), KIND) == ()


def test_a_broken_store_sensor_explains_it():
    fault = Fault(
        kind="sensor_open",
        start="2025-06-05",
        end="2025-06-25",
        channel="store_top",
        value=120.0,
    )
    plant = a_plant(start="2025-06-01", faults=(fault,))
    for found in of_kind(plant.report(), KIND):
        assert found.suppressed_by == "sensor_fault"
