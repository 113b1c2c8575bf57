"""Long tables whose sensors are numbers: known where heads say so too, else asked."""

import math
from dataclasses import replace

import pytest

from analysis.errors import LogError
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource, ParsedLog
from analysis.site import ColumnMeaning, LogMap
from analysis.sitefile import parse_map
from analysis.sitefile_write import map_to_toml
from tests.unit.test_logs_reading import SITE

BARE = replace(SITE, log=LogMap())
ROWS = 400


def reading(sensor: int, row: int) -> float:
    """Invent readings: each sensor at a level of its own, changing slowly."""
    return 20.0 * (sensor + 1) + 8.0 * math.sin(row / 40.0 + sensor)


def stamp(minute: int, second: int = 0) -> str:
    return (
        f"2025-06-{1 + minute // 1440:02d} {minute // 60 % 24:02d}:{minute % 60:02d}:{second:02d}"
    )


def table(head: str, numbers: list[int], *, apart_s: int = 0, by_sensor: bool = False) -> str:
    cells = [(row, sensor) for row in range(ROWS) for sensor in range(len(numbers))]
    if by_sensor:
        cells.sort(key=lambda cell: cell[1])
    lines = [
        f"{stamp(5 * row, apart_s * sensor)};{numbers[sensor]};{reading(sensor, row):.1f}"
        for row, sensor in cells
    ]
    return "\n".join([head, *lines]) + "\n"


def read(text: str, log_map: LogMap | None = None) -> ParsedLog:
    source = LogSource(name="x.csv", data=text.encode())
    return read_logs([source], site=BARE, log_map=log_map, keep_open=True)


@pytest.mark.parametrize("by_sensor", [False, True], ids=["in turns", "one after the other"])
@pytest.mark.parametrize("apart_s", [0, 7], ids=["one stamp", "7 s apart"])
@pytest.mark.parametrize("head", ["sensor", "Sensor No", "channel_id", "id", "Kanal-Nr."])
def test_numbers_under_a_head_that_says_so_name_sensors(head, apart_s, by_sensor):
    numbers = [101, 102, 7]
    found = read(table(f"time;{head};value", numbers, apart_s=apart_s, by_sensor=by_sensor))
    assert set(found.open_columns) | set(found.columns) == {f"{head} {one}" for one in numbers}
    for sensor, number in enumerate(numbers):
        values = found.open_columns[f"{head} {number}"]
        held = values[values == values]
        assert len(held) == ROWS
        assert held[37] == pytest.approx(reading(sensor, 37), abs=0.06)
    known = found.files[0].understood
    assert known is not None
    assert known.long
    assert known.steps_s == (300,)


@pytest.mark.parametrize("by_sensor", [False, True])
def test_numbers_under_another_head_are_asked(by_sensor):
    text = table("time;a;b", [1, 2, 3], by_sensor=by_sensor)
    with pytest.raises(LogError, match='table = "long" or table = "wide"') as refused:
        read(text)
    assert [one.kind for one in refused.value.questions] == ["table"]
    log_map = parse_map('[log]\ntable = "long"\n')
    assert parse_map(map_to_toml(log_map)) == log_map
    assert sorted(read(text, log_map).open_columns) == ["a 1", "a 2", "a 3"]
    if not by_sensor:
        assert sorted(read(text, LogMap(table="wide")).open_columns) == ["a", "b"]


def test_a_sensor_with_a_number_can_be_mapped_and_is_no_place_of_a_column():
    text = table("time;sensor;value", [1, 2], apart_s=20)
    meaning = ColumnMeaning(channel="collector", unit="C")
    found = read(text, LogMap(columns=(("sensor 1", meaning),)))
    values = found.columns["collector"]
    assert values[values == values][0] == pytest.approx(reading(0, 0), abs=0.06)
    assert list(found.open_columns) == ["sensor 2"]


def test_a_column_without_a_head_names_its_sensors_all_the_same():
    lines = table("x;y;z", [1, 2, 3], apart_s=20).split("\n", 1)[1]
    assert sorted(read(lines, LogMap(table="long")).open_columns) == [
        "sensor 1",
        "sensor 2",
        "sensor 3",
    ]


def test_words_that_take_turns_name_sensors_without_a_head_that_says_so():
    text = table("time;what;value", [1, 2, 3], apart_s=7)
    for number in (1, 2, 3):
        text = text.replace(f";{number};", f";A{number};")
    assert sorted(read(text).open_columns) == ["A1", "A2", "A3"]


@pytest.mark.parametrize(
    "row",
    [
        lambda at: f"{reading(0, at):.0f};{reading(1, at):.0f}",
        lambda at: f"{reading(0, at):.1f};{int(at % 100 < 30)}",
        lambda at: f"{at // 150};{reading(1, at):.1f}",
        lambda at: f"7;{reading(1, at):.1f}",
    ],
    ids=["whole degrees", "a switch", "a counter", "the logger's number"],
)
@pytest.mark.parametrize("heads", ["sensor 1;sensor 2", "a;b"])
def test_a_wide_table_with_whole_numbers_stays_wide(heads, row):
    text = f"time;{heads}\n" + "".join(f"{stamp(5 * at)};{row(at)}\n" for at in range(ROWS))
    known = read(text).files[0].understood
    assert known is not None
    assert not known.long


ANNOTATED = """#group,false,false,true
#datatype,string,long,dateTime,double,string
#default,r,,,,
,result,table,_time,_value,sensor
"""


@pytest.mark.parametrize("again", ["", ANNOTATED], ids=["once", "above each sensor"])
def test_an_export_with_annotations_is_a_long_table(again):
    blocks = (
        "".join(f",,{sensor},{stamp(at)},{reading(sensor, at):.1f},S{sensor}\n" for at in range(99))
        for sensor in range(3)
    )
    found = read(ANNOTATED + again.join(blocks))
    assert sorted(found.open_columns) == ["S0", "S1", "S2"]
    assert found.rows.kept == 99
    for sensor in range(3):
        held = found.open_columns[f"S{sensor}"]
        assert held.tolist() == [float(f"{reading(sensor, at):.1f}") for at in range(99)]


@pytest.mark.parametrize(
    ("first", "does"), [("Roof", "paste transposed"), ("01.06.2025", "one row for each time")]
)
def test_a_table_on_its_side_is_refused_with_what_to_do(first, does):
    times = ";".join(f"{at:02d}:00" for at in range(24))
    values = ";".join(f"{at}.5" for at in range(24))
    rows = f"{first};{values}\n{first.replace('1', '2', 1)};{values}\n"
    with pytest.raises(LogError, match=does):
        read(f"Sensor;{times}\n{rows}")
