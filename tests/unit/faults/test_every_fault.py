"""The contract of all faults: what must hold for each member of the catalogue."""

from dataclasses import fields, is_dataclass, replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from analysis.days import DayTable
from analysis.faults import CATALOGUE, Conclusion, Judged, NotJudged
from analysis.results import URGENCIES, Report
from dashboards.figures.decisive import DECISIVE, decisive_hours
from dashboards.figures.evidence import evidence
from fixtures.faults import Fault
from tests.build import (
    FULL_LOG,
    Plant,
    a_history,
    a_plant,
    a_table,
    fault_of,
    of_kind,
    rows_where,
    with_values,
    without,
)
from tests.plotly_rules import drawn

# What the plants log, the backup and the taps included.
EVERYTHING = (*FULL_LOG, "backup", "hot_tap")

EVERY = pytest.mark.parametrize("kind", [fault.kind for fault in CATALOGUE])


def nights_pumped(first: int, last: int, *, month: str = "2025-05") -> tuple[Fault, ...]:
    """Give a pump forced on from midnight to three on nights of a month."""
    return tuple(
        Fault(
            kind="night_running",
            start=f"{month}-{day:02}T00:00",
            end=f"{month}-{day:02}T03:00",
        )
        for day in range(first, last)
    )


# One invented plant per kind that shows it; what was done to it, and where its middle is cut out.
SHOWN = {
    "pump_never_stops": {
        "start": "2025-05-01",
        "faults": (Fault(kind="night_running", start="2025-05-08", end="2025-05-20"),),
    },
    "night_running": {
        "start": "2025-05-01",
        "faults": nights_pumped(6, 26),
    },
    "low_flow": {
        "start": "2025-05-01",
        "faults": (Fault(kind="low_flow", start="2025-05-05", end="2025-05-22"),),
    },
    "high_flow": {
        "least_speed": 1.0,
        "start": "2025-05-01",
        "faults": (Fault(kind="high_flow", start="2025-05-05", end="2025-05-22"),),
    },
    "start_delayed": {
        "start": "2025-05-01",
        "faults": (Fault(kind="start_raised", start="2025-05-08", end="2025-05-22"),),
    },
    "short_cycling": {
        "start": "2025-05-01",
        "step_s": 300,
        "faults": (Fault(kind="hysteresis_small", start="2025-05-08", end="2025-05-23"),),
    },
    "clock_wrong": {
        "start": "2025-05-01",
        "faults": (Fault(kind="clock_offset", start="2025-05-01", value=45.0),),
    },
    "lost_circulation": {
        "start": "2025-05-01",
        "faults": (Fault(kind="pump_dead", start="2025-05-08", end="2025-05-20"),),
    },
    "reverse_circulation": {
        "start": "2025-05-01",
        "faults": (Fault(kind="reverse_circulation", start="2025-05-05", end="2025-05-22"),),
    },
    "sensor_fault": {
        "start": "2025-05-01",
        "faults": (
            Fault(
                kind="sensor_stuck", start="2025-05-08T12:00", end="2025-05-20", channel="loop_hot"
            ),
        ),
    },
    "not_yet_fitted": {
        "start": "2025-05-01",
        "faults": (Fault(kind="not_yet_fitted", start="2025-05-01", end="2025-05-20"),),
    },
    "silence": {
        "start": "2025-05-01",
        "faults": (Fault(kind="silence", start="2025-05-08", end="2025-05-10"),),
    },
    "yield_shortfall": {
        "start": "2025-05-01",
        "days": 40,
        "faults": (Fault(kind="tubes_missing", start="2025-05-01", tubes=9),),
    },
    "frost_risk": {"start": "2025-01-05", "fluid": "water", "concentration_frac": 0.0},
    "stagnation": {"start": "2025-07-01", "away": (("2025-07-05", "2025-07-20"),)},
    "store_overheat": {
        "start": "2025-06-01",
        "faults": (Fault(kind="limit_raised", start="2025-06-03"),),
        "tubes": 30,
        "volume_l": 200.0,
        "litres_per_day": 60.0,
    },
    "scald_risk": {
        "start": "2025-05-01",
        "step_s": 300,
        "channels": EVERYTHING,
        "faults": (Fault(kind="mixing_valve_stuck", start="2025-05-08", end="2025-05-24"),),
    },
    "hygiene_temperature": {"start": "2025-02-01", "backup_setpoint_c": 48.0},
    "charge_limit_low": {
        "start": "2025-06-01",
        "faults": (Fault(kind="limit_lowered", start="2025-06-01", end="2025-06-27"),),
    },
    "backup_overlap": {
        "start": "2025-05-01",
        "step_s": 300,
        "channels": EVERYTHING,
        "backup_w": 2000.0,
        "faults": (Fault(kind="backup_overlap", start="2025-05-01"),),
    },
    "flow_reading_wrong": {
        "start": "2025-05-01",
        "faults": (Fault(kind="ghost_flow", start="2025-05-06", end="2025-05-24"),),
    },
    "pressure_loss": {
        "start": "2025-05-01",
        "faults": (Fault(kind="pressure_leak", value=1.2, start="2025-05-06", end="2025-05-25"),),
    },
    "vessel_charge_lost": {
        "start": "2025-05-01",
        "days": 50,
        "faults": (
            Fault(kind="vessel_charge_lost", value=0.2, start="2025-05-24", end="2025-06-15"),
        ),
    },
    "fluid_stress": {"start": "2025-06-01", "away": (("2025-06-05", "2025-06-30"),), "days": 30},
    "shading": {
        "start": "2025-08-20",
        "days": 45,
        "faults": (
            Fault(
                kind="shading", start="2025-08-20", azimuth_deg=(195.0, 265.0), elevation_deg=40.0
            ),
        ),
    },
    "no_draw": {"start": "2025-05-01", "away": (("2025-05-08", "2025-05-20"),)},
    "sensors_swapped": {
        "start": "2025-05-01",
        "faults": (
            Fault(
                kind="sensors_swapped",
                channel="loop_hot",
                other="loop_cold",
                start="2025-05-08",
                end="2025-05-24",
            ),
        ),
    },
    "pipe_heat_loss": {
        "start": "2025-05-01",
        "step_s": 300,
        "faults": (Fault(kind="pipe_heat_loss", start="2025-05-01", value=4.0),),
    },
    "poor_heat_transfer": {
        "start": "2025-05-01",
        "faults": (Fault(kind="poor_heat_transfer", start="2025-05-08", end="2025-05-24"),),
    },
    "degraded_tubes": {
        "start": "2025-03-01",
        "days": 150,
        "faults": (Fault(kind="tubes_without_vacuum", start="2025-06-20", tubes=6),),
    },
}


