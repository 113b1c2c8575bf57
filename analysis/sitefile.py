"""The site file: TOML text in, frozen facts out, or one plain sentence about what is wrong.

The keys are data (`analysis.sitefile_schema`); here is the walk over them. A `[log]` table may
hold, beside what every site file may say, these additions:

- `delimiter`, `decimal`, `time_format`, `date_order`: how the text is written, where it is
  not obvious;
- `time_origin`: the instant that a time column counts from, with the column's unit s, min, h or d:
  `"1" = { channel = "time", unit = "s" }` and `time_origin = "2019-01-01T00:00:00Z"`; without an
  origin such a column counts from 1970-01-01T00:00:00Z;
- `clock_offset_min`, `clock_drift_min_per_month`, `clock_from`, `clock_until`: by how much the
  logger's clock is ahead and what it gains, and the days for which that holds; reading takes it
  off the stamps;
- the meanings `time`, `date` and `time_of_day` for columns that hold the stamp.
"""

import difflib
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from functools import lru_cache
from itertools import pairwise
from typing import Any

from analysis.site import Change, Controller, HandReading, LogMap, Part, Sensors, Site, Sun
from analysis.sitefile_lines import Path
from analysis.sitefile_log import log_map_of
from analysis.sitefile_reading import Reading, dotted, fields_of, value_of
from analysis.sitefile_rules import RefusedError, Rule, shown
from analysis.sitefile_schema import CHANGE, NESTED, PART, READING, TABLES, TARIFF, TERM, Table
from analysis.sitefile_sense import faults


# The same text is asked for at every batch of a gateway and on every page of the site.
@lru_cache(maxsize=256)
def parse_site(text: str) -> Site:
    """Read a site file.

    Parameters
    ----------
    text : str
        The TOML text.

    Returns
    -------
    Site
        The facts as they stood before any `[[change]]`; see `site_on`.

    Raises
    ------
    SiteFileError
        A key is unknown, missing or impossible, with the key, its value, what is allowed and the
        line.
    """
    reading = Reading.of(text)
    if not reading.raw:
        reading.refuse((), "there is nothing in this site file; write its tables, [site] first")
    reading.only((), ("schema", "change", "part", "reading", "log", *TABLES))
    if type(reading.raw.get("schema")) is not int or reading.raw["schema"] != 1:
        given = shown(reading.raw["schema"]) if "schema" in reading.raw else "missing"
        reading.refuse(("schema",), f"schema is {given}; allowed: 1 (write schema = 1 on top)")
    built: dict[str, Any] = {}
    for name, table in TABLES.items():
        built[table.attribute] = _build_table(reading, name, table)
    built["controller_given"] = built["controller"] is not None
    built["controller"] = built["controller"] or Controller()
    built["sensors"] = built["sensors"] or Sensors()
    built["sun"] = built["sun"] or Sun()
    log = log_map_of(reading) if "log" in reading.raw else LogMap()
    site = Site(**built, changes=(), log=log, readings=_readings(reading), parts=_parts(reading))
    _no_faults(reading, site, line_of=None)
    return _with_changes(reading, site)


def parse_map(text: str) -> LogMap:
    """Read a map: a TOML text that holds just a `[log]` table.

    Parameters
    ----------
    text : str
        The TOML text.

    Returns
    -------
    LogMap
        How to read the logs.

    Raises
    ------
    SiteFileError
        As `parse_site`; also where there is no `[log]` table.
    """
    reading = Reading.of(text)
    reading.only((), ("schema", "log"))
    if "log" not in reading.raw:
        reading.refuse((), "the map holds no [log] table; write [log] and [log.columns] in it")
    return log_map_of(reading)


