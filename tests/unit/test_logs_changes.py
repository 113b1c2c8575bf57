"""Logs that write a value only where it changes."""

import numpy as np
import pytest

from analysis.logs.holding import LONGEST_H, SILENT_H
from analysis.logs.shapes import ParsedLog
from analysis.record import Record
from analysis.site import LogMap
from tests.build import a_plant
from tests.unit.test_logs_long_tables import read

NAMES = {
    "t_collector_c": "collector",
    "t_store_bottom_c": "store_bottom",
    "t_loop_hot_c": "loop_hot",
    "pump_percent": "pump",
}


@pytest.fixture(scope="module")
def record() -> Record:
    return a_plant(days=6).record


def cells(record: Record, *, whole_every: int = 0) -> list[list[str]]:
    """Give for each row the values that changed, in half kelvins, now and then all."""
    held = {name: np.round(record.columns[own] * 2.0) / 2.0 for name, own in NAMES.items()}
    last: dict[str, float] = {}
    table = []
    for at in range(len(record.start_s)):
        everything = whole_every and at % whole_every == 0
        row = []
        for name, values in held.items():
            written = everything or last.get(name) != values[at]
            row.append(f"{values[at]:.1f}" if written else "")
            last[name] = values[at]
        table.append(row)
    return table


def stamp(at_s: int) -> str:
    return f"{np.datetime64(at_s, 's')}Z"


def wide(record: Record, *, skip: bool = False, whole_every: int = 0) -> str:
    table = cells(record, whole_every=whole_every)
    rows = [
        ";".join((stamp(at_s), *row))
        for at_s, row in zip(record.start_s.tolist(), table, strict=True)
        if any(row) or not skip
    ]
    return "\n".join((";".join(("time", *NAMES)), *rows))


def long(record: Record) -> str:
    rows = [
        f"{stamp(at_s + place)};{name};{cell}"
        for at_s, row in zip(record.start_s.tolist(), cells(record), strict=True)
        for place, (name, cell) in enumerate(zip(NAMES, row, strict=True))
        if cell
    ]
    return "\n".join(("time;sensor;value", *rows))


def remarks(found: ParsedLog) -> str:
    understood = found.files[0].understood
    assert understood is not None
    return " ".join(understood.remarks)


@pytest.mark.parametrize("written", ["empty cells", "rows left out", "now and then all", "long"])
def test_a_value_that_did_not_change_holds(record, written):
    text = {
        "empty cells": lambda: wide(record),
        "rows left out": lambda: wide(record, skip=True),
        "now and then all": lambda: wide(record, whole_every=6),
        "long": lambda: long(record),
    }[written]()
    found = read(text)
    assert "only changes are written" in remarks(found)
    assert found.rows.rejected == found.rows.duplicate == 0
    truth = record.columns
    for own in NAMES.values():
        # Sensors of the long table come seconds apart: its rows are whole minutes.
        at_s = record.start_s + (60 if written == "long" else 0)
        values = np.interp(at_s, found.stamp_s, found.columns[own])
        assert (np.abs(values - truth[own]) <= 0.26).mean() > 0.97
    assert np.isfinite(found.columns["pump"]).mean() > 0.97


def test_a_map_may_say_that_what_is_not_written_is_missing(record):
    text = wide(record)
    found = read(text, LogMap(cells="all"))
    assert np.isfinite(found.columns["pump"]).mean() < 0.6
    assert "only changes" not in remarks(found)


def test_a_log_with_every_value_is_read_as_it_is(record):
    text = wide(record, whole_every=1)
    found = read(text)
    assert "only changes" not in remarks(found)
    assert not found.questions


def test_sensors_that_lose_samples_at_random_are_not_held(record):
    rng = np.random.default_rng(5)
    lines = [";".join(("time", *NAMES))]
    for at, at_s in enumerate(record.start_s.tolist()):
        row = [
            f"{record.columns[own][at]:.1f}" if rng.random() > 0.4 else "" for own in NAMES.values()
        ]
        lines.append(";".join((stamp(at_s), *row)))
    found = read("\n".join(lines))
    assert "only changes" not in remarks(found)
    assert np.isfinite(found.columns["collector"]).mean() < 0.7


def test_nothing_is_held_for_ever_nor_while_the_log_is_silent(record):
    lines = wide(record).split("\n")
    quiet_s = (SILENT_H + 1) * 3600
    cut = 300
    end_s = int(record.start_s[cut - 1])
    after = [
        line
        for line, at_s in zip(lines[1:], record.start_s.tolist(), strict=True)
        if at_s < end_s or at_s > end_s + quiet_s
    ]
    # The last column stands still from then on: it may have died.
    stopped = [
        line if number < cut else line.rsplit(";", 1)[0] + ";" for number, line in enumerate(after)
    ]
    found = read("\n".join((lines[0], *stopped)), LogMap(cells="changes"))
    silent = (found.stamp_s > end_s) & (found.stamp_s <= end_s + quiet_s)
    assert not silent.any() or not np.isfinite(found.columns["collector"][silent]).any()
    pump = found.stamp_s[np.isfinite(found.columns["pump"])]
    assert pump[-1] <= end_s + quiet_s + LONGEST_H * 3600


def test_where_values_do_not_tell_it_is_asked(record):
    """Some values stand there again without a change."""
    rng = np.random.default_rng(3)
    lines = [";".join(("time", *NAMES))]
    for at_s, row in zip(record.start_s.tolist(), cells(record), strict=True):
        lines.append(";".join((stamp(at_s), *row)))
    last = dict.fromkeys(range(1, len(NAMES) + 1), "")
    for number, line in enumerate(lines[1:], 1):
        row = line.split(";")
        for place in last:
            last[place] = row[place] or last[place]
            if not row[place] and rng.random() < 0.03:
                row[place] = last[place]
        lines[number] = ";".join(row)
    found = read("\n".join(lines))
    assert [one.kind for one in found.questions] == ["cells"]
    assert not read("\n".join(lines), LogMap(cells="changes")).questions
