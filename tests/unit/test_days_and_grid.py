"""Local days, the cut at midnight, and rows of any step on bins of five minutes."""

from datetime import date

import numpy as np
import pytest

from analysis.days import (
    days_of_span,
    local_date,
    local_days,
    local_midnight_s,
)
from analysis.grid import BIN_S, grid_of
from analysis.record import Record
from analysis.runs import in_a_row
from tests.build import a_record, at


def london(first, last):
    return local_days(
        first=date.fromisoformat(first), last=date.fromisoformat(last), timezone="Europe/London"
    )


def laid(record, days):
    grid = grid_of(record, days)
    return grid, grid.day


@pytest.mark.parametrize(
    ("day", "zone", "instant"),
    [
        ("2025-06-01", "Europe/London", "2025-05-31T23:00"),
        ("2025-01-01", "Europe/London", "2025-01-01T00:00"),
        ("2025-01-01", "America/New_York", "2025-01-01T05:00"),
        ("2025-01-01", "Asia/Kathmandu", "2024-12-31T18:15"),
        ("2025-01-01", "Pacific/Auckland", "2024-12-31T11:00"),
    ],
)
def test_a_day_begins_at_its_local_midnight(day, zone, instant):
    begin = local_midnight_s(date.fromisoformat(day), zone)
    assert begin == at(instant)
    assert local_date(begin, zone).isoformat() == day
    assert local_date(begin - 1, zone).isoformat() < day


def test_a_midnight_that_does_not_exist_begins_with_the_first_instant_of_the_day():
    # Clocks in Beirut went from 0:00 to 1:00 on 26 March 2024... on 31 March 2024 (tz database).
    begin = local_midnight_s(date(2024, 3, 31), "Asia/Beirut")
    assert local_date(begin, "Asia/Beirut") == date(2024, 3, 31)
    assert local_date(begin - 1, "Asia/Beirut") == date(2024, 3, 30)


def test_days_touch_and_are_23_24_or_25_hours_long():
    hours = london("2025-03-28", "2025-04-01").length_s / 3600.0
    assert hours.tolist() == [24, 24, 23, 24, 24]
    assert (london("2025-10-26", "2025-10-26").length_s / 3600.0).tolist() == [25]


def test_a_span_that_ends_at_midnight_does_not_touch_the_next_day():
    days = days_of_span(
        start_s=at("2025-01-01T10:00"), end_s=at("2025-01-03T00:00"), timezone="Europe/London"
    )
    assert days.dates == ("2025-01-01", "2025-01-02")


def test_a_row_belongs_to_the_day_of_its_middle():
    days = london("2025-01-01", "2025-01-02")
    start = np.array([at("2024-12-31T23:50"), at("2025-01-01T23:54"), at("2025-01-01T23:56")])
    step = np.full(3, 600.0)
    record = Record(start_s=start, step_s=step, columns={}, masked={})
    assert laid(record, days)[1].tolist() == [-1, 0, 1]


@pytest.mark.parametrize("step_s", [10, 60, 120, 300, 420, 600, 900, 3600])
def test_laying_rows_on_bins_keeps_time_and_heat(step_s):
    rng = np.random.default_rng(step_s)
    rows = 86400 // step_s
    record = a_record(start="2025-01-01T00:00", rows=rows, step_s=step_s, flow=rng.random(rows))
    grid, day = laid(record, london("2025-01-01", "2025-01-01"))
    assert (day == 0).all()
    seconds = grid.seconds_where(np.ones(rows, dtype=np.bool_))
    assert seconds.sum() == pytest.approx(rows * step_s)
    mean = grid.mean(record.columns["flow"])
    assert np.nansum(mean * seconds) == pytest.approx(record.columns["flow"].sum() * step_s)


def test_a_bin_without_a_known_value_is_unknown():
    values = np.full(1440, 5.0)
    values[600:620] = np.nan
    record = a_record(start="2025-01-01T00:00", rows=1440, step_s=60, flow=values)
    grid, _ = laid(record, london("2025-01-01", "2025-01-01"))
    mean = grid.mean(record.columns["flow"])[0]
    assert np.isnan(mean[120:124]).all()
    assert np.isfinite(np.delete(mean, range(120, 124))).all()


def test_a_mean_is_over_the_known_part_alone():
    values = np.tile([1.0, np.nan, 3.0, np.nan, np.nan], 288)
    record = a_record(start="2025-01-01T00:00", rows=1440, step_s=60, flow=values)
    grid, _ = laid(record, london("2025-01-01", "2025-01-01"))
    assert grid.mean(record.columns["flow"]) == pytest.approx(np.full((1, 288), 2.0))
    high = grid.where(record.columns["flow"] > 2.0).mean(record.columns["flow"])
    assert high == pytest.approx(np.full((1, 288), 3.0))


def test_bins_count_from_local_midnight():
    days = london("2025-06-01", "2025-06-02")
    flow = np.zeros(288)
    flow[0] = 7.0
    record = a_record(start="2025-05-31T23:00", rows=288, flow=flow)
    grid, _ = laid(record, days)
    assert grid.mean(record.columns["flow"])[0, 0] == 7.0
    assert grid.start_s[1, 0] == days.edge_s[1]
    assert (np.diff(grid.start_s, axis=1) == BIN_S).all()


def test_a_day_of_25_hours_has_more_bins_and_one_of_23_leaves_its_last_empty():
    days = london("2025-10-25", "2025-10-26")
    record = a_record(start="2025-10-24T23:00", rows=49 * 12, flow=1.0)
    grid, _ = laid(record, days)
    assert grid.shape == (2, 300)
    mean = grid.mean(record.columns["flow"])
    assert np.isnan(mean[0, 288:]).all()
    assert (mean[1] == 1.0).all()


def test_rows_outside_the_days_are_left_out():
    record = a_record(start="2024-12-31T00:00", rows=3 * 288, flow=1.0)
    days = london("2025-01-01", "2025-01-01")
    grid, day = laid(record, days)
    assert (day >= 0).sum() == 288
    assert grid.seconds_where(np.ones(len(record), dtype=np.bool_)).sum() == 86400.0


def test_the_greatest_of_so_many_in_a_row_is_that_of_each_window():
    values = np.random.default_rng(3).normal(size=(4, 40))
    for count in (1, 2, 3, 7, 16, 25, 40):
        windows = np.lib.stride_tricks.sliding_window_view(values, count, axis=1)
        assert in_a_row(np.maximum, values, count).tolist() == windows.max(axis=2).tolist()
        assert in_a_row(np.minimum, values, count).tolist() == windows.min(axis=2).tolist()