def site_on(site: Site, day: date) -> Site:
    """Give the facts as they are on a local day, after the changes up to it.

    Parameters
    ----------
    site : Site
        What `parse_site` gave.
    day : date
        A local civil day of the site.

    Returns
    -------
    Site
        The same site where nothing changed up to that day, else a copy with the new facts. An array
        that got fewer or more tubes has the area of the tubes it has, unless a change of the same
        day states its area.
    """
    for change in sorted(site.changes, key=lambda change: change.date):
        if change.date <= day:
            site = _with_its_tubes(_changed(site, change), site, change)
    return site


def _with_its_tubes(site: Site, before: Site, change: Change) -> Site:
    parts = change.key.split(".")
    if parts[0] != "array" or parts[-1] != "tubes":
        return site
    if any(
        other.date == change.date and other.key == f"array.{parts[1]}.area_m2"
        for other in site.changes
    ):
        return site
    place = int(parts[1]) - 1
    old, new = before.arrays[place].tubes, site.arrays[place].tubes
    if not old or not new:
        return site
    array = replace(site.arrays[place], area_m2=site.arrays[place].area_m2 * new / old)
    return replace(site, arrays=(*site.arrays[:place], array, *site.arrays[place + 1 :]))


def facts_of_days(site: Site, dates: Sequence[str]) -> tuple[Site, ...]:
    """Give the facts of each local day; days between two changes share one `Site`.

    Parameters
    ----------
    site : Site
        What `parse_site` gave.
    dates : sequence of str
        Local civil days as ISO dates, rising.
    """
    return tuple(facts for facts, days in facts_of_spans(site, dates) for _ in range(days))


def facts_of_spans(site: Site, dates: Sequence[str]) -> list[tuple[Site, int]]:
    """Give the facts between two changes and how many of the days they hold for, in order.

    Parameters as in `facts_of_days`; there are as many days as dates.
    """
    cuts = [bisect_left(dates, day.isoformat()) for day in change_dates(site)]
    return [
        (site_on(site, date.fromisoformat(dates[first])), last - first)
        for first, last in pairwise((0, *cuts, len(dates)))
        if first < last
    ]


def change_dates(site: Site) -> tuple[date, ...]:
    """Give the days from which on other facts hold, rising, each once."""
    return tuple(sorted({change.date for change in site.changes}))


def _build_table(reading: Reading, name: str, table: Table) -> Any:
    raw = reading.raw.get(name)
    if raw is None:
        if table.required:
            heading = f"[[{name}]]" if table.many else f"[{name}]"
            reading.refuse((), f"the table {heading} is missing; every site file needs it")
        return None
    if table.many:
        if not isinstance(raw, list) or not raw or not all(isinstance(one, dict) for one in raw):
            reading.refuse((name,), f"{name} must be written as [[{name}]], once per {name}")
        return tuple(
            _build(reading, (name, number), one, table) for number, one in enumerate(raw, start=1)
        )
    return _build(reading, (name,), raw, table)


def _build(reading: Reading, path: Path, raw: Any, table: Table) -> Any:
    nested = NESTED.get(str(path[-1]), ())
    fields = fields_of(reading, path, raw, table, nested)
    if "tariff" in nested:
        tariffs = _many(reading, (*path, "tariff"), raw, TARIFF, "a tariff")
        fields["tariffs"] = tuple(sorted(tariffs, key=lambda tariff: tariff.start))
    if "term" in nested:
        fields["terms"] = tuple(_many(reading, (*path, "term"), raw, TERM, "a term"))
    return table.shape(**fields)


def _many(reading: Reading, path: Path, raw: Any, table: Table, what: str) -> list[Any]:
    """Build each of the tables of an array of tables that may be missing."""
    given = raw.get(path[-1], [])
    if not isinstance(given, list):
        reading.refuse(path, f"{what} must be written as [[{dotted(path)}]]")
    return [_build(reading, (*path, number), one, table) for number, one in enumerate(given, 1)]


def _readings(reading: Reading) -> tuple[HandReading, ...]:
    read = _many(reading, ("reading",), reading.raw, READING, "a meter reading")
    return tuple(sorted(read, key=lambda one: one.at))


