"""Silence: holes within and between days, and pauses that are none."""

import numpy as np
import pytest

from analysis.faults import Judged
from fixtures.faults import Fault
from tests.build import Plant, a_plant, a_record, a_site, at, of_kind

KIND = "silence"


def with_hole(first, last, *, rows=5 * 288):
    """Give five days of rows each five minutes, without those from `first` to `last`."""
    stamps = np.arange(rows) * 300 + at("2025-06-10T00:00")
    kept = stamps[(stamps < at(first)) | (stamps >= at(last))]
    record = a_record(stamp_s=kept, collector=20.0 + np.arange(len(kept)) % 7, pump=0.0)
    return Plant(site=a_site(), record=record, channels=frozenset(record.columns))


@pytest.mark.parametrize(
    ("first", "last"),
    [
        ("2025-06-11T05:00", "2025-06-11T19:00"),
        ("2025-06-11T20:00", "2025-06-12T12:00"),
        ("2025-06-11T23:00", "2025-06-12T23:00"),
        ("2025-06-11T05:00", "2025-06-14T05:00"),
    ],
)
def test_a_hole_is_named_to_the_minute_wherever_midnight_lies(first, last):
    (found,) = with_hole(first, last).conclusion(KIND).findings
    assert found.start_s == at(first)
    assert found.end_s == at(last)


def test_a_pause_of_some_hours_only_lowers_the_coverage():
    plant = with_hole("2025-06-11T08:00", "2025-06-11T16:00")
    assert plant.conclusion(KIND) == Judged(findings=())
    table = plant.table()
    coverage = table.column("logged_s") / table.column("length_s")
    assert coverage[1] == pytest.approx(16 / 24)


@pytest.mark.parametrize(
    ("last", "urgency"), [("2025-06-12T08:00", "record"), ("2025-06-14T08:00", "watch")]
)
def test_long_holes_are_watched_and_short_ones_put_on_record(last, urgency):
    (found,) = with_hole("2025-06-11T08:00", last).conclusion(KIND).findings
    assert found.urgency == urgency


def test_a_log_that_just_ended_is_not_silent():
    assert with_hole("2025-06-20T00:00", "2025-06-20T00:00").conclusion(KIND) == Judged(findings=())


@pytest.mark.parametrize("step_s", [60, 300, 900, 3600])
def test_slow_loggers_are_not_silent(step_s):
    plant = a_plant(start="2025-05-01", days=5, step_s=step_s)
    assert plant.conclusion(KIND) == Judged(findings=())


def test_a_simulated_hole_costs_coverage_and_no_heat_is_made_up():
    fault = Fault(kind=KIND, start="2025-05-08", end="2025-05-11")
    plant = a_plant(start="2025-05-01", days=20, faults=(fault,), sensors="perfect", step_s=60)
    report = plant.report()
    (found,) = of_kind(report, KIND)
    assert (found.end_s - found.start_s) / 86400.0 == pytest.approx(3.0, abs=0.05)
    assert report.totals.coverage == pytest.approx(17 / 20, abs=0.005)
    truth = plant.run.daily_truth()
    logged = sum(kwh for day, kwh in truth.items() if not "2025-05-08" <= str(day) < "2025-05-11")
    assert report.totals.delivered_kwh == pytest.approx(logged, rel=0.01)
    silent = [day for day in report.days if "2025-05-08" <= day.date < "2025-05-11"]
    assert len(silent) == 3
    assert all(day.delivered_kwh is None and day.coverage == 0.0 for day in silent)
