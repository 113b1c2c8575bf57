"""What the forms of the warranty record ask for, and how their fields become keys."""

from collections.abc import Mapping

from analysis.sitefile_rules import Rule
from analysis.sitefile_schema import TABLES, TERM
from analysis.warranty.terms import TERM_KINDS

# Facts that visits change most; every other key can be changed in the site facts.
CHANGED_KEYS = (
    "commissioned.fluid_tested",
    "commissioned.filled",
    "array.1.tubes",
    "loop.concentration",
    "loop.pressure_bar",
    "loop.flow_l_min",
    "loop.vessel_precharge_bar",
    "store.limit_c",
)
_PERCENT = ("concentration",)


def rule_keys(fields: Mapping[str, str], table: str) -> dict[str, str]:
    """Give the fields of one table, by their keys there."""
    start = f"{table}."
    return {name.removeprefix(start): v for name, v in fields.items() if name.startswith(start)}


def rule_of_change(key: str) -> Rule:
    """Give what the new value of a key may be; a text where there is no such key."""
    parts = key.split(".")
    table = TABLES.get(parts[0])
    rule = table.rules.get(parts[-1]) if table is not None else None
    return rule if rule is not None else Rule(kind="text")


def term_keys(kind: str) -> tuple[str, ...]:
    """Give the keys that a term of this kind is asked for."""
    found = TERM_KINDS[kind]
    return tuple(key for key in TERM.rules if key in (*found.needs, *found.one_of))


def from_percent(fields: Mapping[str, str]) -> dict[str, str]:
    """Turn what is typed as per cent into the share that the site file holds."""
    return {
        name: _share(value) if name.endswith(_PERCENT) or _is_share(name, fields) else value
        for name, value in fields.items()
    }


def _is_share(name: str, fields: Mapping[str, str]) -> bool:
    return name == "value" and fields.get("key", "").endswith(_PERCENT)


def _share(text: str) -> str:
    try:
        return repr(round(float(text.replace(",", ".").strip().rstrip("%")) / 100.0, 6))
    except ValueError:
        return text
