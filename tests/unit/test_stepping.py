"""Samples and means are told apart by the pump's edges; the plants are invented."""

import pytest

from analysis.stepping import values_kind
from fixtures.scenario import home
from tests.plants import POOR, examine


@pytest.mark.parametrize("values", ["sample", "mean"])
@pytest.mark.parametrize("channels", [None, POOR])
def test_the_edges_of_a_switched_pump_tell_samples_from_means(values, channels):
    plant = examine(
        home(least_speed=1.0),
        seed=4,
        start="2025-05-01",
        days=60,
        values=values,
        channels=channels,
    )
    assert values_kind(plant.table) == values


@pytest.mark.parametrize("values", ["sample", "mean"])
def test_a_speed_controlled_pump_tells_nothing(values):
    plant = examine(home(least_speed=0.3), seed=4, start="2025-05-01", days=60, values=values)
    assert values_kind(plant.table) is None


def test_few_edges_say_nothing():
    plant = examine(home(least_speed=1.0), seed=4, start="2025-12-01", days=2)
    assert values_kind(plant.table) is None


def test_a_site_file_that_says_nothing_is_told_of_means():
    plant = examine(home(least_speed=1.0), seed=4, start="2025-05-01", days=60, values="mean")
    assert any("means over their step" in note for note in plant.report.basis.notes)
