"""The walk over a TOML text: raw tables, the lines they stand on, and refusals that name both."""

import difflib
import re
import tomllib
from dataclasses import dataclass
from typing import Any, NoReturn

from analysis.errors import SiteFileError
from analysis.sitefile_lines import Path, key_lines
from analysis.sitefile_rules import RefusedError, Rule, accept, shown
from analysis.sitefile_schema import Table

_LONGEST_TEXT = 1_000_000
_PLACE_IN_MESSAGE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """The raw tables with the lines that their keys stand on."""

    raw: dict[str, Any]
    lines: dict[Path, int]

    @classmethod
    def of(cls, text: str) -> "Reading":
        """Read a TOML text; SiteFileError where it is none."""
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
        """Raise a SiteFileError at the line of this path, or of the nearest table around it."""
        line = None
        for depth in range(len(path), 0, -1):
            line = line or self.lines.get(path[:depth])
        raise SiteFileError(what, key=dotted(path) or None, line=line)

    def only(self, path: Path, known: tuple[str, ...]) -> None:
        """Refuse keys of the table at this path that are not known."""
        table: Any = self.raw
        for part in path:
            table = table[part - 1] if isinstance(part, int) else table[part]
        for key in table:
            if key not in known:
                near = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
                hint = f'did you mean "{near[0]}"?' if near else f"known here: {', '.join(known)}"
                self.refuse((*path, key), f"{dotted((*path, key))} is not a known key; {hint}")


def dotted(path: Path) -> str:
    """Write a path the way messages name keys."""
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


def fields_of(
    reading: Reading, path: Path, raw: Any, table: Table, beside: tuple[str, ...]
) -> dict[str, Any]:
    """Check each key of a raw table against its rule."""
    if not isinstance(raw, dict):
        reading.refuse(path, f"{dotted(path)} is {shown(raw)}; it must be a table: [{path[0]}]")
    reading.only(path, (*table.rules, *beside))
    fields: dict[str, Any] = {}
    for key, rule in table.rules.items():
        if key in raw:
            fields[table.field(key)] = value_of(reading, (*path, key), rule, raw[key])
        elif rule.required:
            name = dotted((*path, key))
            reading.refuse((*path, key), f"{name} is missing; it must be {rule.allowed()}")
        else:
            fields[table.field(key)] = rule.default
    return fields


def value_of(reading: Reading, path: Path, rule: Rule, raw: object, name: str = "") -> Any:
    """Check one raw value against its rule; refuse it at its line."""
    try:
        return accept(rule, raw)
    except RefusedError:
        what = f"{name or dotted(path)} is {shown(raw)}; allowed: {rule.allowed()}"
        reading.refuse(path, what)
