"""The site file: TOML text in, frozen facts out, or one plain sentence about what is wrong.

The keys are data (`analysis.sitefile_schema`); here is the walk over them. A `[log]` table may
hold, beside what every site file may say, these additions:

- `delimiter`, `decimal`, `time_format`: how the text is written, where it is not obvious;
- `time_origin`: the instant that a time column counts from, with the column's unit s, min, h or d:
  `"1" = { channel = "time", unit = "s" }` and `time_origin = "2019-01-01T00:00:00Z"`; without an
  origin such a column counts from 1970-01-01T00:00:00Z;
- the meanings `time`, `date` and `time_of_day` for columns that hold the stamp.
"""

import difflib
import re
import tomllib
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, NoReturn

from analysis.channels import channel, known_names
from analysis.errors import SiteFileError
from analysis.logs.conversions import known_units, time_unit_s, unit_named
from analysis.site import Change, ColumnMeaning, Controller, LogMap, Sensors, Site
from analysis.sitefile_lines import Path, key_lines
from analysis.sitefile_rules import RefusedError, Rule, accept, shown
from analysis.sitefile_schema import CHANGE, LOG, NESTED, TABLES, TARIFF, Table
from analysis.sitefile_sense import faults

STAMP_COLUMNS = ("time", "date", "time_of_day")
_LONGEST_TEXT = 1_000_000
_PLACE_IN_MESSAGE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")


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
    reading = _Reading.of(text)
    reading.only((), ("schema", "change", "log", *TABLES))
    if reading.raw.get("schema") != 1:
        given = shown(reading.raw["schema"]) if "schema" in reading.raw else "missing"
        reading.refuse(("schema",), f"schema is {given}; allowed: 1 (write schema = 1 on top)")
    built: dict[str, Any] = {}
    for name, table in TABLES.items():
        built[table.attribute] = _build_table(reading, name, table)
    built["controller_given"] = built["controller"] is not None
    built["controller"] = built["controller"] or Controller()
    built["sensors"] = built["sensors"] or Sensors()
    log = _log_map(reading) if "log" in reading.raw else LogMap()
    site = Site(**built, changes=(), log=log)
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
    reading = _Reading.of(text)
    reading.only((), ("schema", "log"))
    if "log" not in reading.raw:
        reading.refuse((), "the map holds no [log] table; write [log] and [log.columns] in it")
    return _log_map(reading)


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
        The same site where nothing changed up to that day, else a copy with the new facts.
    """
    for change in sorted(site.changes, key=lambda change: change.date):
        if change.date <= day:
            site = _changed(site, change)
    return site


def change_dates(site: Site) -> tuple[date, ...]:
    """Give the days from which on other facts hold, rising, each once."""
    return tuple(sorted({change.date for change in site.changes}))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Reading:
    """The raw tables with the lines that their keys stand on."""

    raw: dict[str, Any]
    lines: dict[Path, int]

    @classmethod
    def of(cls, text: str) -> "_Reading":
        if len(text) > _LONGEST_TEXT:
            raise SiteFileError("this is too long for a site file or map; give the TOML file")
        text = text.removeprefix("\ufeff")
        try:
            raw = tomllib.loads(text)
        except RecursionError:
            raise SiteFileError("brackets are nested too deeply; give the TOML file") from None
        except ValueError as error:  # TOMLDecodeError, and numbers of thousands of digits
            raise _syntax_error(str(error), text) from None
        return cls(raw=raw, lines=key_lines(text))

    def refuse(self, path: Path, what: str) -> NoReturn:
        line = None
        for depth in range(len(path), 0, -1):
            line = line or self.lines.get(path[:depth])
        raise SiteFileError(what, key=_dotted(path) or None, line=line)

    def only(self, path: Path, known: tuple[str, ...]) -> None:
        """Refuse keys of the table at this path that are not known."""
        table: Any = self.raw
        for part in path:
            table = table[part - 1] if isinstance(part, int) else table[part]
        for key in table:
            if key not in known:
                near = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
                hint = f'did you mean "{near[0]}"?' if near else f"known here: {', '.join(known)}"
                self.refuse((*path, key), f"{_dotted((*path, key))} is not a known key; {hint}")


def _dotted(path: Path) -> str:
    return ".".join(str(part) for part in path)


_PLAIN_WORDS = (
    ("Cannot overwrite a value", "the same key stands twice; keep one of them"),
    ("Cannot declare", "the same table stands twice; join them into one"),
    ("Invalid date or datetime", "this date does not exist"),
    ("Expected '=' after a key", "a key must be followed by = and its value"),
    ("at the end of a table declaration", "a table name is not closed; a ] is missing"),
    ("Invalid value", "this is no value; texts need quotes, and a decimal point is a point"),
    ("Unclosed array", "a list is not closed; a ] is missing"),
    ("Unterminated string", "a text is not closed; a quote is missing"),
    ("Illegal character", "a sign stands here that TOML does not allow (an open quote?)"),
    ("Expected newline or end", "more stands here than one value; one key = value per line"),
    ("Exceeds the limit", "a number has too many digits"),
)


def _syntax_error(message: str, text: str) -> SiteFileError:
    place = _PLACE_IN_MESSAGE.search(message)
    line = None
    if place is not None:
        line = int(place[1]) if place[1] else text.count("\n") + 1
    bare = _PLACE_IN_MESSAGE.sub("", message)
    plain = next((words for start, words in _PLAIN_WORDS if start in bare), bare)
    return SiteFileError(f"this is not TOML: {plain}", line=line)


def _build_table(reading: _Reading, name: str, table: Table) -> Any:
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


def _build(reading: _Reading, path: Path, raw: Any, table: Table) -> Any:
    nested = NESTED.get(str(path[-1]), ())
    fields = _fields(reading, path, raw, table, nested)
    if table.shape is None:
        return next(iter(fields.values()))
    if "tariff" in nested:
        fields["tariffs"] = _tariffs(reading, path, raw.get("tariff", []))
    return table.shape(**fields)


def _fields(
    reading: _Reading, path: Path, raw: Any, table: Table, beside: tuple[str, ...]
) -> dict[str, Any]:
    """Check each key of a raw table against its rule."""
    if not isinstance(raw, dict):
        reading.refuse(path, f"{_dotted(path)} is {shown(raw)}; it must be a table: [{path[0]}]")
    reading.only(path, (*table.rules, *beside))
    fields: dict[str, Any] = {}
    for key, rule in table.rules.items():
        if key in raw:
            fields[table.field(key)] = _value(reading, (*path, key), rule, raw[key])
        elif rule.required:
            name = _dotted((*path, key))
            reading.refuse((*path, key), f"{name} is missing; it must be {rule.allowed()}")
        else:
            fields[table.field(key)] = rule.default
    return fields


def _value(reading: _Reading, path: Path, rule: Rule, raw: object, name: str = "") -> Any:
    try:
        return accept(rule, raw)
    except RefusedError:
        what = f"{name or _dotted(path)} is {shown(raw)}; allowed: {rule.allowed()}"
        reading.refuse(path, what)


def _tariffs(reading: _Reading, path: Path, raw: Any) -> tuple[Any, ...]:
    if not isinstance(raw, list):
        reading.refuse((*path, "tariff"), "a tariff must be written as [[backup.tariff]]")
    tariffs = [
        _build(reading, (*path, "tariff", number), one, TARIFF)
        for number, one in enumerate(raw, start=1)
    ]
    return tuple(sorted(tariffs, key=lambda tariff: tariff.start))


def _no_faults(reading: _Reading, site: Site, *, line_of: Path | None) -> None:
    for path, what in faults(site):
        if line_of is None:
            reading.refuse(path, what)
        reading.refuse(line_of, f"with this change {what}")


def _with_changes(reading: _Reading, site: Site) -> Site:
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


def _change(reading: _Reading, site: Site, number: int, raw: Any) -> Change:
    path = ("change", number)
    fields = _fields(reading, path, raw, CHANGE, ("value",))
    if "value" not in raw:
        reading.refuse((*path, "value"), f"{_dotted(path)}.value is missing; give the new value")
    key = str(fields["key"])
    try:
        rule = _changed_rule(site, key)
    except RefusedError as error:
        reading.refuse((*path, "key"), f'{_dotted(path)}.key is "{key}"; {error}')
    name = f"the new value of {key}"
    fields["value"] = _value(reading, (*path, "value"), rule, raw["value"], name)
    return Change(**fields)


def _changed_rule(site: Site, key: str) -> Rule:
    """Give the rule of the key that a change names, or say why there is none."""
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
    if table.shape is not None and getattr(site, table.attribute) is None:
        raise RefusedError(f"the file has no [{parts[0]}] that could change")
    return table.rules[parts[-1]]


def _changed(site: Site, change: Change) -> Site:
    parts = change.key.split(".")
    table = TABLES[parts[0]]
    if table.shape is None:
        return replace(site, **{table.attribute: change.value})  # type: ignore[arg-type]
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


_DELIMITER_WORDS = {"comma": ",", "semicolon": ";", "tab": "\t", "pipe": "|", "blank": " "}


def _log_map(reading: _Reading) -> LogMap:
    raw = reading.raw["log"]
    fields = _fields(reading, ("log",), raw, LOG, NESTED["log"])
    fields["delimiter"] = _DELIMITER_WORDS.get(fields["delimiter"], fields["delimiter"])
    columns = raw.get("columns", {})
    if not isinstance(columns, dict):
        reading.refuse(("log", "columns"), "columns must be a table: [log.columns]")
    return LogMap(**fields, columns=_columns(reading, columns))


def _columns(reading: _Reading, raw: dict[str, Any]) -> tuple[tuple[str, ColumnMeaning], ...]:
    found: dict[str, str] = {}
    columns = []
    for head, entry in raw.items():
        path = ("log", "columns", head)
        if not isinstance(entry, dict):
            reading.refuse(
                path, f'"{head}" is {shown(entry)}; write {{ channel = "...", unit = "..." }}'
            )
        reading.only(path, ("channel", "unit"))
        meaning = _meaning(reading, path, entry)
        if meaning.channel in found:
            reading.refuse(
                (*path, "channel"),
                f'"{head}" and "{found[meaning.channel]}" are both {meaning.channel}; a second '
                f"sensor of a kind is {meaning.channel}_2",
            )
        found[meaning.channel] = head
        columns.append((head, meaning))
    return tuple(columns)


def _meaning(reading: _Reading, path: Path, entry: dict[str, Any]) -> ColumnMeaning:
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
    if unit is None:
        return ColumnMeaning(channel=name, unit=None)
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
    return ColumnMeaning(channel=name, unit=unit)