@cache
def quiet_plant(*missing: str) -> Plant:
    """Give a healthy plant with water drawn enough that its store never fills."""
    plant = a_plant(
        start="2025-02-10", days=118, litres_per_day=320.0, volume_l=300.0, channels=EVERYTHING
    )
    return never_logged(plant, *missing)


@cache
def quiet_table(*missing: str) -> DayTable:
    return quiet_plant(*missing).table()


@cache
def plant_with(kind: str) -> Plant:
    return a_plant(**SHOWN[kind])


@cache
def report_with(kind: str) -> Report:
    return plant_with(kind).report()


def never_logged(plant: Plant, *names: str) -> Plant:
    return replace(
        plant, record=without(plant.record, *names), channels=plant.channels - set(names)
    )


@cache
def own_table(kind: str) -> DayTable:
    """Give what a kind alone sees of its plant."""
    return plant_with(kind).table(catalogue=(fault_of(kind),))


def seconds_in(table: DayTable, kind: str) -> float:
    """Give how long a kind's happenings last in all."""
    return float(sum(item.end_s - item.start_s for item in table.of_kind(kind)))


def clear(conclusion: Conclusion) -> bool:
    return isinstance(conclusion, Judged) and conclusion.findings == ()


@EVERY
def test_fault_is_frozen_and_keeps_its_thresholds_as_fields(kind):
    fault = fault_of(kind)
    assert is_dataclass(fault)
    assert {"kind", "text", "sources"} <= {entry.name for entry in fields(fault)}
    with pytest.raises(AttributeError):
        fault.kind = "other"


