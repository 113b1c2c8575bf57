"""A site file from the fields of a form.

A field is named by the key that it fills, arrays by their number: `site.name`, `loop.fluid`,
`array.1.tilt_deg`. Empty fields are left out. What a field may hold is what the site file's own
rules say, and a refusal names the same key, so that a page can show it at the field.
"""

import json
from collections.abc import Callable, Mapping
from datetime import date

from analysis.errors import SiteFileError
from analysis.sitefile import parse_site
from analysis.sitefile_rules import Rule
from analysis.sitefile_schema import TABLES

_BARE = {"true", "false"}


def site_file_from_form(fields: Mapping[str, str]) -> str:
    """Give the site file's text for a form's fields; fields that name no key are left alone.

    Raises
    ------
    analysis.errors.SiteFileError : the key, what it holds and what is allowed
    """
    from analysis.sitefile_write import site_to_toml

    return site_to_toml(parse_site(toml_from_form(fields)))


def refusals_of_form(
    fields: Mapping[str, str],
    *,
    field_of: Callable[[str | None], str | None],
    sound: Mapping[str, str],
) -> dict[str, str]:
    """Give all fields that are refused with the reason, where the site file's rules stop at one.

    Parameters
    ----------
    fields : what was typed
    field_of : the field that shows a key
    sound : for each field a value that is allowed, put in its place to find the next refusal
    """
    trial, refused = dict(fields), dict[str, str]()
    while True:
        try:
            parse_site(toml_from_form(trial))
        except SiteFileError as error:
            field = field_of(error.key)
            if field is None or field in refused:
                return refused
            refused[field] = error.what
            trial[field] = sound.get(field, "")
        else:
            return refused


def toml_from_form(fields: Mapping[str, str]) -> str:
    """Write the fields as TOML, unchecked."""
    tables: dict[str, dict[str, str]] = {}
    for name, given in fields.items():
        value = given.strip()
        heading, _, key = name.rpartition(".")
        rule = _rule(heading, key)
        if value and rule is not None:
            tables.setdefault(heading, {})[key] = value
    lines = ["schema = 1"]
    for heading in sorted(tables, key=_order):
        table, _, number = heading.partition(".")
        lines += ["", f"[[{table}]]" if number else f"[{table}]"]
        lines += literal_lines(TABLES[table].rules, tables[heading])
    return "\n".join(lines) + "\n"


def literal_lines(rules: Mapping[str, Rule], fields: Mapping[str, str]) -> list[str]:
    """Write the fields that are keys of a table as TOML, unchecked; empty ones are left out."""
    return [
        f"{key} = {_literal(rules[key], value.strip())}"
        for key, value in fields.items()
        if key in rules and value.strip()
    ]


def _rule(heading: str, key: str) -> Rule | None:
    name, _, number = heading.partition(".")
    table = TABLES.get(name)
    if table is None or table.many != number.isdecimal() or (number and not table.many):
        return None
    return table.rules.get(key)


def _order(heading: str) -> tuple[int, int]:
    name, _, number = heading.partition(".")
    return list(TABLES).index(name), int(number or 0)


def _literal(rule: Rule, value: str) -> str:
    """Write a value the way its kind is written; what does not look like its kind is quoted."""
    match rule.kind:
        case "number" | "integer":
            return _number(value)
        case "class_or_number":
            return json.dumps(value) if value in rule.choices else _number(value)
        case "numbers":
            return f"[{', '.join(_number(one) for one in _parts(value))}]"
        case "texts":
            return json.dumps([line.strip() for line in value.splitlines() if line.strip()])
        case "flag":
            return value if value in _BARE else ("true" if value in ("on", "1") else "false")
        case "date":
            return value if _looks_like_date(value) else json.dumps(value)
        case "hours":
            return value if value.startswith("[") and "\n" not in value else json.dumps(value)
        case _:
            return json.dumps(value, ensure_ascii=False)


def _number(value: str) -> str:
    """Write a number with a decimal point, whichever sign was typed."""
    point = value.replace(",", ".").replace("−", "-")
    try:
        number = float(point)
    except ValueError:
        return json.dumps(value, ensure_ascii=False)
    return repr(int(number)) if number.is_integer() and "e" not in point.lower() else repr(number)


def _parts(value: str) -> list[str]:
    """Cut a list of numbers at semicolons, else at commas, else at blanks."""
    if ";" in value:
        return value.split(";")
    return value.split(",") if "," in value else value.split()


def _looks_like_date(value: str) -> bool:
    try:
        date.fromisoformat(value)
    except ValueError:
        return False
    return len(value) == 10
