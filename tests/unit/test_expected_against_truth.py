"""Expected heat against what invented healthy plants truly delivered: a share of the bench.

`python -m tests.bench.expected` draws five climates, seven plants and the compact plant for years.
"""

import numpy as np
import pytest

from analysis.assess import observe
from analysis.energy import expected
from fixtures.simulate import simulate
from tests.bench.expected import (
    CLIMATES,
    DAY_LIMIT,
    PLANTS,
    YEAR_LIMIT,
    Days,
    compared,
    held,
    observed,
)
from tests.other_plant import Other, heat_kwh, log_of

SPAN = {"start": "2025-04-20", "days": 50}


@pytest.mark.parametrize(
    ("place", "plant"),
    [
        ("continental", "home, heat pipe"),
        ("mediterranean", "home, small store"),
        ("alpine", "flat roof"),
        ("british", "school"),
    ],
)
def test_sensors_without_error_give_the_days_of_a_healthy_plant(place, plant):
    scenario = PLANTS[plant](**CLIMATES[place])
    days = compared(scenario, simulate(scenario, seed=3, **SPAN))
    assert abs(days.wanted.sum() / days.true.sum() - 1.0) <= YEAR_LIMIT
    error = np.abs(days.sunny_error())
    assert error.size >= 15
    assert (error <= DAY_LIMIT).mean() >= 0.95


@pytest.mark.parametrize("facts", [{}, {"litres_per_day": 50.0}, {"capacity_kj": 30.0, "seed": 2}])
def test_another_plants_days_are_met_as_well(facts):
    plant = Other(days=40, **facts)
    record = log_of(plant)
    table = observe(
        site=plant.site, record=record, channels=frozenset(record.columns), catalogue=()
    )
    days = Days(
        wanted=table.column("expected_kwh"),
        true=heat_kwh(plant),
        sun=table.column("irradiation_kwh_m2"),
    )
    assert abs(days.wanted.sum() / days.true.sum() - 1.0) <= YEAR_LIMIT
    assert (np.abs(days.sunny_error()) <= DAY_LIMIT).mean() >= 0.95


def test_bounds_hold_the_truth_under_drawn_sensor_errors():
    """Of 16 draws 95 % bounds miss at most 4 (binomial: more in one of a thousand)."""
    scenario = PLANTS["home, heat pipe"](**CLIMATES["british"])
    got = np.array(held(scenario, simulate(scenario, seed=4, **SPAN), draws=16, seed=4))
    assert got[:, 0].sum() >= 12
    assert got[:, 1].sum() >= 12


def test_a_span_is_surer_than_its_days_and_no_surer_than_its_sensor():
    scenario = PLANTS["home, heat pipe"](**CLIMATES["british"])
    table, site = observed(
        scenario, simulate(scenario, seed=4, **SPAN), seed=1, sensors="perfect", step_s=300
    )
    days = np.arange(len(table.days))

    def share(chosen):
        found = expected(table, chosen, site)
        return (found.high - found.value) / found.value

    sunny = np.flatnonzero(table.column("irradiation_kwh_m2") > 4.0)
    assert share(days) < np.mean([share(np.array([day])) for day in sunny])
    assert share(days) > 0.08
