"""Files that say something else of their columns than the map they are read with."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.errors import LogError
from analysis.logs.against_map import contradicting, contradiction, with_despite
from analysis.logs.proposed_map import columns_of
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource, ParsedLog
from analysis.site import ColumnMeaning, LogMap
from analysis.sitefile import parse_map
from analysis.sitefile_write import map_to_toml
from tests.unit.test_logs_reading import SITE
from tests.unit.test_logs_tenths import plant

BARE = replace(SITE, log=LogMap())
NAMES = ("collector", "store_bottom", "loop_hot", "loop_cold", "flow", "pump")
NUMBERED = LogMap(
    columns=tuple(
        (f"column {place}", ColumnMeaning(channel=name, unit=None))
        for place, name in enumerate(NAMES, start=2)
    )
)


def table(names: tuple[str, ...], above: str = "", *, fahrenheit: bool = False) -> bytes:
    record = plant()
    columns = [
        record.columns[name] * 1.8 + 32.0 if fahrenheit and place < 4 else record.columns[name]
        for place, name in enumerate(names)
    ]
    stamps = np.datetime_as_string(record.start_s.astype("datetime64[s]"))
    rows = "".join(
        f"{stamp}Z;" + ";".join(f"{column[row]:.1f}" for column in columns) + "\n"
        for row, stamp in enumerate(stamps)
    )
    return f"{above}{rows}".encode()


def read(data: bytes, log_map: LogMap) -> ParsedLog:
    return read_logs([LogSource(name="x.csv", data=data)], site=BARE, log_map=log_map)


def test_the_file_that_a_map_was_made_for_agrees_with_it():
    assert contradiction(read(table(NAMES), NUMBERED)) is None


def test_columns_in_another_order_contradict_a_map_of_numbers():
    found = read(table(("loop_hot", "store_bottom", "collector", "loop_cold", "flow")), NUMBERED)
    assert set(contradicting(columns_of(found.files))) >= {"2", "4"}
    assert "this file's own values look like" in str(contradiction(found))


@pytest.mark.parametrize(
    ("above", "shown"),
    [("time;A;B;C;D;E;F\n;°F;°F;°F;°F;l/min;\n", "°F"), ("time;A;B;C;D;E;F\n", "F")],
    ids=["a line of units", "values alone"],
)
def test_the_same_heads_over_other_degrees_contradict_a_map_until_somebody_keeps_it(above, shown):
    by_heads = LogMap(
        columns=tuple(
            (head, meaning) for head, (_, meaning) in zip("ABCDEF", NUMBERED.columns, strict=True)
        )
    )
    data = table(NAMES, above, fahrenheit=True)
    found = read(data, by_heads)
    seen = contradicting(columns_of(found.files))
    assert seen["B"] == (f"store_bottom in {shown}",)
    kept = parse_map(map_to_toml(with_despite(by_heads, seen)))
    assert contradiction(read(data, kept)) is None


@pytest.mark.parametrize("begin", [0.3, 0.5, 0.83, 0.99])
@pytest.mark.parametrize("upward", [True, False])
def test_a_log_that_changes_its_degrees_on_the_way_is_refused(begin, upward):
    one, other = (
        table(NAMES, fahrenheit=fahrenheit).splitlines(keepends=True)
        for fahrenheit in (not upward, upward)
    )
    cut = int(begin * len(one))
    with pytest.raises(LogError, match="°C to °F" if upward else "°F to °C") as refused:
        read(b"".join((*one[:cut], *other[cut:])), NUMBERED)
    stamp = one[cut].decode()[:16].replace("T", " ")
    assert f"at {stamp} UTC" in str(refused.value)


def test_columns_that_a_map_does_not_name_are_read_where_they_are_sure():
    heads = "time;Collector temp [°C];Tank bottom [°C];Flow pipe [°C];Return pipe [°C];X;Pump [%]\n"
    partly = LogMap(columns=(("X", ColumnMeaning(channel="flow", unit=None)),))
    source = LogSource(name="x.csv", data=table(NAMES, heads))
    found = read_logs([source], site=BARE, log_map=partly)
    assert {"collector", "store_bottom", "flow"} <= set(found.columns)
    sources = {one.head: one.source for one in columns_of(found.files)}
    assert (sources["Collector temp [°C]"], sources["X"]) == ("proposal", "map")
    assert found.questions == ()
    chosen = read_logs([source], site=BARE, log_map=partly, beyond_map=False)
    assert set(chosen.columns) == {"flow", "pump"}


NAMED = "time;Collector;Tank bottom;Hot pipe;Return pipe;Flow rate [l/min];Pump\n"
BY_NAME = LogMap(
    columns=tuple(
        (head, meaning)
        for head, (_, meaning) in zip(NAMED.strip().split(";")[1:], NUMBERED.columns, strict=True)
    )
)


def test_only_files_whose_heads_say_what_the_map_does_are_spared_a_look_at_all_physics(
    monkeypatch,
):
    def never(*_, **__):
        raise AssertionError("all of physics was asked")

    monkeypatch.setattr("analysis.logs.proposals_of_files.proposals_for", never)
    assert contradiction(read(table(NAMES, NAMED), BY_NAME)) is None
    with pytest.raises(AssertionError, match="physics"):
        read(table(NAMES), NUMBERED)


def test_clear_heads_without_units_over_other_degrees_contradict_a_map():
    found = read(table(NAMES, NAMED, fahrenheit=True), BY_NAME)
    assert contradicting(columns_of(found.files))["Tank bottom"] == ("store_bottom in F",)
