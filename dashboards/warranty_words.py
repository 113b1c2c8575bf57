"""The warranty record in plain words: terms, what became of them, keys of the papers."""

import re
from collections.abc import Mapping
from datetime import date
from typing import Any

from analysis.site import WarrantyTerm
from analysis.warranty.judge import Kept
from analysis.warranty.terms import TERM_KINDS
from dashboards.format import day, number, plural, sentence

OUTCOME_WORDS: dict[Kept, str] = {
    "kept": "Kept",
    "not_kept": "Not kept",
    "not_known": "Not known",
}

KIND_WORDS = {
    "fluid_test": "Fluid tested every so many years",
    "visit": "Looked after every so many years",
    "tubes_within": "Tubes in within so many days",
    "hours_above": "Hours above a temperature",
    "never_above": "Never above a temperature",
    "stagnation_days": "Days of standing hot",
    "pressure": "Pressure within limits",
    "concentration": "Strength of the antifreeze",
    "other": "Something that a person checks",
}

KEY_WORDS = {
    "commissioned.filled": "Filled on",
    "commissioned.tubes_fitted": "Tubes went in on",
    "commissioned.fluid_tested": "Fluid last passed a test on",
    "commissioned.by": "Put into service by",
    "commissioned.registration": "Their registration",
    "commissioned.serials": "Serial numbers",
    "warranty.from": "Warranty from",
    "warranty.years": "Years",
    "warranty.conditions": "Conditions in words",
    "loop.flow_l_min": "Flow set [l/min]",
    "loop.pressure_bar": "Cold fill pressure [bar]",
    "loop.concentration": "Antifreeze by mass",
    "loop.fluid": "Fluid",
    "loop.pump_w": "Pump [W]",
    "loop.vessel_l": "Vessel [l]",
    "loop.vessel_precharge_bar": "Charge of the vessel [bar]",
    "loop.safety_valve_bar": "Safety valve [bar]",
    "store.volume_l": "Store [l]",
    "store.limit_c": "Store limit [°C]",
    "controller.start_difference_k": "Pump starts at [K]",
    "controller.stop_difference_k": "Pump stops at [K]",
}
# Fields of a term's form.
TERM_KEY_WORDS = {
    "text": "What the papers say",
    "years": "Years at most",
    "within_days": "Days at most",
    "after": "Counted from",
    "limit_c": "Temperature [°C]",
    "most_hours": "Hours a year at most",
    "most_days": "Days a year at most",
    "low_bar": "At least [bar]",
    "high_bar": "At most [bar]",
    "low_concentration": "At least [%]",
    "high_concentration": "At most [%]",
}
_ARRAY_WORDS = {
    "tubes": "Tubes",
    "tilt_deg": "Pitch [°]",
    "azimuth_deg": "Direction [° from north]",
    "area_m2": "Area [m²]",
}
# What a person noted about a term.
NOTE_WORDS = {"kept": "Kept", "noted": "Noted on", "by": "By"}
_FORM_WORDS = {
    **TERM_KEY_WORDS,
    "date": "The day",
    "what": "What it was",
    "serial": "Number on it",
    "value": "Is now",
}
_KEY = re.compile(r"\b(?:commissioned|warranty(?:\.term\.\d+)?|part\.\d+|change\.\d+)\.(\w+)")
FLUID_WORDS = {
    "water": "water",
    "propylene_glycol": "propylene glycol",
    "ethylene_glycol": "ethylene glycol",
}
_POINTS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def term_words(term: WarrantyTerm) -> str:
    """Say in our own words what a term asks for."""
    return sentence(TERM_KINDS[term.kind].says.format_map(_values(term)))


def _values(term: WarrantyTerm) -> Mapping[str, str]:
    return {
        "text": term.text or "",
        "years": "year" if term.years == 1 else f"{_plain(term.years)} years",
        "within_days": plural(term.within_days or 0, "day"),
        "most_days": plural(term.most_days or 0, "day"),
        "most_hours": f"{_plain(term.most_hours)} h",
        "limit_c": f"{_plain(term.limit_c)} °C",
        "after": "the start of the warranty" if term.after == "start" else "the fill",
        "bar": _span(term.low_bar, term.high_bar, "bar"),
        "concentration": _span(
            _percent(term.low_concentration_frac), _percent(term.high_concentration_frac), "%"
        ),
    }


def _percent(frac: float | None) -> float | None:
    return None if frac is None else 100.0 * frac


def _span(low: float | None, high: float | None, unit: str) -> str:
    if low is None:
        return f"at most {_plain(high)} {unit}"
    if high is None:
        return f"at least {_plain(low)} {unit}"
    return f"{_plain(low)} to {_plain(high)} {unit}"


def _plain(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"


def key_words(key: str) -> str:
    """Name a key of the site file."""
    table, _, rest = key.partition(".")
    if table == "array":
        place, _, name = rest.partition(".")
        words = _ARRAY_WORDS.get(name, name)
        return words if place == "1" else f"{words}, array {place}"
    return KEY_WORDS.get(key, key)


def refusal_words(what: str) -> str:
    """Write why a form was refused with the names that its fields have on the page."""

    def named(found: re.Match[str]) -> str:
        words = KEY_WORDS.get(found[0]) or _FORM_WORDS.get(found[1], found[1])
        return f"“{words}”"

    return sentence(_KEY.sub(named, what).replace(" without quotes", ""))


def change_words(key: str, value: Any) -> str:
    """Say what a key of the site file has become."""
    if key.endswith("concentration"):
        return f"{key_words(key)}: {_plain(100.0 * float(value))} %"
    return f"{key_words(key)}: {value_words(value)}"


def value_words(value: Any) -> str:
    """Write a value of the site file."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return day(value)
    if isinstance(value, float):
        return _plain(value)
    if isinstance(value, int):
        return number(value)
    if isinstance(value, (list, tuple)):
        return "; ".join(value_words(one) for one in value) or "none"
    return FLUID_WORDS.get(str(value), str(value))


def direction(azimuth_deg: float) -> str:
    """Name the point of the compass that is nearest: `170° (south)`."""
    return f"{_plain(azimuth_deg)}° ({_POINTS[round(azimuth_deg / 45.0) % 8]})"