# The quiet plant's rows are ten minutes apart, which do not show how a pump switches.
IN_TEN_MINUTES = pytest.mark.parametrize(
    "kind", [fault.kind for fault in CATALOGUE if fault.kind != "short_cycling"]
)


@IN_TEN_MINUTES
def test_quiet_plant_is_clear(kind):
    history = a_history(quiet_table(), site=quiet_plant().site)
    assert clear(fault_of(kind).conclude(history))


@EVERY
def test_shown_fault_is_found(kind):
    found = of_kind(report_with(kind), kind)
    assert found
    for item in found:
        assert item.urgency in URGENCIES
        assert 0.0 < item.certainty <= 1.0
        assert item.end_s is None or item.end_s > item.start_s
        assert item.evidence
        assert all(np.isfinite(entry.value) for entry in item.evidence)
        assert "nan" not in item.summary


@EVERY
@pytest.mark.parametrize("missing", FULL_LOG)
def test_a_channel_that_was_never_logged_makes_nothing_found(kind, missing):
    conclusion = fault_of(kind).conclude(a_history(quiet_table(missing), site=quiet_plant().site))
    if isinstance(conclusion, NotJudged):
        assert conclusion.why
    else:
        assert conclusion.findings == ()


@pytest.mark.parametrize(
    ("kind", "missing"),
    [
        ("lost_circulation", "collector"),
        ("lost_circulation", "store_bottom"),
        ("stagnation", "collector"),
        ("reverse_circulation", "collector"),
        ("reverse_circulation", "store_bottom"),
        ("not_yet_fitted", "collector"),
        ("degraded_tubes", "irradiance_plane"),
    ],
)
def test_a_kind_says_that_it_cannot_judge_without_what_it_rests_on(kind, missing):
    conclusion = never_logged(plant_with(kind), missing).conclusion(kind)
    assert isinstance(conclusion, NotJudged)
    assert len(conclusion.why) > 10


@EVERY
def test_looking_does_not_alter_the_record(kind):
    plant = plant_with(kind)
    before = {name: values.copy() for name, values in plant.record.columns.items()}
    plant.conclusion(kind)
    for name, values in plant.record.columns.items():
        np.testing.assert_array_equal(values, before[name])


# Silence is about the hole itself.
@pytest.mark.parametrize("kind", sorted(set(SHOWN) - {"silence"}))
def test_nothing_happens_in_a_hole_and_no_finding_begins_or_ends_there(kind):
    plant = plant_with(kind)
    edges = own_table(kind).days.edge_s
    middle = len(edges) // 2
    # From noon to noon, four days: a hole with ragged ends.
    first_s, last_s = int(edges[middle]) + 43200, int(edges[middle + 4]) + 43200
    start = plant.record.start_s
    holed = replace(plant, record=rows_where(plant.record, (start < first_s) | (start >= last_s)))
    table = holed.table(catalogue=(fault_of(kind),))
    for item in table.of_kind(kind):
        assert item.end_s <= first_s or item.start_s >= last_s
    conclusion = holed.conclusion(kind, table=table)
    for item in conclusion.findings if isinstance(conclusion, Judged) else ():
        day = 86400
        for instant in (item.start_s, item.end_s):
            # Kinds that speak of whole days may name the midnight of a day that is partly there.
            assert instant is None or not first_s < instant < last_s - day


