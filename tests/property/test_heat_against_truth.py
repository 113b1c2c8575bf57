"""Heat and its bounds against the simulator's truth: a small share of the benches.

The plants are invented; the simulator has its own collector, fluid and sun. Whole figures:
`python -m tests.bench.accuracy` and `python -m tests.bench.bounds`.
"""

import numpy as np
import pytest

from fixtures.scenario import home, school
from fixtures.simulate import simulate
from tests.bench.accuracy import errors
from tests.bench.bounds import held
from tests.plants import examine


@pytest.fixture(scope="module")
def ordinary_home():
    scenario = home()
    return scenario, simulate(scenario, seed=1, start="2025-01-01", days=365)


@pytest.mark.parametrize(("step_s", "year_frac"), [(60, 0.005), (300, 0.01)])
def test_heat_with_perfect_sensors_agrees_with_the_truth(ordinary_home, step_s, year_frac):
    scenario, run = ordinary_home
    plant = examine(scenario, seed=1, run=run, sensors="perfect", step_s=step_s)
    within, _, year = errors(plant, step_s=step_s, values="sample")
    assert within >= 0.95
    assert abs(year) <= year_frac


def test_heat_holds_whatever_the_size_of_the_plant():
    scenario = school()
    plant = examine(scenario, seed=2, sensors="perfect", step_s=60, start="2025-05-01", days=60)
    truth = sum(plant.true_kwh.values())
    assert plant.report.totals.delivered_kwh == pytest.approx(truth, rel=0.005)


def test_bounds_hold_the_truth_about_as_often_as_they_say():
    """60 draws of errors: 95 % of them with three standard deviations of chance is 86 %."""
    results = [
        held(home(), seed=11, draws=30, step_s=300, days=120),
        held(home(tubes=24, temperature_class="A"), seed=12, draws=30, step_s=300, days=120),
    ]
    # A day and the year as summed, then both with the offset of the pipe sensors learnt.
    assert (np.mean(np.concatenate(results), axis=0) >= 0.86).all()


def test_bounds_are_no_wider_than_the_sensors_make_them():
    """Class AA sensors, 2 % flow: bounds beyond 6 % would mean that something else fills them."""
    plant = examine(
        home(temperature_class="AA", flow_percent=2.0), seed=13, start="2025-05-01", days=60
    )
    totals = plant.report.totals
    width = totals.delivered_high_kwh - totals.delivered_low_kwh
    assert width / 2.0 < 0.06 * totals.delivered_kwh
