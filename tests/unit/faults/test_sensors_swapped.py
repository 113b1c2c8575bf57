"""Swapped sensors: which two, since when; not mixed stores, not backflow, not a stuck sensor."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.faults import Judged, NotJudged
from analysis.precedence_rules import swapped_words
from fixtures.faults import Fault
from tests.build import FULL_LOG, PUMP_LOG, a_plant, of_kind, with_values
from tests.build_report import at

pytestmark = pytest.mark.thorough

KIND = "sensors_swapped"


def plant(one, other, *, channels=FULL_LOG, seen=False, days=28, **given):
    swap = Fault(
        kind=KIND,
        channel=one,
        other=other,
        start="2025-05-08",
        end="2025-05-24",
        seen_by_controller=seen,
    )
    return a_plant(start="2025-05-01", days=days, faults=(swap,), channels=channels, **given)


@pytest.mark.parametrize(
    ("one", "other", "channels"),
    [
        ("loop_hot", "loop_cold", FULL_LOG),
        ("loop_hot", "loop_cold", ("loop_hot", "loop_cold", "pump")),
        ("store_top", "store_bottom", PUMP_LOG),
        ("collector", "store_bottom", PUMP_LOG),
        ("collector", "store_top", PUMP_LOG),
        ("collector", "loop_hot", FULL_LOG),
        ("ambient", "collector", FULL_LOG),
        ("ambient", "store_bottom", FULL_LOG),
        ("ambient", "loop_hot", FULL_LOG),
    ],
)
def test_both_channels_are_named_for_as_long_as_it_lasts(one, other, channels):
    logged = plant(one, other, channels=channels)
    (found,) = of_kind(logged.report(), KIND)
    assert found.evidence[0].what == swapped_words(one, other)
    edges = logged.table(catalogue=()).days.edge_s
    assert edges[7] <= found.start_s <= edges[12]
    assert edges[22] <= found.end_s <= edges[25]
    assert found.urgency == "visit"


@pytest.mark.parametrize("channels", [FULL_LOG, PUMP_LOG])
def test_swapped_plugs_that_mislead_the_controller_are_told_from_a_wrong_map(channels):
    (wrong_map,) = of_kind(plant("collector", "store_bottom", channels=channels).report(), KIND)
    assert "the map" in wrong_map.summary
    plugs = plant("collector", "store_bottom", channels=channels, seen=True)
    (found,) = of_kind(plugs.report(), KIND)
    assert "controller's plugs" in found.summary


def test_a_store_that_boils_beside_a_cool_roof_is_the_roof():
    # A misled controller leaves the store as cold as the mains, and warm nights the roof above it.
    logged = plant("collector", "store_bottom", channels=PUMP_LOG, seen=True)
    swapped = (logged.record.start_s >= at(5, 8)) & (logged.record.start_s < at(5, 24))
    roof, store = (logged.record.columns[name] for name in ("store_bottom", "collector"))
    mains = 12.0 + np.cos(logged.record.start_s * 2.0 * np.pi / 86_400)
    summer = replace(
        logged,
        record=with_values(
            logged.record,
            store_bottom=np.where(swapped, np.maximum(roof, 20.0), roof),
            collector=np.where(swapped, mains, store),
        ),
    )
    (found,) = of_kind(summer.report(), KIND)
    edges = logged.table(catalogue=()).days.edge_s
    assert edges[7] <= found.start_s <= edges[12]


def test_heat_is_unknown_while_the_pipes_are_swapped_and_never_negative():
    logged = plant("loop_hot", "loop_cold")
    days = logged.report().days
    assert all(day.delivered_kwh is None for day in days[8:22])
    assert all(day.delivered_kwh is not None for day in days[:6])
    assert all((day.delivered_kwh or 0.0) > -0.05 for day in days)


def test_what_is_derived_from_swapped_sensors_is_explained_by_them():
    report = plant("collector", "store_bottom", channels=PUMP_LOG).report()
    assert [item.kind for item in report.findings if item.urgency in ("act", "visit")] == [KIND]


@pytest.mark.parametrize(
    "given",
    [
        {"faults": (Fault(kind="reverse_circulation", start="2025-05-05"),)},
        {"faults": (Fault(kind="night_running", start="2025-05-08", end="2025-05-20"),)},
        {"faults": (Fault(kind="pump_dead", start="2025-05-08", end="2025-05-20"),)},
        {"faults": (Fault(kind="not_yet_fitted", start="2025-05-01", end="2025-05-20"),)},
        {"away": (("2025-05-05", "2025-05-25"),)},
        {
            "faults": (
                Fault(
                    kind="sensor_stuck",
                    start="2025-05-08T12:00",
                    end="2025-05-20",
                    channel="collector",
                ),
            )
        },
        {
            "faults": (
                Fault(
                    kind="sensor_stuck",
                    start="2025-05-08T12:00",
                    end="2025-05-20",
                    channel="store_bottom",
                ),
            )
        },
    ],
)
def test_other_faults_are_no_swap(given):
    conclusion = a_plant(start="2025-05-01", days=22, channels=FULL_LOG, **given).conclusion(KIND)
    assert isinstance(conclusion, Judged)
    assert conclusion.findings == ()


def test_a_store_mixed_on_purpose_is_not_upside_down():
    logged = a_plant(start="2025-05-01", days=20, channels=PUMP_LOG)
    columns = logged.record.columns
    mixed = (columns["store_top"] + columns["store_bottom"]) / 2.0

    even = replace(
        logged,
        record=with_values(logged.record, store_top=mixed, store_bottom=mixed + 0.6),
    )
    assert of_kind(even.report(), KIND) == ()


def test_one_temperature_alone_is_not_judged():
    assert isinstance(a_plant(days=5, channels=("collector", "pump")).conclusion(KIND), NotJudged)


def test_the_column_of_a_pair_says_for_against_or_nothing():
    says = plant("store_top", "store_bottom", channels=PUMP_LOG).table()
    column = says.column("swap_store_top_store_bottom")
    assert np.all(column[8:22] == 1.0)
    assert np.all(column[:6] == 0.0)
