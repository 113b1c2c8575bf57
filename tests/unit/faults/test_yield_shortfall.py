"""Yield shortfall: what nothing else explains, never a dull summer and never a gap."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.faults import Judged, NotJudged
from analysis.faults.yield_shortfall import YieldShortfall
from fixtures.faults import Fault
from tests.build import a_history, a_plant, a_site, a_table, asking, fault_of, of_kind, with_values

pytestmark = pytest.mark.thorough

KIND = "yield_shortfall"
PARTS = {
    **{f"heat_{name}_u_kwh": 0.02 for name in ("hot", "cold", "flow", "fluid", "method")},
    **{f"expected_{name}_kwh": 0.0 for name in ("loss", "pipe", "stored", "standing")},
    "heat_random_kwh2": 0.0,
    "sky_source": 0.0,
}


def concluded(got, wanted, *, explained=frozenset(), **thresholds):
    table = a_table(
        first="2025-05-01", heat_kwh=got, expected_kwh=wanted, expected_gain_kwh=wanted, **PARTS
    )
    history = replace(a_history(table, site=a_site()), explained=explained)
    return YieldShortfall(**thresholds).conclude(history)


@pytest.mark.parametrize(
    "fault",
    [
        Fault(kind="tubes_missing", start="2025-05-01", tubes=9),
        Fault(kind="soiling", start="2025-05-01", value=0.45),
    ],
    ids=lambda fault: fault.kind,
)
def test_an_array_that_is_weak_from_its_first_day_falls_short(fault):
    plant = a_plant(start="2025-05-01", days=40, faults=(fault,))
    (found,) = of_kind(plant.report(), KIND)
    assert found.urgency == "visit"
    assert found.end_s is None
    assert found.lost.low > 0.0


def test_a_sound_plant_is_clear():
    for start in ("2025-05-01", "2025-08-01"):
        assert of_kind(a_plant(start=start, days=40).report(), KIND) == ()


def test_what_another_kind_explains_is_not_a_shortfall():
    fault = Fault(kind="pump_dead", start="2025-05-08", end="2025-06-15")
    report = a_plant(start="2025-05-01", days=60, faults=(fault,)).report()
    assert {kind for kind, _, _ in asking(report)} == {"lost_circulation"}


def test_a_dull_summer_is_not_a_fault():
    """The promise of the climate is missed by far, the healthy figure of the weather is not."""
    plant = a_plant(start="2025-11-15", days=60)
    report = plant.report()
    promised = report.totals.design_kwh
    assert promised is not None
    assert of_kind(report, KIND) == ()


def test_hours_without_a_known_sun_are_not_counted_against_the_plant():
    plant = a_plant(start="2025-05-01", days=40)
    sun = plant.record.columns["irradiance_plane"].copy()
    sun[(np.arange(len(sun)) % 144 > 60) & (np.arange(len(sun)) // 144 % 2 == 0)] = np.nan
    holed = replace(plant, record=with_values(plant.record, irradiance_plane=sun))
    assert of_kind(holed.report(), KIND) == ()


def test_a_window_far_below_is_found_and_ends_when_it_is_put_right():
    got = np.full(100, 5.0)
    got[20:60] = 2.0
    (found,) = concluded(got, np.full(100, 5.0)).findings
    days = (found.end_s - found.start_s) / 86400.0
    # Four weeks fall short (below 0.75) with 12 such days among them: 16 sound ones on each side.
    assert 40.0 <= days <= 40.0 + 2 * 16.0
    assert found.lost.low <= 40 * 3.0 <= found.lost.high


def test_days_that_are_explained_are_left_out():
    got = np.full(60, 5.0)
    got[10:40] = 1.0
    named = a_table(first="2025-05-01", count=60).days.dates[10:40]
    assert concluded(got, np.full(60, 5.0), explained=frozenset(named)) == Judged(findings=())


def test_a_gap_within_the_uncertainty_is_not_a_fault():
    assert concluded(np.full(40, 4.3), np.full(40, 5.0)) == Judged(findings=())


def test_little_sun_in_four_weeks_cannot_be_judged():
    conclusion = concluded(np.full(40, 0.2), np.full(40, 0.9))
    assert isinstance(conclusion, NotJudged)
    assert "four weeks" in conclusion.why


def test_few_days_cannot_be_judged():
    assert isinstance(concluded(np.full(10, 1.0), np.full(10, 5.0)), NotJudged)


def test_unknown_heat_or_sun_cannot_be_judged():
    nothing = a_history(a_table(count=40, expected_kwh=5.0))
    assert isinstance(fault_of(KIND).conclude(nothing), NotJudged)
    no_sun = a_history(a_table(count=40, heat_kwh=5.0))
    assert isinstance(fault_of(KIND).conclude(no_sun), NotJudged)
