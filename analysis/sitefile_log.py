"""The `[log]` table of a site file or map: how to read a logger's files."""

import difflib
from typing import Any

from analysis.channels import channel, known_names
from analysis.logs.conversions import known_units, time_unit_s, unit_named
from analysis.logs.stamp_parts import PARTS
from analysis.site import ColumnMeaning, LogMap
from analysis.sitefile_lines import Path
from analysis.sitefile_reading import Reading, fields_of
from analysis.sitefile_rules import shown
from analysis.sitefile_schema import LOG, NESTED

STAMP_COLUMNS = ("time", "date", "time_of_day", *PARTS)
_MOST_MIN = 1440
_DELIMITER_WORDS = {"comma": ",", "semicolon": ";", "tab": "\t", "pipe": "|", "blank": " "}


def log_map_of(reading: Reading) -> LogMap:
    """Build the map from the raw `[log]` table, which must be there."""
    raw = reading.raw["log"]
    fields = fields_of(reading, ("log",), raw, LOG, NESTED["log"])
    fields["delimiter"] = _DELIMITER_WORDS.get(fields["delimiter"], fields["delimiter"])
    _sensible_clock(reading, fields)
    columns = raw.get("columns", {})
    if not isinstance(columns, dict):
        reading.refuse(("log", "columns"), "columns must be a table: [log.columns]")
    return LogMap(**fields, columns=_columns(reading, columns))


def _sensible_clock(reading: Reading, fields: dict[str, Any]) -> None:
    begins, ends = fields["clock_from"], fields["clock_until"]
    if fields["clock_drift_min_per_month"] is not None and begins is None:
        reading.refuse(
            ("log", "clock_drift_min_per_month"),
            "clock_drift_min_per_month needs clock_from, the day that the drift counts from",
        )
    offset = fields["clock_offset_min"]
    if offset is not None and abs(offset) > _MOST_MIN and (begins is None or ends is None):
        reading.refuse(
            ("log", "clock_offset_min"),
            f"clock_offset_min is {shown(offset)}, more than a day; that can be so for the days of "
            "a clock that had been reset only: say clock_from and clock_until too, or a number "
            f"between -{_MOST_MIN} and {_MOST_MIN}",
        )
    if begins is not None and ends is not None and ends <= begins:
        reading.refuse(
            ("log", "clock_until"),
            f"clock_until is {ends}, not after clock_from, {begins}; it is the first day on which "
            "the clock is right again",
        )


def _columns(reading: Reading, raw: dict[str, Any]) -> tuple[tuple[str, ColumnMeaning], ...]:
    # One channel may stand here more than once: the logs of two loggers, each with its own heads.
    # Two in one file are a matter for who reads that file.
    columns = []
    for head, entry in raw.items():
        path = ("log", "columns", head)
        if not isinstance(entry, dict):
            reading.refuse(
                path, f'"{head}" is {shown(entry)}; write {{ channel = "...", unit = "..." }}'
            )
        reading.only(path, ("channel", "unit", "despite"))
        columns.append((head, _meaning(reading, path, entry)))
    return tuple(columns)


def _meaning(reading: Reading, path: Path, entry: dict[str, Any]) -> ColumnMeaning:
    name, unit = entry.get("channel"), entry.get("unit")
    head = path[-1]
    known = (*known_names(), *STAMP_COLUMNS)
    if not isinstance(name, str) or (name not in STAMP_COLUMNS and channel(name) is None):
        given = shown(name) if "channel" in entry else "missing"
        near = difflib.get_close_matches(str(name), known, n=1, cutoff=0.5)
        hint = f'did you mean "{near[0]}"?' if near else f"known: {', '.join(known)}"
        reading.refuse((*path, "channel"), f'the channel of "{head}" is {given}; {hint}')
    found = channel(name)
    quantity = found.quantity if found is not None else "time"
    despite = _despite(reading, path, entry.get("despite", []))
    if unit is None:
        return ColumnMeaning(channel=name, unit=None, despite=despite)
    good = isinstance(unit, str) and (
        time_unit_s(unit) is not None
        if found is None
        else unit_named(quantity=quantity, unit=unit) is not None
    )
    if not good:
        reading.refuse(
            (*path, "unit"),
            f'the unit of "{head}" is {shown(unit)}; allowed for {name}: {known_units(quantity)}',
        )
    return ColumnMeaning(channel=name, unit=unit, despite=despite)


def _despite(reading: Reading, path: Path, given: Any) -> tuple[str, ...]:
    if not isinstance(given, list) or not all(isinstance(one, str) for one in given):
        reading.refuse(
            (*path, "despite"),
            f'what "{path[-1]}" holds despite is {shown(given)}; write what a file showed, as in '
            'despite = ["loop_hot in F"]',
        )
    return tuple(given)
