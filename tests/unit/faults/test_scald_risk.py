"""Scald risk: hot at the taps, or a hot store without a valve on record."""

import pytest

from analysis.faults import NotJudged
from fixtures.faults import Fault
from tests.build import FULL_LOG, a_plant, of_kind

pytestmark = pytest.mark.thorough

KIND = "scald_risk"
TAPS = (*FULL_LOG, "hot_tap")
STUCK = Fault(kind="mixing_valve_stuck", start="2025-05-06", end="2025-05-20")


def found_in(**given):
    plant = a_plant(**{"start": "2025-05-01", "step_s": 300, **given})
    return plant, of_kind(plant.report(), KIND)


def test_a_valve_that_lets_through_is_found_and_ends_when_it_works_again():
    plant, (found,) = found_in(channels=TAPS, faults=(STUCK,))
    edges = plant.table(catalogue=()).days.edge_s
    assert edges[5] <= found.start_s < edges[7]
    assert edges[17] < found.end_s <= edges[19]
    assert found.urgency == "visit"
    assert found.channel == "hot_tap"
    assert "should hold 48 °C" in found.summary


def test_while_it_burns_it_asks_to_act():
    lasting = Fault(kind="mixing_valve_stuck", start="2025-05-06")
    _, (found,) = found_in(channels=TAPS, faults=(lasting,), days=14)
    assert found.end_s is None
    assert found.urgency == "act"
    assert found.certainty >= 0.8


def test_a_sound_valve_is_clear_however_hot_the_store():
    plant, found = found_in(
        channels=TAPS, tubes=30, volume_l=200.0, litres_per_day=60.0, limit_c=80.0
    )
    assert plant.conclusion(KIND).findings == ()
    assert found == ()


def test_a_hot_store_without_a_valve_on_record_is_watched():
    _, (found,) = found_in(
        start="2025-06-01",
        limit_c=75.0,
        litres_per_day=60.0,
        site={"store": {"mixing_valve_c": None}},
    )
    assert found.urgency == "watch"
    assert found.end_s is None
    assert "no mixing valve is on record" in found.summary


def test_a_backup_at_its_usual_set_point_is_no_hot_store():
    plant, found = found_in(
        start="2025-02-01",
        backup_setpoint_c=60.0,
        site={"store": {"mixing_valve_c": None}},
    )
    assert plant.conclusion(KIND).findings == ()
    assert found == ()


def test_a_valve_on_record_that_nobody_measures_is_not_called_sound():
    plant, _ = found_in()
    conclusion = plant.conclusion(KIND)
    assert isinstance(conclusion, NotJudged)
    assert "no sensor at the taps" in conclusion.why


@pytest.mark.parametrize(("valve", "hot"), [(48.0, 1), (56.0, 0)])
def test_a_valve_has_room_about_its_set_point(valve, hot):
    # The plant's water leaves at 57.5 °C; what is on record decides whether that is too much.
    record = {"store": {"mixing_valve_c": valve}}
    _, found = found_in(channels=TAPS, mixing_valve_c=57.5, site=record)
    assert len(found) == hot
