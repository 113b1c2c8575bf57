"""Flow reading wrong: scale, dead, stuck, ghost; not real low flow, lost tubes, reverse flow."""

import numpy as np
import pytest

from analysis.days import Happening
from analysis.faults import NotJudged
from fixtures.faults import Fault
from tests.build import (
    FULL_LOG,
    NO_SUN_LOG,
    PUMP_LOG,
    a_history,
    a_plant,
    a_table,
    fault_of,
    of_kind,
)

pytestmark = pytest.mark.thorough

KIND = "flow_reading_wrong"
METER_LOG = (*PUMP_LOG, "heat_register")


def wrong(kind, *, channels=FULL_LOG, start="2025-05-06", end="2025-05-24", value=None, **given):
    fault = Fault(kind=kind, start=start, end=end, value=value)
    return a_plant(start="2025-05-01", days=given.pop("days", 35), faults=(fault,),
                   channels=channels, **given)  # fmt: skip


def day_of(plant, time_s):
    return (time_s - plant.table(catalogue=()).days.edge_s[0]) / 86400.0


@pytest.mark.parametrize("kind", ["flow_dead", "flow_stuck", "ghost_flow"])
@pytest.mark.parametrize("channels", [FULL_LOG, NO_SUN_LOG])
def test_a_meter_that_cannot_be_right_is_found(kind, channels):
    plant = wrong(kind, channels=channels)
    report = plant.report()
    (found,) = of_kind(report, KIND)
    # One value for ever is a broken sensor, which goes first.
    assert found.suppressed_by in (None, "sensor_fault")
    assert found.channel == "flow"
    assert found.urgency == "visit"
    assert found.lost is None
    assert 4.9 < day_of(plant, found.start_s) < 9.0
    assert day_of(plant, found.end_s) < 23.5
    for item in of_kind(report, "lost_circulation"):
        assert item.suppressed_by in (KIND, "sensor_fault")


def test_heat_of_a_wrong_meter_is_left_out_and_other_days_keep_theirs():
    report = wrong("flow_dead").report()
    within = [day for day in report.days if "2025-05-09" <= day.date < "2025-05-20"]
    assert all(day.delivered_kwh is None for day in within)
    assert all(day.delivered_kwh is not None for day in report.days if day.date < "2025-05-06")


@pytest.mark.parametrize("value", [0.5, 1.8])
def test_without_a_past_the_sun_tells_a_wrong_scale_and_it_is_watched(value):
    plant = wrong("flow_reads_low", value=value, start="2025-05-01", end="2025-05-20")
    (found,) = of_kind(plant.report(), KIND)
    assert found.urgency == "watch"
    assert day_of(plant, found.end_s) < 19.5
    # A meter of 5 % and the share put in.
    assert found.evidence[1].value == pytest.approx(100.0 * value, rel=0.06)


def test_with_a_past_the_store_tells_it_without_the_sun():
    plant = wrong(
        "flow_reads_low", value=0.5, start="2025-06-05", end="2025-06-27", days=65,
        channels=NO_SUN_LOG,
    )  # fmt: skip
    report = plant.report()
    (found,) = of_kind(report, KIND)
    assert found.urgency == "visit"
    assert 34.9 < day_of(plant, found.start_s) < 40.0
    for item in of_kind(report, "low_flow"):
        assert item.suppressed_by == KIND


def test_a_register_that_stands_while_the_store_warms_is_found():
    (found,) = of_kind(wrong("flow_dead", channels=METER_LOG).report(), KIND)
    assert found.channel == "heat_register"


@pytest.mark.parametrize("channels", [FULL_LOG, NO_SUN_LOG])
@pytest.mark.parametrize(
    ("kind", "given"),
    [
        ("low_flow", {"value": 0.5}),
        ("high_flow", {"value": 2.0}),
        ("reverse_circulation", {}),
        ("pump_dead", {}),
        ("airlock", {}),
    ],
)
def test_what_really_flows_or_does_not_is_something_else(kind, given, channels):
    plant = wrong(kind, channels=channels, least_speed=1.0, **given)
    assert of_kind(plant.report(), KIND) == ()


def test_lost_tubes_leave_the_reading():
    fault = Fault(kind="tubes_missing", tubes=9, start="2025-05-06")
    plant = a_plant(start="2025-05-01", days=35, faults=(fault,), least_speed=1.0)
    assert of_kind(plant.report(), KIND) == ()


@pytest.mark.parametrize(
    ("read", "sun", "store", "found"),
    [
        (0.5, 0.9, 0.65, True),  # the spread is as the sun wants it: the reading is wrong
        (0.5, 0.45, 1.3, False),  # the spread says that it really flows less
        (0.5, np.nan, 1.3, True),  # no sun, but the store gains twice what is counted
        (0.5, np.nan, 0.7, False),
        (2.0, 0.9, 0.65, True),
        (2.0, 1.9, 0.65, False),
        (2.0, np.nan, 0.33, True),
        (0.8, 0.9, 0.65, False),
    ],
)
def test_sun_and_store_tell_reading_and_flow_apart(read, sun, store, found):
    before = {"meter_share": 1.0, "meter_sun_share": 0.9, "meter_store_share": 0.65}
    if np.isnan(sun):
        before["meter_sun_share"] = np.nan
    after = dict(zip(before, (read, sun, store), strict=True))
    columns = {name: np.array([before[name]] * 20 + [after[name]] * 10) for name in before}
    midnight = a_table(count=30).days.edge_s[:-1]
    table = a_table(
        **columns,
        seen_flow=1.0,
        seen_pump=1.0,
        pumped_from_s=midnight + 36000.0,
        pumped_until_s=midnight + 50000.0,
    )
    findings = fault_of(KIND).conclude(a_history(table)).findings
    assert len(findings) == (1 if found else 0)
    for item in findings:
        assert item.end_s is None


def test_without_a_meter_it_cannot_be_judged():
    assert isinstance(a_plant(channels=PUMP_LOG).conclusion(KIND), NotJudged)


def test_ways_are_seen_on_the_days_they_last():
    table = wrong("ghost_flow").table(catalogue=(fault_of(KIND),))
    dates = {item.date for item in table.of_kind(KIND) if isinstance(item, Happening)}
    assert len(dates) >= 12
    assert all("2025-05-06" <= day < "2025-05-24" for day in dates)