# Kinds that compare days with each other are judged from sums, not from times.
@pytest.mark.parametrize("kind", sorted(set(SHOWN) - {"silence", "degraded_tubes"}))
def test_missing_values_never_add_faulty_time(kind):
    plant = plant_with(kind)
    rng = np.random.default_rng(1)
    columns = {}
    for name, values in plant.record.columns.items():
        thin = values.copy()
        # Some rows here and there, and some stretches of two hours.
        thin[rng.random(len(thin)) < 0.05] = np.nan
        for begin in rng.integers(0, len(thin), 20):
            thin[begin : begin + 12] = np.nan
        columns[name] = thin
    holed = replace(plant, record=with_values(plant.record, **columns))
    # A run may lose its ends but a bin of five minutes at each end is all it may seem to gain.
    whole, thinned = own_table(kind), holed.table(catalogue=(fault_of(kind),))
    slack_s = 600.0 * len(whole.of_kind(kind))
    assert seconds_in(thinned, kind) <= seconds_in(whole, kind) + slack_s


@cache
def holed_quiet_table() -> DayTable:
    plant = quiet_plant()
    rng = np.random.default_rng(5)
    columns = {}
    for name, values in plant.record.columns.items():
        thin = values.copy()
        for begin in rng.integers(0, len(thin), 60):
            thin[begin : begin + int(rng.integers(1, 30))] = np.nan
        columns[name] = thin
    return replace(plant, record=with_values(plant.record, **columns)).table()


@IN_TEN_MINUTES
def test_missing_values_make_nothing_found_on_a_quiet_plant(kind):
    history = a_history(holed_quiet_table(), site=quiet_plant().site)
    assert clear(fault_of(kind).conclude(history))


# Each of these looks at every channel there is.
@pytest.mark.parametrize("kind", ["lost_circulation", "degraded_tubes", "scald_risk"])
def test_the_order_of_channels_changes_nothing(kind):
    plant = plant_with(kind)
    turned = with_values(
        without(plant.record, *FULL_LOG),
        **{name: plant.record.columns[name] for name in reversed(plant.record.columns)},
    )
    turned = replace(turned, masked=dict(plant.record.masked))
    assert replace(plant, record=turned).report() == report_with(kind)


@EVERY
def test_an_empty_table_of_days_is_no_finding(kind):
    conclusion = fault_of(kind).conclude(a_history(a_table(count=10, length_s=86400.0)))
    assert isinstance(conclusion, NotJudged) or conclusion.findings == ()


@EVERY
def test_findings_of_a_kind_do_not_overlap(kind):
    found = sorted(
        of_kind(report_with(kind), kind), key=lambda item: (str(item.channel), item.start_s)
    )
    for one, other in pairwise(found):
        if one.channel == other.channel:
            assert one.end_s is not None
            assert one.end_s <= other.start_s


@EVERY
def test_the_picture_of_a_finding_shows_decisive_channels_in_its_hours(kind):
    plant, report = plant_with(kind), report_with(kind)
    found = of_kind(report, kind)[0]
    hours = decisive_hours(found, report.days, timezone=report.timezone, end_s=report.end_s)
    until_s = report.end_s if found.end_s is None else found.end_s
    assert hours[0] < until_s
    assert hours[1] > found.start_s
    first, last = np.searchsorted(plant.record.start_s, hours)
    part = plant.record.part(int(first), int(last))
    figure = drawn(evidence(found, part, site=plant.site, hours=hours))
    shown = [trace for trace in figure.data if any(y is not None for y in trace.y)]
    assert len(shown) >= 2
    drawn_levels = {note.text for note in figure.layout.annotations}
    drawn_levels |= {trace.name for trace in figure.data}
    for level in DECISIVE[kind].levels(plant.site):
        far_above = level.quantity == "pressure" and level.value > 2.0 * part.get("pressure").max()
        left_out = far_above or bool(level.over and not part.has(level.over))
        assert (level.label in drawn_levels) != left_out
