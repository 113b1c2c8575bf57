"""From what somebody chose on the preview page to a map."""

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

from analysis.channels import channel as channel_named
from analysis.logs.conversions import unit_named
from analysis.logs.layout import nameless_key
from analysis.site import ColumnMeaning, LogMap
from analysis.sitefile import parse_map
from analysis.sitefile_log import STAMP_COLUMNS
from analysis.sitefile_write import map_to_toml
from dashboards.preview_page import LEAVE_OUT

# Keys of `[log]` that a form may hold as they are.
FILE_KEYS = ("date_order", "decimal", "timezone", "time_format", "stamp", "table", "cells")
CLOCK_KEYS = ("clock_offset_min", "clock_drift_min_per_month", "clock_from", "clock_until")
_MOST_COLUMNS = 400


def map_of_answers(answers: Mapping[str, str], *, told: LogMap) -> LogMap:
    """Give the map that the answers make of the one told.

    Parameters
    ----------
    answers : the fields of the form: `key-N`, `channel-N`, `unit-N`, `given-N`, `printed-N` for
        each column (without a unit the one that its head prints counts, if it fits), keys of
        `[log]`, and `clock`: lines of `[log]` that put the clock right
    told : what held before; columns that the form does not show stay

    Raises
    ------
    analysis.errors.SiteFileError : an answer is not possible
    """
    entries = dict(told.columns)
    for number in range(_MOST_COLUMNS):
        key = answers.get(f"key-{number}")
        if key is None:
            break
        before = entries.pop(key, None)
        if key.isdigit():
            before = entries.pop(nameless_key(int(key)), None) or before
        channel, unit = answers.get(f"channel-{number}", ""), answers.get(f"unit-{number}", "")
        if channel in ("", LEAVE_OUT):
            continue
        given, _, given_unit = answers.get(f"given-{number}", "").partition("|")
        if channel == given and unit in ("", given_unit):
            continue  # its head says so already
        if channel in STAMP_COLUMNS:
            unit = ""
        elif not unit:
            unit = _printed(channel, answers.get(f"printed-{number}", ""))
        despite = before.despite if before is not None else ()
        entries[key] = ColumnMeaning(channel=channel, unit=unit or None, despite=despite)
    said: dict[str, Any] = {
        key: answers[key].strip() for key in FILE_KEYS if answers.get(key, "").strip()
    }
    said |= _clock(answers.get("clock", ""))
    found = replace(told, columns=tuple(entries.items()), **said)
    return parse_map(map_to_toml(found))


def _printed(name: str, unit: str) -> str:
    """Give the unit that a head prints where it is one of what the column holds, else ""."""
    known = channel_named(name)
    if known is None or not unit:
        return ""
    return unit if unit_named(quantity=known.quantity, unit=unit) is not None else ""


def _clock(lines: str) -> dict[str, Any]:
    """Give the keys of `[log]` that were chosen to put a clock right."""
    if not lines.strip():
        return {}
    chosen = parse_map(f"[log]\n{lines}\n")
    said = {key: getattr(chosen, key) for key in ("timezone", *CLOCK_KEYS)}
    return {key: value for key, value in said.items() if value is not None}


def for_nameless_columns(log_map: LogMap, *, own: LogMap) -> LogMap:
    """Let column numbers that a preview gave hold for columns without a name of their own only.

    The site's other logs may have heads; there the same number is another column. Numbers that
    the site's own map had before, written by hand, stay as they are.
    """
    before = {head for head, _ in own.columns}
    entries = {
        nameless_key(int(head)) if head.isdigit() and head not in before else head: meaning
        for head, meaning in log_map.columns
    }
    return replace(log_map, columns=tuple(entries.items()))


def together(base: LogMap, over: LogMap) -> LogMap:
    """Let one map go before another, key by key and column by column."""
    said = {
        field.name: getattr(over, field.name)
        for field in fields(LogMap)
        if field.name != "columns" and getattr(over, field.name) is not None
    }
    columns = {**dict(base.columns), **dict(over.columns)}
    return replace(base, columns=tuple(columns.items()), **said)
