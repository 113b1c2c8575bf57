"""No draw: an empty house is told from a used one, and told to nobody else."""

import pytest

from analysis.faults import Judged, NotJudged
from fixtures.faults import Fault
from tests.build import PUMP_LOG, a_plant, of_kind

pytestmark = pytest.mark.thorough

KIND = "no_draw"


@pytest.mark.parametrize("channels", [None, PUMP_LOG])
def test_a_time_away_is_put_on_record_from_its_first_to_its_last_day(channels):
    given = {} if channels is None else {"channels": channels}
    plant = a_plant(start="2025-06-01", days=40, away=(("2025-06-10", "2025-06-24"),), **given)
    (found,) = of_kind(plant.report(), KIND)
    edges = plant.table(catalogue=()).days.edge_s
    assert found.start_s == edges[9]
    assert found.end_s == edges[23]
    assert found.urgency == "record"
    assert found.lost is None


def test_it_lasts_while_nobody_draws():
    plant = a_plant(start="2025-06-01", days=20, away=(("2025-06-10", "2025-06-30"),))
    (found,) = of_kind(plant.report(), KIND)
    assert found.end_s is None


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("litres", [40.0, 120.0])
def test_a_house_in_use_is_clear(seed, litres):
    plant = a_plant(start="2025-04-01", days=60, seed=seed, litres_per_day=litres)
    conclusion = plant.conclusion(KIND)
    assert isinstance(conclusion, Judged)
    assert conclusion.findings == ()


@pytest.mark.parametrize(
    "given",
    [
        # A weekend is too short to speak of.
        {"away": (("2025-06-14", "2025-06-16"),)},
        {"faults": (Fault(kind="pump_dead", start="2025-06-10", end="2025-06-20"),)},
        {"faults": (Fault(kind="silence", start="2025-06-10", end="2025-06-20"),)},
    ],
)
def test_weekends_and_faults_are_not_it(given):
    plant = a_plant(start="2025-06-01", **given)
    assert of_kind(plant.report(), KIND) == ()


def test_without_the_store_it_is_not_judged():
    plant = a_plant(days=10, channels=("collector", "pump"))
    assert isinstance(plant.conclusion(KIND), NotJudged)
