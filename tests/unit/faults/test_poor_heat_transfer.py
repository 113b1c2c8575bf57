"""Poor heat transfer: a limed coil in every set of channels; not little flow, not a dead pump."""

import numpy as np
import pytest

from analysis.faults import Judged, NotJudged
from fixtures.faults import Fault
from tests.build import FULL_LOG, NO_SUN_LOG, PUMP_LOG, a_plant, of_kind

pytestmark = pytest.mark.thorough

KIND = "poor_heat_transfer"
METER = (*PUMP_LOG, "heat_register", "ambient")
FOUR = ("collector", "loop_hot", "loop_cold", "store_bottom", "pump")
LIMED = Fault(kind=KIND, start="2025-05-08", end="2025-05-25")
# The simulator's coil of 260 W/K at 0.12 of its transfer, over the flow's 99 W/K (invented plant).
TRUE_UNITS = 0.12 * 260.0 / 99.0


@pytest.mark.parametrize("channels", [FULL_LOG, NO_SUN_LOG, FOUR, METER, PUMP_LOG])
def test_a_limed_coil_is_one_finding_that_ends_when_it_is_descaled(channels):
    plant = a_plant(start="2025-05-01", days=34, step_s=600, faults=(LIMED,), channels=channels)
    report = plant.report()
    (found,) = of_kind(report, KIND)
    edges = plant.table(catalogue=()).days.edge_s
    assert edges[7] <= found.start_s < edges[11]
    assert edges[20] < found.end_s <= edges[24]
    assert found.evidence[1].value == pytest.approx(TRUE_UNITS, abs=0.1)
    assert found.lost.low < found.lost.value < found.lost.high
    assert of_kind(report, "lost_circulation") == () or all(
        item.suppressed_by == KIND for item in of_kind(report, "lost_circulation")
    )


def test_what_it_cost_lies_within_the_bounds():
    given = {"start": "2025-05-01", "days": 40, "step_s": 300}
    plant = a_plant(faults=(LIMED,), **given)
    (found,) = of_kind(plant.report(), KIND)
    ill, well = (sum(run.daily_truth().values()) for run in (plant.run, a_plant(**given).run))
    assert found.lost.low < well - ill < found.lost.high


@pytest.mark.parametrize("channels", [METER, PUMP_LOG])
@pytest.mark.parametrize(
    "given",
    [
        {"faults": (Fault(kind="low_flow", start="2025-05-08", value=0.55),)},
        {"faults": (Fault(kind="pump_dead", start="2025-05-08", end="2025-05-25"),)},
        {"faults": (Fault(kind="airlock", start="2025-05-08", end="2025-05-25"),)},
        {"away": (("2025-05-05", "2025-05-25"),)},
        {"least_speed": 1.0},
    ],
)
def test_little_flow_no_flow_and_full_stores_are_not_it(channels, given):
    plant = a_plant(start="2025-05-01", days=26, step_s=600, channels=channels, **given)
    conclusion = plant.conclusion(KIND)
    assert isinstance(conclusion, Judged)
    assert conclusion.findings == ()


def test_the_share_stays_whatever_the_flow():
    """Little flow lets the fluid cool down to the store: the units at commissioning stay large."""
    low = Fault(kind="low_flow", start="2025-05-01", value=0.4)
    units = a_plant(faults=(low,)).table().column("coil_units")
    assert np.nanmin(units) > 0.8


def test_a_coil_that_was_poor_from_the_first_day_is_found_too():
    plant = a_plant(faults=(Fault(kind=KIND, start="2025-04-01"),))
    (found,) = of_kind(plant.report(), KIND)
    assert found.end_s is None
    assert "usual" in found.summary


def test_without_pipe_sensors_it_says_what_it_cannot_tell_apart():
    assert "flow look alike" in a_plant(channels=PUMP_LOG).conclusion(KIND).why


@pytest.mark.parametrize("missing", ["store_bottom", "pump"])
def test_it_is_not_judged_without_store_or_pump(missing):
    channels = tuple(name for name in PUMP_LOG if name != missing)
    assert isinstance(a_plant(days=5, channels=channels).conclusion(KIND), NotJudged)
