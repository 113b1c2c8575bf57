"""Temperatures in tenths of a degree: taken where it is written, proposed, never assumed."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from analysis.logs.conversions import folded_unit, unit_named
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource, ParsedLog
from analysis.meaning.unit_words import find_unit
from analysis.site import ColumnMeaning, LogMap
from tests.build import a_plant
from tests.unit.test_logs_reading import SITE

BARE = replace(SITE, log=LogMap())
WARM = ("collector", "store_bottom", "loop_hot", "loop_cold")


@cache
def plant():
    return a_plant(days=6).record


def text(heads: list[str], scale: float = 10.0) -> str:
    record = plant()
    columns = [record.columns[name] * scale for name in WARM]
    lines = ["time;" + ";".join(heads)]
    for row, start in enumerate(record.start_s.tolist()):
        stamp = np.datetime_as_string(np.datetime64(start, "s"))
        lines.append(f"{stamp}Z;" + ";".join(f"{column[row]:.0f}" for column in columns))
    return "\n".join(lines) + "\n"


def read(data: str, log_map: LogMap | None = None) -> ParsedLog:
    source = LogSource(name="x.csv", data=data.encode())
    return read_logs([source], site=BARE, log_map=log_map, keep_open=True)


def assert_degrees(found: ParsedLog, *names: str) -> None:
    for name in names:
        expected = plant().columns[name]
        np.testing.assert_allclose(found.columns[name], expected, atol=0.051)


@pytest.mark.parametrize("unit", ["0.1 C", "1/10 °C", "°C/10", "°C x 10", "0,1°C", "C*10"])
def test_a_map_tells_tenths(unit):
    entries = tuple(
        (f"S{at}", ColumnMeaning(channel=name, unit=unit)) for at, name in enumerate(WARM)
    )
    found = read(text(["S0", "S1", "S2", "S3"]), LogMap(columns=entries))
    assert_degrees(found, *WARM)


@pytest.mark.parametrize("head", ["Roof [0.1°C]", "Roof (°C/10)", "Roof 0.1°C", "Roof °C x10"])
def test_a_head_with_tenths_is_no_head_with_degrees(head):
    assert find_unit(head).unit == "0.1c"
    assert find_unit("Roof 10 °C").unit == "c"


def test_tenths_under_heads_without_a_unit_are_proposed():
    found = read(text(["Collector", "Tank bottom", "S3", "S4"]))
    assert_degrees(found, "collector", "store_bottom")
    known = found.files[0].understood
    assert known is not None
    units = {column.meaning.unit for column in known.columns if column.meaning is not None}
    assert units == {"0.1 C"}


@pytest.mark.parametrize("heads", ["t_{}_c", "{} [C]"])
def test_tenths_under_a_head_of_degrees_are_asked_and_not_used(heads):
    data = text([heads.format(name) for name in WARM])
    found = read(data)
    assert not found.columns
    assert {question.kind for question in found.questions} == {"unit"}
    assert [choice.value for choice in found.questions[0].choices] == ["0.1 C", "C"]
    # Told that they are degrees, they are: nothing is put right behind anybody's back.
    head = heads.format("collector")
    told = read(data, LogMap(columns=((head, ColumnMeaning(channel="collector", unit="C")),)))
    assert np.nanmax(told.columns["collector"]) > 350.0


def test_whole_degrees_stay_degrees():
    found = read(text([f"t_{name}_c" for name in WARM], scale=1.0))
    assert set(found.columns) == set(WARM)


def test_an_open_sensor_among_whole_degrees_is_no_tenths():
    data = text([f"t_{name}_c" for name in WARM], scale=1.0).split("\n")
    rows = [line.split(";") for line in data]
    for row in rows[100:160]:
        row[1] = "888"
    found = read("\n".join(";".join(row) for row in rows))
    assert set(found.columns) == set(WARM)


@pytest.mark.parametrize(
    ("quantity", "unit", "factor"),
    [("pressure", "0.01 bar", 0.01), ("power", "10 W", 10.0), ("flow", "0.1 l/min", 0.1)],
)
def test_a_number_before_a_unit_scales_it(quantity, unit, factor):
    found = unit_named(quantity=quantity, unit=unit)
    assert found is not None
    assert found.factor == pytest.approx(factor)
    assert found.counted_s == 0.0


def test_numbers_that_belong_to_a_unit_stay_with_it():
    assert folded_unit("0-100") == "0..100"
    pulses = unit_named(quantity="flow", unit="10 l/pulse")
    assert pulses is not None
    assert pulses.counted_s == 60.0
    assert unit_named(quantity="share", unit="10") is None
    assert unit_named(quantity="flow", unit="0 l/min") is None
