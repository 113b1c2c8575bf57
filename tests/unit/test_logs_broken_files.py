"""The small broken logs of fixtures/logs: what is kept, what is told, what is refused."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.errors import LogError
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.site import LogMap
from analysis.sitefile import parse_site

FIXTURES = Path(__file__).parents[2] / "fixtures"
SITE = parse_site((FIXTURES / "sites/mill-lane-4.toml").read_text("utf-8"))
SITE = replace(SITE, log=LogMap(), place=replace(SITE.place, timezone="Europe/Berlin"))


def read(*names: str):
    files = [LogSource(name=one, data=(FIXTURES / "logs" / one).read_bytes()) for one in names]
    return read_logs(files, site=SITE)


@pytest.mark.parametrize(
    ("name", "rows", "lines"),
    [
        ("tidy.csv", (3, 3, 0, 0), []),
        ("decimal-comma.csv", (3, 3, 0, 0), []),
        ("doubled-hour.csv", (16, 16, 0, 0), []),
        ("doubled-hour-lost.csv", (10, 4, 0, 6), [4, 5, 6, 7, 8, 9]),
        ("missing-hour.csv", (7, 4, 0, 3), [4, 5, 6]),
        ("cut-off.csv", (4, 3, 0, 1), [5]),
        ("restarted.csv", (4, 3, 1, 0), []),
        ("sensor-open.csv", (6, 6, 0, 0), [5, 6]),
        ("clock-lost.csv", (5, 3, 0, 2), [5, 6]),
    ],
)
def test_rows_are_counted_and_problems_name_their_lines(name, rows, lines):
    log = read(name)
    counts = log.rows
    assert (counts.read, counts.kept, counts.duplicate, counts.rejected) == rows
    assert [problem.line for problem in log.rejected] == lines
    assert all(problem.file == name for problem in log.rejected)


def test_a_decimal_comma_log_gives_the_same_as_a_tidy_one():
    comma, tidy = read("decimal-comma.csv"), read("tidy.csv")
    np.testing.assert_array_equal(comma.stamp_s, tidy.stamp_s)
    np.testing.assert_array_equal(comma.columns["collector"], [60.5, 60.9, 40.0])
    np.testing.assert_allclose(comma.columns["flow"], [2.0, 2.0, 0.0])
    np.testing.assert_array_equal(comma.columns["pump"], [100, 100, 0])


def test_the_doubled_hour_runs_on_evenly():
    assert np.diff(read("doubled-hour.csv").stamp_s).tolist() == [600] * 15


def test_a_broken_sensor_leaves_unknown_values_and_no_zeros():
    log = read("sensor-open.csv")
    assert np.isnan(log.columns["collector"][2:5]).all()
    assert log.columns["collector"][5] == 3276.7
    assert log.impossible == {"collector": 1}
    assert log.columns["store_bottom"][-1] == 31.2


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("no-known-column.csv", r"no column of this log is known.*'kf1'.*map them under"),
        ("header-only.csv", "a header but no row"),
    ],
)
def test_a_hopeless_log_is_refused_with_the_remedy(name, words):
    with pytest.raises(LogError, match=words):
        read(name)
