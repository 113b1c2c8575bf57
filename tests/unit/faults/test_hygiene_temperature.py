"""Hygiene: more than seven days without a hot hour, and not a hole in the log."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.faults import Judged, NotJudged
from fixtures.faults import Fault
from tests.build import a_history, a_plant, a_site, a_table, fault_of, of_kind

pytestmark = pytest.mark.thorough

KIND = "hygiene_temperature"
BACKUP = a_site().backup


def judged(hours, *, backup=BACKUP):
    table = a_table(top_hour_c=np.array(hours), seen_store_top=np.ones(len(hours)))
    site = replace(a_site(), backup=backup)
    return fault_of(KIND).conclude(a_history(table, site=site)).findings


@pytest.mark.parametrize(
    ("hours", "seen"),
    [
        ([50.0] * 8, 1),
        ([61.0] + [50.0] * 7 + [61.0], 0),
        # Two kelvin are the sensor's.
        ([58.5] * 20, 0),
        # The hot hour may be in the hole.
        ([50.0] * 4 + [np.nan] + [50.0] * 4, 0),
        ([50.0] * 8 + [np.nan] * 3 + [50.0] * 8, 1),
        # The same again within a season is the same finding.
        ([50.0] * 8 + [61.0] + [50.0] * 8, 1),
        ([50.0] * 8 + [61.0] * 100 + [50.0] * 8, 2),
    ],
)
def test_more_than_seven_days_in_a_row_count(hours, seen):
    assert len(judged(hours)) == seen


def test_one_hot_hour_ends_it():
    (found,) = judged([50.0] * 10 + [62.0] * 2)
    assert found.end_s is not None
    (lasting,) = judged([62.0] * 2 + [50.0] * 10)
    assert lasting.end_s is None
    assert "10 days" in lasting.summary


@pytest.mark.parametrize(
    ("set_c", "reached_c", "days", "urgency"),
    [
        (None, 45.0, 20, "watch"),
        (55.0, 45.0, 20, "watch"),
        (60.0, 56.0, 8, "watch"),
        (60.0, 57.0, 20, "watch"),
        (60.0, 45.0, 8, "visit"),
    ],
)
def test_a_visit_is_for_a_backup_that_should_reach_it_and_stays_far_below(
    set_c, reached_c, days, urgency
):
    (found,) = judged([reached_c] * days, backup=replace(BACKUP, setpoint_c=set_c))
    assert found.urgency == urgency


def test_without_a_backup_on_record_it_is_a_note():
    (found,) = judged([45.0] * 20, backup=None)
    assert found.urgency == "record"


def test_a_dead_backup_is_found_in_the_samples():
    fault = Fault(kind="backup_dead", start="2025-02-10")
    plant = a_plant(start="2025-02-01", days=40, backup_setpoint_c=62.0, faults=(fault,))
    (found,) = of_kind(plant.report(), KIND)
    edges = plant.table(catalogue=()).days.edge_s
    assert edges[9] <= found.start_s <= edges[11]
    assert found.urgency == "visit"
    assert "although the backup is set to 62 °C" in found.summary
    assert found.certainty >= 0.8


def test_a_backup_that_works_is_clear():
    plant = a_plant(start="2025-02-01", days=40, backup_setpoint_c=62.0)
    conclusion = plant.conclusion(KIND)
    assert isinstance(conclusion, Judged)
    assert conclusion.findings == ()


def test_without_the_top_it_is_not_judged():
    plant = a_plant(start="2025-02-01", days=10, channels=("collector", "store_bottom", "pump"))
    assert isinstance(plant.conclusion(KIND), NotJudged)
