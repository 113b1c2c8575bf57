"""The site file from facts: what `parse_site` reads back as the same facts."""

import json
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from analysis.site import Change, Climate, LogMap, Site
from analysis.sitefile_schema import CHANGE, LOG, PART, READING, TABLES, TARIFF, TERM, Table

# Tables that stand inside another: the key there, and what each may hold.
_INSIDE = {"backup": ("tariff", TARIFF), "warranty": ("term", TERM)}


def site_to_toml(site: Site) -> str:
    """Write a site file.

    Parameters
    ----------
    site : Site
        Facts that `parse_site` gave, or that hold to its rules.

    Returns
    -------
    str
        TOML text; `parse_site` gives the same facts for it.
    """
    lines = ["schema = 1"]
    for name, table in TABLES.items():
        if name == "controller" and not site.controller_given:
            continue
        held = getattr(site, table.attribute)
        if held is None:
            continue
        for one in held if table.many else (held,):
            lines += ["", *table_lines(name, one)]
    for change in site.changes:
        lines += ["", *change_lines(change)]
    for part in site.parts:
        lines += ["", "[[part]]", *pairs(PART, part)]
    for read in site.readings:
        lines += ["", "[[reading]]", *pairs(READING, read)]
    if site.log != LogMap():
        lines += ["", *_log_lines(site.log)]
    return "\n".join(lines) + "\n"


def table_lines(name: str, held: Any) -> list[str]:
    """Write one table with the tables inside it.

    Parameters
    ----------
    name : which table of the site file
    held : its facts
    """
    table = TABLES[name]
    lines = [f"[[{name}]]" if table.many else f"[{name}]", *pairs(table, held)]
    if name in _INSIDE:
        key, inner = _INSIDE[name]
        for one in getattr(held, inner.attribute):
            lines += ["", f"[[{name}.{key}]]", *pairs(inner, one)]
    return lines


def change_lines(change: Change) -> list[str]:
    """Write a dated change."""
    return ["[[change]]", *pairs(CHANGE, change), f"value = {toml_value(change.value)}"]


def climate_to_toml(climate: Climate) -> str:
    """Write the [climate] table of a site file."""
    return "\n".join(["[climate]", *pairs(TABLES["climate"], climate)]) + "\n"


def map_to_toml(log_map: LogMap) -> str:
    """Write a map; `parse_map` gives the same for it."""
    return "\n".join(_log_lines(log_map)) + "\n"


def _log_lines(log_map: LogMap) -> list[str]:
    lines = ["[log]", *pairs(LOG, log_map)]
    if log_map.columns:
        lines += ["", "[log.columns]"]
    for head, meaning in log_map.columns:
        unit = "" if meaning.unit is None else f", unit = {toml_value(meaning.unit)}"
        seen = f", despite = {toml_value(meaning.despite)}" if meaning.despite else ""
        entry = f"channel = {toml_value(meaning.channel)}{unit}{seen}"
        lines.append(f"{toml_value(head)} = {{ {entry} }}")
    return lines


def pairs(table: Table, held: Any) -> Iterable[str]:
    """Write the keys that are known; an unknown fact is left out."""
    pairs = []
    for key in table.rules:
        value = getattr(held, table.field(key))
        if value is not None:
            pairs.append(f"{key} = {toml_value(value)}")
    return pairs


def toml_value(value: object) -> str:
    """Write one value as TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # JSON escapes what TOML escapes, but for the delete sign.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, datetime):
        return f'"{value.isoformat()}"'
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (tuple, list)):
        return f"[{', '.join(toml_value(one) for one in value)}]"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return repr(value)