def _parts(reading: Reading) -> tuple[Part, ...]:
    parts = _many(reading, ("part",), reading.raw, PART, "a part")
    return tuple(sorted(parts, key=lambda one: one.date))


def _no_faults(reading: Reading, site: Site, *, line_of: Path | None) -> None:
    for path, what in faults(site):
        if line_of is None:
            reading.refuse(path, what)
        reading.refuse(line_of, f"with this change {what}")


def _with_changes(reading: Reading, site: Site) -> Site:
    raw = reading.raw.get("change", [])
    if not isinstance(raw, list):
        reading.refuse(("change",), "a change must be written as [[change]]")
    changes = [_change(reading, site, number, one) for number, one in enumerate(raw, start=1)]
    ordered = sorted(enumerate(changes, start=1), key=lambda pair: pair[1].date)
    facts = site
    for place, (number, change) in enumerate(ordered):
        facts = _changed(facts, change)
        # Several keys may change on one day and only together make sense.
        if place + 1 == len(ordered) or ordered[place + 1][1].date != change.date:
            _no_faults(reading, facts, line_of=("change", number, "value"))
    return replace(site, changes=tuple(changes))


def _change(reading: Reading, site: Site, number: int, raw: Any) -> Change:
    path = ("change", number)
    fields = fields_of(reading, path, raw, CHANGE, ("value",))
    if "value" not in raw:
        reading.refuse((*path, "value"), f"{dotted(path)}.value is missing; give the new value")
    key = str(fields["key"])
    try:
        rule = _changed_rule(site, key)
    except RefusedError as error:
        reading.refuse((*path, "key"), f'{dotted(path)}.key is "{key}"; {error}')
    name = f"the new value of {key}"
    fields["value"] = value_of(reading, (*path, "value"), rule, raw["value"], name)
    return Change(**fields)


def _changed_rule(site: Site, key: str) -> Rule:
    """Give the rule of the key that a change names, or say why there is none."""
    if key == "site.timezone":
        raise RefusedError("days and months are cut by it; put the zone into [site] instead")
    parts = key.split(".")
    table = TABLES.get(parts[0])
    if table is None:
        raise RefusedError(f"allowed: a key of {', '.join(TABLES)}, such as loop.flow_l_min")
    count = 3 if table.many else 2
    if len(parts) != count or (table.many and not parts[1].isdecimal()):
        example = f"{parts[0]}.1.{next(iter(table.rules))}" if table.many else "loop.flow_l_min"
        raise RefusedError(f"allowed: a key written like {example}")
    if table.many and not 1 <= int(parts[1]) <= len(site.arrays):
        raise RefusedError(f"the file has {len(site.arrays)} [[{parts[0]}]], counted from 1")
    if parts[-1] not in table.rules:
        near = difflib.get_close_matches(parts[-1], table.rules, n=1, cutoff=0.5)
        hint = f'did you mean "{near[0]}"?' if near else f"known: {', '.join(table.rules)}"
        raise RefusedError(f"[{parts[0]}] has no key {parts[-1]}; {hint}")
    if getattr(site, table.attribute) is None:
        raise RefusedError(f"the file has no [{parts[0]}] that could change")
    return table.rules[parts[-1]]


def _changed(site: Site, change: Change) -> Site:
    parts = change.key.split(".")
    table = TABLES[parts[0]]
    new: Any = {table.field(parts[-1]): change.value}
    if table.many:
        place = int(parts[1]) - 1
        arrays = site.arrays
        return replace(
            site, arrays=(*arrays[:place], replace(arrays[place], **new), *arrays[place + 1 :])
        )
    given: Any = {"controller_given": True} if parts[0] == "controller" else {}
    held = {table.attribute: replace(getattr(site, table.attribute), **new)}
    return replace(site, **held, **given)
