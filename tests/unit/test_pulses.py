"""Columns that count pulses of a meter. Heads and figures are invented."""

import math

import numpy as np
import pytest

from analysis.errors import SiteFileError
from analysis.logs.conversions import unit_named
from analysis.logs.pulses import rates
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.sitefile import parse_map


def log(head: str, counts, *, step_min: int = 5) -> str:
    rows = [f"Zeit;Kollektor [°C];{head}"]
    for number, count in enumerate(counts):
        hour, minute = divmod(number * step_min, 60)
        rows.append(
            f"2025-06-{1 + hour // 24:02} {hour % 24:02}:{minute:02};{20 + hour % 24};{count}"
        )
    return "\n".join(rows) + "\n"


def read(text: str, log_map: str | None = None, *, keep_open: bool = False):
    told = None if log_map is None else parse_map(log_map)
    files = [LogSource(name="a.csv", data=text.encode())]
    return read_logs(files, site=None, log_map=told, keep_open=keep_open)


# Half an hour of flow in each hour, two litres a minute: ten litres in each five minutes.
EACH = [10 if number % 12 >= 6 else 0 for number in range(144)]
TOTAL = np.cumsum(EACH)


@pytest.mark.parametrize(
    ("quantity", "unit", "factor", "counted_s"),
    [
        ("volume", "10 l/pulse", 10.0, 0.0),
        ("volume", "l/imp", 1.0, 0.0),
        ("volume", "0,01 m³/Impuls", 10.0, 0.0),
        ("volume", "450 pulses/l", 1 / 450, 0.0),
        ("energy", "1 Wh/imp", 0.001, 0.0),
        ("energy", "1 imp/kWh", 1.0, 0.0),
        ("flow", "2.5 l/pulse", 2.5, 60.0),
        ("power", "1 kWh/imp", 1000.0, 3600.0),
    ],
)
def test_the_size_of_a_pulse_is_a_unit(quantity, unit, factor, counted_s):
    found = unit_named(quantity=quantity, unit=unit)
    assert (found.factor, found.counted_s) == (pytest.approx(factor), counted_s)


@pytest.mark.parametrize(
    ("quantity", "unit"),
    [("temperature", "1 l/pulse"), ("flow", "1 Wh/imp"), ("volume", "0 l/imp"), ("flow", "imp")],
)
def test_what_is_no_size_of_a_pulse_is_no_unit(quantity, unit):
    assert unit_named(quantity=quantity, unit=unit) is None


def test_pulses_that_go_on_are_a_register_and_those_of_each_row_a_flow():
    told = '[log.columns]\nImp = { channel = "%s", unit = "10 l/pulse" }\n'
    register = read(log("Imp", TOTAL // 10), told % "flow_volume").columns["flow_volume"]
    assert register[-1] == TOTAL[-1]
    flow = read(log("Imp", [count // 10 for count in EACH]), told % "flow").columns["flow"]
    assert flow[1:].tolist() == [count / 5 for count in EACH[1:]]
    heat = '[log.columns]\nImp = { channel = "heat_power", unit = "1 Wh/imp" }\n'
    power = read(log("Imp", [150, 75, 0]), heat).columns["heat_power"]
    assert power.tolist() == [1800.0, 900.0, 0.0]
    with pytest.raises(SiteFileError, match="unit"):
        parse_map('[log.columns]\nImp = { channel = "flow", unit = "imp" }\n')


@pytest.mark.parametrize(
    ("head", "counts", "channel", "unit"),
    [
        ("Durchfluss [10 l/imp]", [n // 10 for n in EACH], "flow", "10 l/imp"),
        ("Flow pulses (10 l/pulse)", TOTAL // 10, "flow_volume", "10 l/pulse"),
        ("Wärmemenge [1 kWh/Impuls]", TOTAL // 10, "heat_register", "1 kWh/Impuls"),
    ],
)
def test_a_head_with_the_size_of_a_pulse_needs_no_answer(head, counts, channel, unit):
    parsed = read(log(head, counts))
    assert channel in parsed.columns
    (found,) = [one for one in parsed.files[0].understood.columns if one.head == head]
    assert (found.meaning.channel, found.meaning.unit) == (channel, unit)


@pytest.mark.parametrize(
    ("head", "counts", "kind", "first"),
    [
        ("Impulse Volumenstrom", EACH, "unit", "1 l/pulse"),
        ("Energy pulses", TOTAL, "unit", "1 kWh/pulse"),
        ("Imp", EACH, "column", "flow_volume"),
    ],
)
def test_a_size_that_nobody_told_is_asked_and_nothing_is_used(head, counts, kind, first):
    parsed = read(log(head, counts), keep_open=True)
    (question,) = [one for one in parsed.questions if one.subject == head]
    assert (question.kind, question.choices[0].value) == (kind, first)
    assert not {"flow", "flow_volume", "heat_register", "heat_power"} & set(parsed.columns)


def test_the_spanish_supply_pipe_counts_no_pulses():
    parsed = read(log("Temperatura impulsión [°C]", [30 + n % 9 for n in EACH]), keep_open=True)
    words = [one.why for one in parsed.questions]
    assert not any("pulses" in one for one in words)


def test_large_pulses_are_spread_over_the_rows_that_they_took():
    # A pulse of 10 l each five minutes of a running loop, in rows of a minute: 2 l/min throughout.
    counts = np.array([0.0] * 30 + [0.0, 0.0, 0.0, 0.0, 1.0] * 12 + [0.0] * 30)
    stamp_s = 60 * np.arange(len(counts), dtype=np.int64)
    flow = rates(counts, stamp_s, per_count=10.0, stamp="end", seconds=60.0)
    np.testing.assert_allclose(flow[35:90], 2.0)
    assert flow[:29].max() == 0.0
    assert flow[90:].max() == 0.0
    assert flow.sum() == pytest.approx(120.0)


def test_counts_after_a_gap_are_unknown_and_order_does_not_matter():
    stamp_s = np.array([0, 60, 120, 600, 660], dtype=np.int64)
    counts = np.array([1.0, 2.0, 2.0, 9.0, 2.0])
    flow = rates(counts, stamp_s, per_count=1.0, stamp="end", seconds=60.0)
    assert flow[[0, 1, 2, 4]].tolist() == [1.0, 2.0, 2.0, 2.0]
    assert math.isnan(flow[3])
    back = rates(counts[::-1], stamp_s[::-1], per_count=1.0, stamp="end", seconds=60.0)
    np.testing.assert_array_equal(back[::-1], flow)


def test_pulses_of_heat_by_the_day_are_the_heat_of_the_day():
    rows = ["Datum;Wärmemenge [100 Wh/imp]"]
    counts = [81, 24, 79, 0, 55, 60, 12] * 3
    rows += [f"2025-06-{1 + day:02};{count}" for day, count in enumerate(counts)]
    parsed = read("\n".join(rows) + "\n")
    assert parsed.columns["day_heat"][:4].tolist() == pytest.approx([8.1, 2.4, 7.9, 0.0])
