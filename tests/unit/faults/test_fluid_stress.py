"""Fluid stress: hours that add up until new fluid is on record; not water, not an empty roof."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from analysis.days import Happening
from analysis.faults import NotJudged
from analysis.site import Change
from tests.build import a_history, a_plant, a_site, a_table, fault_of, of_kind

pytestmark = pytest.mark.thorough

KIND = "fluid_stress"


def judged(hours, *, site=None, every=1):
    """Let days with hours above 120, 150 and 170 °C be judged."""
    count = len(hours) * every
    columns = {f"hot_{level}_h": np.zeros(count) for level in (120, 150, 170)}
    table = a_table(first="2023-06-01", count=count, **columns)
    items = tuple(
        Happening(
            kind=KIND,
            date=table.days.dates[place * every],
            start_s=int(table.days.edge_s[place * every]) + 43200,
            end_s=int(table.days.edge_s[place * every]) + 54000,
            values=dict(zip(("hot_120_h", "hot_150_h", "hot_170_h"), day, strict=True)),
        )
        for place, day in enumerate(hours)
    )
    history = a_history(replace(table, happenings=items), site=site)
    return fault_of(KIND).conclude(history)


@pytest.mark.parametrize(
    ("hours", "urgency", "lasts"),
    [
        ([(3.0, 0.0, 0.0)] * 10, "record", False),
        ([(4.0, 0.0, 0.0)] * 40, "watch", True),
        ([(4.0, 3.0, 0.0)] * 15, "watch", True),
        ([(4.0, 3.0, 2.0)] * 6, "watch", True),
    ],
)
def test_hours_and_heat_decide_how_much_it_matters(hours, urgency, lasts):
    (found,) = judged(hours).findings
    assert found.urgency == urgency
    assert (found.end_s is None) is lasts
    assert [item.value for item in found.evidence] == pytest.approx(np.sum(hours, axis=0))


def test_a_few_hot_hours_are_not_worth_a_word():
    assert judged([(2.0, 0.0, 0.0)] * 5).findings == ()


def test_what_spreads_over_years_is_not_one_years_stress():
    (found,) = judged([(4.0, 0.0, 0.0)] * 40, every=20).findings
    assert found.urgency == "record"


def test_new_fluid_ends_it():
    change = Change(date=date(2023, 7, 20), key="loop.concentration", value=0.45, why="renewed")
    site = replace(a_site(), changes=(change,))
    (found,) = judged([(4.0, 0.0, 0.0)] * 40 + [(0.0, 0.0, 0.0)] * 20, site=site).findings
    assert found.urgency == "watch"
    assert found.end_s is not None


@pytest.mark.parametrize("key", ["filled", "fluid_tested"])
def test_a_fill_or_a_passed_test_on_record_ends_it(key):
    site = a_site(commissioned={key: date(2023, 7, 20)})
    (found,) = judged([(4.0, 0.0, 0.0)] * 40 + [(0.0, 0.0, 0.0)] * 20, site=site).findings
    assert found.end_s is not None
    later = a_site(commissioned={key: date(2030, 7, 20)})
    (found,) = judged([(4.0, 0.0, 0.0)] * 40, site=later).findings
    assert found.end_s is None


@pytest.mark.parametrize(
    "loop",
    [{"fluid": "water", "concentration_frac": 0.0}, {"kind": "drain_back"}],
)
def test_water_and_an_empty_collector_do_not_age(loop):
    plant = a_plant(start="2025-06-01", away=(("2025-06-05", "2025-06-30"),), site={"loop": loop})
    conclusion = plant.conclusion(KIND)
    assert isinstance(conclusion, NotJudged)
    assert plant.table(catalogue=(fault_of(KIND),)).of_kind(KIND) == ()


def test_long_standing_collectors_without_a_limit_reach_the_levels():
    plant = a_plant(
        start="2025-06-01",
        days=60,
        collector="direct_flow",
        heat_pipe_start_c=None,
        heat_pipe_limit_c=None,
        away=(("2025-06-05", "2025-07-25"),),
    )
    (found,) = of_kind(plant.report(), KIND)
    truth = plant.run.signals["collector"]
    hours = [float((truth >= level).sum()) / 60.0 for level in (120, 150, 170)]
    assert [item.value for item in found.evidence] == pytest.approx(hours, rel=0.1, abs=2.0)
    assert found.urgency == "watch"
    assert found.lost is None


def test_a_plant_in_use_in_spring_has_nothing_to_tell():
    plant = a_plant(start="2025-03-01", days=40)
    assert of_kind(plant.report(), KIND) == ()
