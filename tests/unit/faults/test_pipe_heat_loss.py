"""Pipes that lose too much: bare from the start or since a day; not a sensor that was moved."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.faults import Judged, NotJudged
from fixtures.faults import Fault
from tests.build import FULL_LOG, NO_SUN_LOG, PUMP_LOG, a_plant, of_kind, with_values

pytestmark = pytest.mark.thorough

KIND = "pipe_heat_loss"
FOUR = ("collector", "loop_hot", "loop_cold", "store_bottom", "pump")


@pytest.mark.parametrize("channels", [FULL_LOG, NO_SUN_LOG, FOUR])
def test_pipes_bare_from_the_first_day_are_found(channels):
    bare = Fault(kind=KIND, start="2025-04-01", value=3.5)
    plant = a_plant(start="2025-05-01", days=30, step_s=300, faults=(bare,), channels=channels)
    (found,) = of_kind(plant.report(), KIND)
    assert found.end_s is None
    # Put into the invented plant, whose planned loss is a little below the table's.
    assert found.evidence[0].value == pytest.approx(3.2, abs=0.6)


def test_insulation_lost_and_renewed_is_dated_and_costs_what_is_missing():
    bare = Fault(kind=KIND, start="2025-06-01", end="2025-07-01", value=3.0)
    given = {"start": "2025-05-01", "days": 80, "step_s": 600}
    plant = a_plant(faults=(bare,), **given)
    (found,) = of_kind(plant.report(), KIND)
    edges = plant.table(catalogue=()).days.edge_s
    assert edges[27] <= found.start_s <= edges[36]
    assert edges[56] <= found.end_s <= edges[66]
    ill, well = (sum(run.daily_truth().values()) for run in (plant.run, a_plant(**given).run))
    assert found.lost.low < well - ill < found.lost.high


@pytest.mark.parametrize("moved_k", [1.5, 3.0])
def test_a_sensor_that_was_moved_is_not_it(moved_k):
    plant = a_plant(start="2025-05-01", days=60, step_s=300, channels=NO_SUN_LOG)
    roof = plant.record.columns["collector"] + np.where(
        np.arange(len(plant.record)) > len(plant.record) // 2, moved_k, 0.0
    )
    moved = replace(plant, record=with_values(plant.record, collector=roof))
    conclusion = moved.conclusion(KIND)
    assert isinstance(conclusion, Judged)
    assert conclusion.findings == ()


@pytest.mark.parametrize(
    "given",
    [
        {},
        {"least_speed": 1.0},
        {"faults": (Fault(kind="low_flow", start="2025-05-01", value=0.5),)},
        {"faults": (Fault(kind="poor_heat_transfer", start="2025-05-01"),)},
    ],
)
def test_sound_pipes_little_metered_flow_and_a_poor_coil_are_not_it(given):
    conclusion = a_plant(start="2025-05-01", days=30, step_s=300, **given).conclusion(KIND)
    assert isinstance(conclusion, Judged)
    assert conclusion.findings == ()


def test_without_a_pipe_sensor_or_length_and_past_it_is_not_judged():
    assert "hot pipe" in a_plant(days=20, channels=PUMP_LOG).conclusion(KIND).why
    unknown = a_plant(days=20, site={"loop": {"pipe_length_m": None}}).conclusion(KIND)
    assert isinstance(unknown, NotJudged)
    assert "length" in unknown.why
