"""Tubes not in yet: a cold collector from the first day on, not a dull or a later cold one."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from fixtures.faults import Fault
from tests.build import FULL_LOG, NO_SUN_LOG, PUMP_LOG, a_plant, asking, at, of_kind, with_values

KIND = "not_yet_fitted"
LOGS = pytest.mark.parametrize("channels", [FULL_LOG, NO_SUN_LOG, PUMP_LOG])


def without_tubes(**given):
    fault = Fault(kind=KIND, start="2025-05-01", end="2025-05-20")
    return a_plant(start="2025-05-01", days=40, faults=(fault,), **given)


@LOGS
def test_a_manifold_without_tubes_is_told_until_they_are_in(channels):
    report = without_tubes(channels=channels).report()
    (found,) = of_kind(report, KIND)
    assert found.start_s == at("2025-05-01T00:00+01:00")
    assert abs(found.end_s - at("2025-05-20T00:00+01:00")) <= 2 * 86400
    assert asking(report) == []


def test_papers_that_say_otherwise_are_mentioned():
    (found,) = of_kind(without_tubes().report(), KIND)
    assert "although the papers say" in found.summary
    later = {"commissioned": {"tubes_fitted": date(2025, 5, 20)}}
    (fine,) = of_kind(without_tubes(site=later).report(), KIND)
    assert "papers" not in fine.summary
    assert fine.urgency == "record"


def test_no_tubes_by_the_end_of_the_record_have_no_end():
    fault = Fault(kind=KIND, start="2025-05-01", end=None)
    (found,) = of_kind(a_plant(start="2025-05-01", days=20, faults=(fault,)).report(), KIND)
    assert found.end_s is None


@LOGS
@pytest.mark.parametrize("start", ["2025-12-10", "2025-05-01", "2025-07-01"])
def test_a_record_that_begins_dull_or_bright_is_clear(start, channels):
    plant = a_plant(start=start, days=30, channels=channels)
    assert of_kind(plant.report(), KIND) == ()


@LOGS
def test_a_sensor_that_hangs_in_the_air_later_on_is_not_it(channels):
    """Its collector got warm before; here it follows the air from the tenth day on."""
    plant = a_plant(start="2025-05-01", days=30, channels=channels)
    rows = np.arange(len(plant.record)) >= 10 * 144
    air = 12.0 + 5.0 * np.sin(np.arange(len(plant.record)) / 144.0 * 2.0 * np.pi)
    values = np.where(rows, air, plant.record.columns["collector"])
    loose = replace(plant, record=with_values(plant.record, collector=values))
    assert of_kind(loose.report(), KIND) == ()


def test_a_running_loop_that_never_gets_hot_is_not_it():
    plant = a_plant(start="2025-05-01", days=20, litres_per_day=700.0, volume_l=500.0)
    assert of_kind(plant.report(), KIND) == ()
