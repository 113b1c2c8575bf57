"""The small broken logs of fixtures/logs: what is kept, what is told, what is refused."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.errors import LogError
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.site import ColumnMeaning, LogMap
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
        ("columns-change.csv", (4, 4, 0, 0), []),
        ("totals.csv", (2, 2, 0, 0), []),
        ("clock-reset.csv", (11, 8, 0, 3), [6, 7, 8]),
        ("long-units.csv", (4, 4, 0, 0), []),
        ("first-row-damaged.csv", (3, 2, 0, 1), [2]),
        ("two-decimal-signs.csv", (2, 2, 0, 0), []),
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


def test_a_table_that_changes_its_columns_is_read_as_two():
    log = read("columns-change.csv")
    assert log.columns["collector"].tolist() == [60.5, 60.7, 61.0, 61.2]
    assert log.columns["flow"].tolist() == [2.0, 2.0, 2.1, 2.1]
    assert np.isnan(log.columns["ambient"][:2]).all()
    assert len(log.files) == 2


def test_a_long_table_has_a_column_for_each_name_in_one_unit():
    log = read("long-units.csv")
    assert log.columns["collector"].tolist() == [60.5, 61.5, 62.5, 63.5]
    np.testing.assert_allclose(log.columns["flow"], 2.0)
    np.testing.assert_allclose(log.columns["heat_power"], [950, 950, 1050, 1050])
    assert log.files[0].understood is not None
    assert log.files[0].understood.long


def long_table(head, *rows, times=4):
    """Write an invented long table; each row comes again at every stamp, its value one higher."""
    lines = [head]
    for step in range(times):
        for row in rows:
            names, _, value = row.rpartition(";")
            lines.append(f"2025-06-01 10:{step:02d};{names};{float(value) + step}")
    return LogSource(name="long.csv", data="\n".join([*lines, ""]).encode())


MAP_OF_NAMES = LogMap(
    columns=tuple(
        (name, ColumnMeaning(channel=channel, unit="C"))
        for name, channel in (
            ("roof", "collector"), ("tank", "store_bottom"),
            ("attic temp", "collector"), ("cellar temp", "store_bottom"),
        )
    )
)  # fmt: skip


@pytest.mark.parametrize(
    ("head", "rows"),
    [
        ("time;device_id;metric;value", ["gw-7;roof;60", "gw-7;tank;30"]),
        ("time;id;label;value", ["S1;roof;60", "S2;tank;30"]),
        ("time;label;id;value", ["roof;S1;60", "tank;S2;30"]),
        ("time;device;metric;value", ["attic;temp;60", "cellar;temp;30", "cellar;top;50"]),
    ],
    ids=["one device", "number and name", "name and number", "two devices"],
)
def test_a_series_is_named_by_all_columns_that_tell_it_from_another(head, rows):
    log = read_logs([long_table(head, *rows)], site=SITE, log_map=MAP_OF_NAMES)
    assert log.columns["collector"].tolist() == [60.0, 61.0, 62.0, 63.0]
    assert log.columns["store_bottom"].tolist() == [30.0, 31.0, 32.0, 33.0]


def test_each_column_may_have_its_own_decimal_sign():
    log = read("two-decimal-signs.csv")
    assert log.columns["collector"].tolist() == [60.5, 60.7]
    assert log.columns["flow"].tolist() == [2.0, 2.1]


def test_dates_that_nothing_tells_are_asked_and_read_when_answered():
    with pytest.raises(LogError, match='date_order = "day_first"') as caught:
        read("one-day-either-way.csv")
    (question,) = caught.value.questions
    assert question.kind == "date_order"
    assert [one.value for one in question.choices] == ["day_first", "month_first"]
    source = LogSource(name="x", data=(FIXTURES / "logs/one-day-either-way.csv").read_bytes())
    for order, day in (("day_first", "2025-06-03"), ("month_first", "2025-03-06")):
        log = read_logs([source], site=SITE, log_map=LogMap(date_order=order))
        assert str(log.stamp_s[0].astype("datetime64[s]"))[:10] == day


def test_a_file_that_waits_for_an_answer_does_not_keep_others_from_being_read():
    log = read("one-day-either-way.csv", "tidy.csv")
    assert log.rows.kept == 3
    assert [one.kind for one in log.questions] == ["date_order"]


def test_a_number_with_two_meanings_has_no_value_and_is_asked():
    source = LogSource(name="x", data=(FIXTURES / "logs/thousands-or-not.csv").read_bytes())
    told = LogMap(
        columns=(
            ("Kollektor", ColumnMeaning(channel="collector", unit="C")),
            ("Zähler", ColumnMeaning(channel="flow_volume", unit="l")),
        )
    )
    log = read_logs([source], site=SITE, log_map=told)
    assert log.columns["collector"].tolist() == [60, 61, 61]
    assert np.isnan(log.columns["flow_volume"]).all()
    assert [one.kind for one in log.questions] == ["decimal"]
    assert "thousands" in log.rejected[0].why
    point = read_logs([source], site=SITE, log_map=replace(told, decimal="."))
    assert point.columns["flow_volume"].tolist() == [1.234, 1.235, 1.236]


def test_a_far_value_that_comes_again_and_again_is_a_broken_sensor():
    rows = [(f"2025-06-13T14:{n:02d}:00Z", 30 + n % 12 * 0.5) for n in range(40)]
    rows[10:14] = [(stamp, 149.9) for stamp, _ in rows[10:14]]
    text = "time,t_store_top_c\n" + "".join(f"{stamp},{value}\n" for stamp, value in rows)
    log = read_logs([LogSource(name="x", data=text.encode())], site=SITE)
    assert np.flatnonzero(np.isnan(log.columns["store_top"])).tolist() == [10, 11, 12, 13]
    (column,) = log.files[0].understood.columns
    assert (column.sentinels, column.masked) == ((149.9,), 4)
