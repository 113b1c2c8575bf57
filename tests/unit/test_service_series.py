"""Series for plots: no peak lost, gaps open."""

import numpy as np

from analysis.record import record_from_stamps
from service.ingest.series import plot_series


def a_record(*, rows: int = 10_000, gap: int = 0):
    stamp_s = np.arange(1, rows + 1, dtype=np.int64) * 60
    if gap:
        stamp_s[rows // 2 :] += gap
    values = np.sin(np.arange(rows) / 500.0) * 40.0
    if rows > 7777:
        values[1234] = 199.0
    return record_from_stamps(stamp_s=stamp_s, columns={"collector": values})


def test_a_short_stretch_is_given_as_it_is() -> None:
    record = a_record(rows=100)
    time_s, columns, reduced = plot_series(record, channels=None, points=200)
    assert not reduced
    assert time_s.tolist() == record.start_s.tolist()
    np.testing.assert_array_equal(columns["collector"], record.columns["collector"])


def test_a_long_stretch_keeps_its_extremes_in_few_points() -> None:
    record = a_record()
    time_s, columns, reduced = plot_series(record, channels=["collector", "flow"], points=500)
    assert reduced
    assert list(columns) == ["collector"]
    assert time_s.shape[0] <= 502
    assert np.all(np.diff(time_s) > 0)
    assert columns["collector"].max() == 199.0
    assert columns["collector"].min() == -40.0 or columns["collector"].min() < -39.99
    assert abs(time_s[columns["collector"].argmax()] - record.start_s[1234]) < 2 * 60 * 20


def test_a_gap_is_not_drawn_across() -> None:
    for points in (50, 20_000):
        record = a_record(rows=1000, gap=50_000)
        time_s, columns, _ = plot_series(record, channels=None, points=points)
        empty = np.flatnonzero(np.isnan(columns["collector"]))
        assert empty.shape[0] == 1
        assert record.start_s[499] < time_s[empty[0]] < record.start_s[500]


def test_a_bucket_of_unknown_values_stays_unknown() -> None:
    stamp_s = np.arange(1, 101, dtype=np.int64) * 60
    values = np.where(np.arange(100) < 50, np.nan, 20.0)
    record = record_from_stamps(stamp_s=stamp_s, columns={"collector": values})
    _, columns, _ = plot_series(record, channels=None, points=10)
    assert np.isnan(columns["collector"][:4]).all()
    assert columns["collector"][-1] == 20.0
