"""Two columns of time in one table: whose stamp is whose."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from analysis.logs.shapes import ParsedLog
from analysis.site import ColumnMeaning, LogMap
from tests.unit.test_logs_long_tables import read

START = datetime(2025, 1, 11, tzinfo=UTC)
ROWS = 200
LATER_S = 97


def written(at: datetime, kind: str) -> str:
    return {
        "iso": f"{at:%Y-%m-%d %H:%M:%S}",
        "two cells": f"{at:%d.%m.%Y;%H:%M:%S}",
        "epoch": f"{at.timestamp():.0f}",
    }[kind]


def table(
    head: str, row: str, *, later_s: int = LATER_S, kind: str = "iso", ends: int = ROWS
) -> str:
    """Write rows of a form with {a}, {b}: stamps, {t}, {u}: values; {b} and {u} up to a row."""
    lines = [head]
    for number in range(ROWS):
        at = START + timedelta(minutes=5 * number)
        blank = "" if kind != "two cells" else ";"
        lines.append(
            row.format(
                a=written(at, kind),
                b=written(at + timedelta(seconds=later_s), kind) if number < ends else blank,
                t=f"{20 + number % 40}.5",
                u=f"{2 + number % 7}.25" if number < ends else "",
                e="2025-09-01 10:00:00",
            )
        )
    return "\n".join(lines)


def stamps_of(found: ParsedLog, name: str) -> list[int]:
    held = found.columns[name]
    return [int(one) for one in found.stamp_s[np.isfinite(held)]]


FIRST = [int(START.timestamp()) + 300 * number for number in range(ROWS)]
SECOND = [one + LATER_S for one in FIRST]


@pytest.mark.parametrize(
    ("head", "row", "kind"),
    [
        ("time1;t_collector_c;time2;flow_l_min", "{a};{t};{b};{u}", "iso"),
        ("time;t_collector_c;time;flow_l_min", "{a};{t};{b};{u}", "epoch"),
        ("Date;Time;t_collector_c;Date;Time;flow_l_min", "{a};{t};{b};{u}", "two cells"),
        ("t_collector_c;read at;flow_l_min;read at", "{t};{a};{u};{b}", "iso"),
        ("No;time1;t_collector_c;time2;flow_l_min", "7;{a};{t};{b};{u}", "iso"),
    ],
)
def test_each_group_of_columns_stands_on_its_own_stamps(head, row, kind):
    found = read(table(head, row, kind=kind))
    assert stamps_of(found, "collector") == FIRST
    assert stamps_of(found, "flow") == SECOND
    understood = found.files[0].understood
    assert understood is not None
    assert "'flow_l_min' is read at the time" in " ".join(understood.remarks)


def test_a_group_that_ends_before_the_other_leaves_no_problem():
    found = read(table("time1;t_collector_c;time2;flow_l_min", "{a};{t};{b};{u}", ends=150))
    assert found.problems == 0
    assert found.rows.rejected == 0
    assert (len(stamps_of(found, "collector")), len(stamps_of(found, "flow"))) == (ROWS, 150)


def test_a_damaged_line_is_told_once():
    text = table("time1;t_collector_c;time2;flow_l_min", "{a};{t};{b};{u}").split("\n")
    text[50] = text[50][:20]
    found = read("\n".join(text))
    assert found.problems == 1
    assert found.rejected[0].line == 51


@pytest.mark.parametrize(
    ("head", "row", "later_s"),
    [
        ("time;t_collector_c;time utc;flow_l_min", "{a};{t};{b};{u}", -7200),
        ("time;time received;t_collector_c;flow_l_min", "{a};{b};{t};{u}", LATER_S),
        ("time;t_collector_c;flow_l_min;updated", "{a};{t};{u};{b}", LATER_S),
        ("Date of export;time;t_collector_c;flow_l_min", "{e};{a};{t};{u}", 0),
        ("time;t_collector_c;last alarm;flow_l_min", "{a};{t};{e};{u}", 0),
    ],
)
def test_another_column_of_time_in_the_same_row_moves_nothing(head, row, later_s):
    found = read(table(head, row, later_s=later_s))
    assert stamps_of(found, "collector") == stamps_of(found, "flow") == FIRST


def test_a_map_that_names_the_time_holds_for_the_whole_row():
    told = LogMap(columns=(("time1", ColumnMeaning(channel="time", unit=None)),))
    found = read(table("time1;t_collector_c;time2;flow_l_min", "{a};{t};{b};{u}"), told)
    assert stamps_of(found, "flow") == FIRST
