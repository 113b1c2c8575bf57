"""Charge limit low: stops in the sun at one store temperature; not failures, not timers."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.days import Happening
from analysis.faults import Judged, NotJudged
from fixtures.faults import Fault
from tests.build import (
    NO_SUN_LOG,
    PUMP_LOG,
    a_history,
    a_plant,
    a_site,
    a_table,
    fault_of,
    of_kind,
)
from tests.unit.faults.test_yield_shortfall import PARTS

pytestmark = pytest.mark.thorough

KIND = "charge_limit_low"
LOWERED = Fault(kind="limit_lowered", start="2025-06-03", end="2025-06-24")


@pytest.mark.parametrize("channels", [None, NO_SUN_LOG, PUMP_LOG])
def test_a_lowered_limit_is_one_finding_and_explains_the_heat_on_the_roof(channels):
    given = {} if channels is None else {"channels": channels}
    plant = a_plant(start="2025-06-01", days=60, faults=(LOWERED,), **given)
    report = plant.report()
    (found,) = of_kind(report, KIND)
    edges = plant.table(catalogue=()).days.edge_s
    assert edges[2] <= found.start_s < edges[8]
    assert found.end_s <= edges[23]
    assert found.evidence[0].value == pytest.approx(45.0, abs=1.5)
    for item in of_kind(report, "lost_circulation"):
        assert item.suppressed_by == KIND


def test_a_hot_pipe_lost_meanwhile_hides_neither_it_nor_moves_the_clock():
    gone = Fault(kind="sensor_open", channel="loop_hot", start="2025-06-08", end="2025-06-24")
    plant = a_plant(start="2025-06-01", days=60, faults=(LOWERED, gone), channels=NO_SUN_LOG)
    report = plant.report()
    (found,) = of_kind(report, KIND)
    edges = plant.table(catalogue=()).days.edge_s
    assert edges[20] <= found.end_s <= edges[23]
    assert all(item.suppressed_by == KIND for item in of_kind(report, "lost_circulation"))
    assert not of_kind(report, "clock_wrong")


def test_what_it_cost_is_no_more_than_what_is_missing():
    plant = a_plant(start="2025-06-01", days=60, faults=(LOWERED,))
    table = plant.table()
    (found,) = of_kind(plant.report(table=table), KIND)
    missing = np.nansum(table.column("expected_kwh") - table.column("heat_kwh"))
    assert 5.0 < found.lost.value <= missing
    assert found.lost.low < found.lost.value < found.lost.high
    sound = a_plant(start="2025-06-01", days=60)
    truly = np.nansum(sound.table().column("heat_kwh")) - np.nansum(table.column("heat_kwh"))
    assert found.lost.low < truly < found.lost.high * 1.5


def test_without_the_sun_nothing_is_said_of_the_cost():
    plant = a_plant(start="2025-06-01", days=40, faults=(LOWERED,), channels=PUMP_LOG)
    (found,) = of_kind(plant.report(), KIND)
    assert found.lost is None
    assert found.urgency == "watch"


@pytest.mark.parametrize(
    "given",
    [
        {"away": (("2025-06-05", "2025-06-25"),)},
        {"tubes": 30, "volume_l": 200.0, "litres_per_day": 40.0},
        {"faults": (Fault(kind="pump_dead", start="2025-06-05T12:00", end="2025-06-15"),)},
        {"faults": (Fault(kind="airlock", start="2025-06-05T12:00", end="2025-06-15"),)},
        {"collector_cutout_c": 110.0, "away": (("2025-06-05", "2025-06-25"),)},
    ],
)
def test_full_stores_and_failures_are_not_it(given):
    plant = a_plant(start="2025-06-01", days=40, **given)
    conclusion = plant.conclusion(KIND)
    assert isinstance(conclusion, Judged)
    assert conclusion.findings == ()


def stops(stop_c, clock_h, **columns):
    """Give a table of one stop a day."""
    count = len(stop_c)
    table = a_table(
        count=count + 5,
        charged_high=np.zeros(count + 5),
        seen_collector=np.ones(count + 5),
        seen_store_bottom=np.ones(count + 5),
        **columns,
    )
    items = [
        Happening(
            kind=KIND,
            date=table.days.dates[day],
            start_s=int(table.days.edge_s[day]) + int(clock * 3600),
            end_s=int(table.days.edge_s[day]) + int(clock * 3600) + 3600,
            values={"stop_c": temperature, "clock_h": clock, "limit_c": 65.0},
        )
        for day, (temperature, clock) in enumerate(zip(stop_c, clock_h, strict=True))
    ]
    history = a_history(replace(table, happenings=tuple(items)), site=a_site())
    return fault_of(KIND).conclude(history).findings


@pytest.mark.parametrize(
    ("stop_c", "clock_h", "seen"),
    [
        ((45.0, 44.0, 45.5, 45.0), (11.0, 13.0, 12.0, 14.5), 1),
        ((45.0, 44.0, 45.5), (11.0, 13.0, 12.0), 0),
        # As warm as it happens to be: something fails.
        ((45.0, 33.0, 51.0, 40.0), (11.0, 13.0, 12.0, 14.5), 0),
        # Always at the same hour: a timer.
        ((45.0, 44.0, 45.5, 45.0), (13.0, 13.1, 13.0, 13.2), 0),
    ],
)
def test_one_temperature_and_not_one_hour(stop_c, clock_h, seen):
    assert len(stops(stop_c, clock_h)) == seen


def test_days_whose_heat_is_unknown_cost_like_the_others():
    wanted, got = np.full(9, 5.0), np.array([3.0, 3.0, *[np.nan] * 7])
    (found,) = stops(
        (45.0, 44.0, 45.5, 45.0), (11.0, 13.0, 12.0, 14.5),
        expected_kwh=wanted, expected_gain_kwh=wanted, heat_kwh=got, **PARTS,
    )  # fmt: skip
    # Two days lack 4 kWh for sure, all four 8.
    assert found.lost.value == pytest.approx(8.0)
    assert found.lost.low <= 4.0 < 8.0 < found.lost.high


def test_it_is_not_judged_without_the_store():
    plant = a_plant(days=5, channels=("collector", "pump"))
    assert isinstance(plant.conclusion(KIND), NotJudged)
