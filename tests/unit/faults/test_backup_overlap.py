"""Backup overlap: in the sun's hours against the timer on record; not a backup meant to run."""

import pytest

from analysis.faults import Judged, NotJudged
from fixtures.faults import Fault
from tests.build import FULL_LOG, NO_SUN_LOG, a_plant, of_kind

pytestmark = pytest.mark.thorough

KIND = "backup_overlap"
BACKUP = (*FULL_LOG, "backup")
# A weak heater takes its time, as immersion heaters do.
ALWAYS = {
    "start": "2025-05-01",
    "days": 60,
    "backup_w": 2000.0,
    "faults": (Fault(kind="backup_overlap", start="2025-05-06", end="2025-06-05"),),
}


@pytest.mark.parametrize("channels", [BACKUP, (*NO_SUN_LOG, "backup")])
def test_a_timer_that_is_bypassed_is_found_and_ends(channels):
    plant = a_plant(channels=channels, **ALWAYS)
    (found,) = of_kind(plant.report(), KIND)
    edges = plant.table(catalogue=()).days.edge_s
    assert edges[5] <= found.start_s < edges[16]
    assert found.end_s <= edges[36]
    assert found.urgency == "watch"
    assert found.lost is None
    assert "outside the hours on record" in found.summary


def test_without_the_signal_the_top_that_rises_alone_tells_less_surely():
    # A collector that faces west leaves the morning to the backup alone.
    plant = a_plant(
        start="2025-05-01",
        days=60,
        azimuth_deg=260.0,
        litres_per_day=200.0,
        backup_w=2000.0,
        backup_hours=((9.0, 11.0),),
        site={"backup": {"hours": ((16.5, 19.0),)}},
    )
    conclusion = plant.conclusion(KIND)
    assert isinstance(conclusion, Judged)
    assert "no backup signal" in conclusion.why
    (found,) = conclusion.findings
    assert found.certainty <= 0.6
    assert found.urgency == "watch"
    assert "without the sun" in found.summary


def test_without_the_signal_seeing_nothing_proves_nothing():
    conclusion = a_plant(start="2025-05-01", days=40).conclusion(KIND)
    assert isinstance(conclusion, NotJudged)
    assert "tells too little" in conclusion.why


@pytest.mark.parametrize("channels", [BACKUP])
@pytest.mark.parametrize(
    "given",
    [
        {},
        {"backup_w": 2000.0},
        # On purpose, as the site file says.
        {"backup_w": 2000.0, "backup_hours": ((10.0, 14.0),)},
    ],
)
def test_a_backup_within_its_hours_is_clear(channels, given):
    plant = a_plant(start="2025-05-01", days=40, channels=channels, **given)
    conclusion = plant.conclusion(KIND)
    assert isinstance(conclusion, Judged)
    assert conclusion.findings == ()


def test_dull_days_of_winter_are_not_it():
    plant = a_plant(
        start="2025-12-01",
        days=30,
        channels=BACKUP,
        backup_w=2000.0,
        faults=(Fault(kind="backup_overlap", start="2025-12-02"),),
    )
    conclusion = plant.conclusion(KIND)
    assert isinstance(conclusion, NotJudged) or conclusion.findings == ()


def test_without_a_backup_on_record_or_in_the_log_it_is_not_judged():
    plant = a_plant(days=10, site={"backup": None})
    assert isinstance(plant.conclusion(KIND), NotJudged)
