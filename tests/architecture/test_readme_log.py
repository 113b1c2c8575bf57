"""README lists what the reader takes: every key of `[log]`, every channel, every unit."""

import re
from pathlib import Path

import pytest

from analysis.channels import BASE_CHANNELS
from analysis.logs.conversions import UNITS, known_units, unit_named
from analysis.sitefile_log import STAMP_COLUMNS
from analysis.sitefile_schema import LOG

README = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
SECTION = README.split("### How a log is told\n", 1)[1].split("\n## ", 1)[0]
KEYS, COLUMNS, *_ = (
    [line.strip("| ").split(" | ") for line in table.splitlines()[2:]]
    for table in re.findall(r"(?:^\|.*\n)+", SECTION, re.MULTILINE)
)


def quoted(cell: str) -> list[str]:
    return re.findall(r"`([^`]+)`", cell)


def test_every_key_stands_there_with_its_choices():
    says = {key: cell for keys, cell in KEYS for key in quoted(keys)}
    assert set(says) == set(LOG.rules)
    for key, rule in LOG.rules.items():
        for choice in rule.choices or ():
            if key != "delimiter" or len(choice) > 1:
                assert f"`{choice}`" in says[key]


def test_every_channel_stands_in_the_row_of_its_quantity():
    listed = {channel: quantity for quantity, cell, _ in COLUMNS for channel in quoted(cell)}
    assert listed == {name: one.quantity for name, one in BASE_CHANNELS.items()}


def test_every_unit_stands_there_and_is_read():
    assert [quantity for quantity, *_ in COLUMNS] != []
    for quantity, _, units in COLUMNS:
        assert set(units.split(", ")) == set(known_units(quantity).split(", "))
        for unit in units.split(", "):
            assert unit_named(quantity=quantity, unit=unit) is not None
    assert {quantity for quantity, *_ in COLUMNS} == set(UNITS)


@pytest.mark.parametrize(
    ("quantity", "unit"),
    [("volume", "10 l/pulse"), ("flow", "450 pulse/l"), ("energy", "1 kWh/pulse")],
)
def test_units_of_pulses_that_are_named_are_read(quantity, unit):
    assert f"`{unit}`" in SECTION
    assert unit_named(quantity=quantity, unit=unit) is not None


def test_every_column_of_the_time_is_named():
    assert set(STAMP_COLUMNS) <= set(quoted(SECTION))
