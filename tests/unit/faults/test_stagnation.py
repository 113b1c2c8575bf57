"""Stagnation: normal with a full store, a symptom with a cool one, and not a broken sensor."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.faults import CATALOGUE
from analysis.faults.stagnation import Stagnation
from fixtures.faults import Fault
from tests.build import (
    NO_SUN_LOG,
    Plant,
    a_clear_day,
    a_history,
    a_plant,
    a_site,
    fault_of,
    of_kind,
)

KIND = "stagnation"


def single(record, *, site=None):
    plant = Plant(site=site or a_site(), record=record, channels=frozenset(record.columns))
    return plant.table(catalogue=(fault_of(KIND),)).of_kind(KIND)


def standing(*, peak=125.0, hours=2.0, store=65.0, step=300):
    """Give a day on which the collector stands hot from noon UTC."""
    rows = 86400 // step
    hour = np.arange(rows) * step / 3600.0
    hot = (hour >= 12.0) & (hour < 12.0 + hours)
    return a_clear_day(
        step_s=step,
        collector=np.where(hot, peak, 40.0),
        store_bottom=store,
        store_top=store,
        flow=0.0,
        pump=0.0,
    )


def test_a_full_store_in_the_holidays_is_put_on_record():
    plant = a_plant(start="2025-06-01", days=90, away=(("2025-07-05", "2025-07-20"),))
    for found in of_kind(plant.report(), KIND):
        assert found.urgency in ("record", "watch")
        assert "with a full store" in found.summary
        assert found.lost is None


@pytest.mark.parametrize("channels", [None, NO_SUN_LOG])
def test_a_cool_store_is_a_symptom_to_watch(channels):
    fault = Fault(kind="pump_dead", start="2025-05-08", end="2025-05-20")
    given = {} if channels is None else {"channels": channels}
    plant = a_plant(start="2025-05-01", faults=(fault,), **given)
    (found,) = of_kind(plant.report(), KIND)
    assert found.urgency == "watch"
    assert "although the store was not full" in found.summary
    assert found.suppressed_by == "lost_circulation"


def test_stagnation_asks_for_no_visit_whatever_happens():
    plant = a_plant(start="2025-06-01", days=60, tubes=30, volume_l=200.0, litres_per_day=40.0)
    found = of_kind(plant.report(), KIND)
    assert found
    assert {item.urgency for item in found} <= {"record", "watch"}


@pytest.mark.parametrize(
    ("given", "seen"),
    [
        ({}, 1),
        ({"peak": 110.0}, 0),
        ({"hours": 0.25}, 0),
        ({"hours": 0.5}, 1),
        ({"step": 60}, 1),
        ({"step": 600}, 1),
    ],
)
def test_what_counts_is_long_enough_and_hot_enough(given, seen):
    site = a_site()
    # Heat pipes without a limiter: 120 C is what counts.
    assert len(single(standing(**given), site=unlimited(site))) == seen


def unlimited(site):
    return replace(
        site, arrays=tuple(replace(array, heat_pipe_limit_c=None) for array in site.arrays)
    )


def test_tubes_that_limit_themselves_count_near_their_limit():
    limited = replace(
        a_site(), arrays=tuple(replace(a, heat_pipe_limit_c=110.0) for a in a_site().arrays)
    )
    assert len(single(standing(peak=108.0), site=limited)) == 1
    assert len(single(standing(peak=108.0), site=unlimited(a_site()))) == 0


def test_a_running_loop_is_not_it_however_hot():
    hour = np.arange(288) / 12.0
    on = (hour >= 8.0) & (hour < 16.0)
    day = a_clear_day(
        collector=np.where(on, 121.0, 20.0),
        loop_hot=np.where(on, 99.0, 25.0),
        loop_cold=np.where(on, 92.0, 25.0),
        store_bottom=np.where(on, 90.0, 60.0),
    )
    site = unlimited(a_site(store={"limit_c": 95.0}))
    assert single(day, site=site) == ()
    still = {name: day.columns[name] for name in ("collector", "store_bottom")}
    assert len(single(a_clear_day(**still, flow=0.0, pump=0.0), site=site)) == 1


def test_a_sensor_off_its_scale_is_not_it():
    fault = Fault(
        kind="sensor_open", start="2025-05-08", end="2025-05-16", channel="collector", value=999.9
    )
    plant = a_plant(start="2025-05-01", days=20, faults=(fault,))
    first, last = (plant.table().days.edge_s[day] for day in (7, 15))
    for found in of_kind(plant.report(), KIND):
        assert found.start_s >= last or (found.end_s or plant.end_s) <= first


def test_many_a_year_are_said_to_be_a_matter_of_sizing():
    often = Stagnation(many_per_year=1.0)
    plant = a_plant(start="2025-06-20", days=40, away=(("2025-07-05", "2025-07-20"),))
    table = plant.table(catalogue=(often, *CATALOGUE))
    assert table.of_kind(KIND)
    conclusion = often.conclude(a_history(table, site=plant.site))
    assert all("sizing" in item.summary for item in conclusion.findings)
