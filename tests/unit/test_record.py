"""Steps, starts and masks of a record."""

import numpy as np
import pytest

from analysis.errors import RecordError
from analysis.record import LONGEST_STEP_S, Record, record_from_stamps, steps_s
from tests.build import a_record, with_values


def steps(stamps, stamp="end"):
    return steps_s(np.array(stamps, dtype=np.int64), stamp=stamp).tolist()


def test_even_rows_stand_for_their_distance():
    assert steps([0, 60, 120, 180]) == [60.0] * 4
    assert steps([0, 60, 120, 180], "start") == [60.0] * 4


def test_a_lone_row_stands_for_a_minute():
    assert steps([1000]) == [60.0]
    assert steps([]) == []


@pytest.mark.parametrize("stamp", ["end", "start"])
def test_a_row_beside_a_gap_stands_for_its_usual_step(stamp):
    stamps = [*range(0, 600, 60), *range(7200, 7800, 60)]
    assert steps(stamps, stamp) == [60.0] * 20


def test_a_step_that_changes_is_followed():
    stamps = [*range(0, 600, 60), *range(600, 6000, 300)]
    found = steps(stamps, "start")
    assert found[:10] == [60.0] * 10
    assert found[11:] == [300.0] * (len(found) - 11)


def test_no_row_stands_for_more_than_an_hour():
    assert steps([0, 86400, 172800]) == [LONGEST_STEP_S] * 3


def test_the_time_that_rows_stand_for_never_exceeds_the_span():
    rng = np.random.default_rng(4)
    stamps = np.cumsum(rng.choice([60, 60, 60, 61, 3000], 500)).astype(np.int64)
    for stamp in ("end", "start"):
        found = steps_s(stamps, stamp=stamp)
        own = np.diff(stamps)
        held = found[1:] if stamp == "end" else found[:-1]
        assert (held <= own).all()


@pytest.mark.parametrize(("stamp", "first"), [("end", -60), ("start", 0)])
def test_inside_a_stamp_labels_the_start_of_its_step(stamp, first):
    record = record_from_stamps(
        stamp_s=np.array([0, 60, 120]), columns={"flow": np.ones(3)}, stamp=stamp
    )
    assert record.start_s.tolist() == [first, first + 60, first + 120]


def test_rows_of_end_stamps_do_not_overlap():
    rng = np.random.default_rng(5)
    stamps = np.cumsum(rng.choice([60, 300, 4000], 300)).astype(np.int64)
    record = record_from_stamps(stamp_s=stamps, columns={}, stamp="end")
    ends = record.start_s + record.step_s
    assert (ends[:-1] <= record.start_s[1:] + 1e-6).all()


def test_impossible_values_are_masked_and_flagged_and_nothing_else():
    record = a_record(rows=4, collector=[20.0, 999.9, np.nan, 150.0], flow=1.0)
    assert np.isnan(record.columns["collector"][[1, 2]]).all()
    assert record.masked["collector"].tolist() == [False, True, False, False]
    assert set(record.masked) == {"collector"}


def test_the_values_given_are_not_changed():
    given = np.array([20.0, 999.9])
    record_from_stamps(stamp_s=np.array([0, 60]), columns={"collector": given})
    assert given.tolist() == [20.0, 999.9]
    given[0] = 5.0  # still writable


def test_a_record_is_read_only():
    record = a_record(rows=3, flow=1.0)
    with pytest.raises(ValueError, match="read-only"):
        record.columns["flow"][0] = 2.0
    with pytest.raises(TypeError):
        record.columns["flow"] = np.zeros(3)


def test_a_record_refuses_what_it_cannot_be():
    with pytest.raises(RecordError, match="rise"):
        a_record(stamp_s=[0, 60, 60], flow=1.0)
    with pytest.raises(RecordError, match="unknown channel"):
        a_record(rows=2, roof_mood=1.0)
    good = a_record(rows=3, flow=1.0)
    with pytest.raises(RecordError, match="shape"):
        with_values(good, flow=np.ones(2))
    with pytest.raises(RecordError, match="differ in length"):
        Record(start_s=np.arange(3), step_s=np.ones(2), columns={}, masked={})


def test_a_part_holds_its_rows():
    record = a_record(rows=10, flow=np.arange(10.0), collector=[400.0] + [20.0] * 9)
    part = record.part(2, 5)
    assert part.columns["flow"].tolist() == [2.0, 3.0, 4.0]
    assert part.start_s.tolist() == record.start_s[2:5].tolist()
    assert part.masked["collector"].tolist() == [False] * 3
    assert len(part) == 3
    assert record.has("flow", "collector")
    assert not record.has("flow", "pump")
