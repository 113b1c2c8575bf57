"""Units that logs are written in, and how each becomes the canonical one of its quantity.

A table of data. Factors are exact by definition, or from NIST Special Publication 811 (2008),
appendix B (quoted from memory): US gallon 3.785411784 l, psi 6.894757 kPa, mile 1609.344 m,
knot 1852 m/h, Btu (IT) 1055.056 J, calorie (IT) 4.1868 J, standard
atmosphere 101.325 kPa. "gal" means the US gallon. An absolute pressure less the standard atmosphere
is the gauge pressure of a place at sea level.
"""

import re
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.logs.pulses import amount_of_row, pulse_size
from analysis.units import KELVIN_AT_0_C, SECONDS_PER_DAY, SECONDS_PER_HOUR, kwh_from_j

_GALLON_L = 3.785411784
_BTU_J = 1055.056
_CAL_J = 4.1868
_ATMOSPHERE_BAR = 1.01325
_PSI_BAR = 0.06894757


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """How a unit becomes the canonical one.

    Attributes
    ----------
    factor, shift : canonical = value * factor + shift
    mass_flow : the canonical value is kg/min and still needs the fluid's density
    share_unsure : 0..1 or 0..100 is told by the values
    counted_s : where the column counts pulses anew in each interval, `factor` is what one stands
        for and the canonical value counts it by so much time [s]; else 0
    """

    factor: float = 1.0
    shift: float = 0.0
    mass_flow: bool = False
    share_unsure: bool = False
    counted_s: float = 0.0


_FLOW = {
    "l/min": Unit(),
    "l/h": Unit(factor=1 / 60),
    "m3/h": Unit(factor=1000 / 60),
    "l/s": Unit(factor=60),
    "ml/s": Unit(factor=0.06),
    "gal/min": Unit(factor=_GALLON_L),
    "gal/h": Unit(factor=_GALLON_L / 60),
    "kg/h": Unit(factor=1 / 60, mass_flow=True),
    "kg/min": Unit(mass_flow=True),
    "kg/s": Unit(factor=60, mass_flow=True),
    "g/s": Unit(factor=0.06, mass_flow=True),
}

# Spelled in small letters; `unit_named` folds what people write.
UNITS: dict[str, dict[str, Unit]] = {
    "temperature": {
        "c": Unit(),
        "f": Unit(factor=5 / 9, shift=-160 / 9),
        "k": Unit(shift=-KELVIN_AT_0_C),
        "0.1c": Unit(factor=0.1),
        "0.01c": Unit(factor=0.01),
        "0.1f": Unit(factor=0.5 / 9, shift=-160 / 9),
        "0.1k": Unit(factor=0.1, shift=-KELVIN_AT_0_C),
    },
    "flow": _FLOW,
    "volume": {
        "l": Unit(),
        "m3": Unit(factor=1000),
        "ml": Unit(factor=0.001),
        "gal": Unit(factor=_GALLON_L),
    },
    "power": {
        "w": Unit(),
        "kw": Unit(factor=1000),
        "btu/h": Unit(factor=_BTU_J / SECONDS_PER_HOUR),
        "kbtu/h": Unit(factor=1000 * _BTU_J / SECONDS_PER_HOUR),
        "kcal/h": Unit(factor=1000 * _CAL_J / SECONDS_PER_HOUR),
    },
    "irradiance": {"w/m2": Unit(), "kw/m2": Unit(factor=1000)},
    "energy": {
        "kwh": Unit(),
        "wh": Unit(factor=0.001),
        "mwh": Unit(factor=1000),
        "kj": Unit(factor=kwh_from_j(1000.0)),
        "mj": Unit(factor=1 / 3.6),
        "gj": Unit(factor=1000 / 3.6),
        "btu": Unit(factor=kwh_from_j(_BTU_J)),
        "kbtu": Unit(factor=kwh_from_j(1000 * _BTU_J)),
        "kcal": Unit(factor=kwh_from_j(1000 * _CAL_J)),
        "mcal": Unit(factor=kwh_from_j(1e6 * _CAL_J)),
        "gcal": Unit(factor=kwh_from_j(1e9 * _CAL_J)),
    },
    "pressure": {
        "bar": Unit(),
        "mbar": Unit(factor=0.001),
        "kpa": Unit(factor=0.01),
        "psi": Unit(factor=_PSI_BAR),
        "bar abs": Unit(shift=-_ATMOSPHERE_BAR),
        "mbar abs": Unit(factor=0.001, shift=-_ATMOSPHERE_BAR),
        "kpa abs": Unit(factor=0.01, shift=-_ATMOSPHERE_BAR),
        "psi abs": Unit(factor=_PSI_BAR, shift=-_ATMOSPHERE_BAR),
    },
    "share": {
        "%": Unit(),
        "0..1": Unit(factor=100),
        "0..100": Unit(),
        "on/off": Unit(factor=100),
        "0/1": Unit(factor=100),
        "": Unit(share_unsure=True),
    },
    "speed": {
        "m/s": Unit(),
        "km/h": Unit(factor=1 / 3.6),
        "mph": Unit(factor=0.44704),
        "kn": Unit(factor=1852 / SECONDS_PER_HOUR),
    },
    "duration": {
        "h": Unit(),
        "min": Unit(factor=1 / 60),
        "s": Unit(factor=1 / SECONDS_PER_HOUR),
        "d": Unit(factor=24),
    },
}

_TIME_UNITS_S = {"s": 1.0, "ms": 0.001, "min": 60.0, "h": SECONDS_PER_HOUR, "d": SECONDS_PER_DAY}

# Numbers before a unit other than those above: `0.01 bar`, `10 W`.
_SCALED = re.compile(r"(?P<size>\d+(?:\.\d+)?)(?P<unit>[a-z%].*)")
# Tenths and hundredths as people write them, before the unit or behind it.
_PART_SPELLINGS = tuple(
    (re.compile(rf"(?:0[.,]{zeros}1|1/1{zeros}0)(?P<unit>[a-z].*)"), f"0.{zeros}1")
    for zeros in ("", "0")
) + tuple(
    (re.compile(rf"(?P<unit>[a-z]+)(?:/|[*x×])1{zeros}0"), f"0.{zeros}1") for zeros in ("", "0")
)
_TEMPERATURE_PARTS = ("0.1c", "0.01c", "0.1f", "0.1k")
_FOLDS = (
    ("°", ""),
    ("²", "2"),
    ("³", "3"),
    ("^", ""),
    (" ", ""),
    ("·", ""),
)
_SPELLINGS = {
    "degc": "c",
    "celsius": "c",
    "degf": "f",
    "kelvin": "k",
    "lpm": "l/min",
    "lph": "l/h",
    "litre": "l",
    "liter": "l",
    "litres": "l",
    "gpm": "gal/min",
    "gph": "gal/h",
    "btuh": "btu/h",
    "btu/hr": "btu/h",
    "kbtu/hr": "kbtu/h",
    "percent": "%",
    "0-1": "0..1",
    "0-100": "0..100",
    "w/qm": "w/m2",
}
_ABSOLUTE = re.compile(r"(?P<unit>m?bar|kpa|hpa|psi)\(?(?:abs(?:olute?)?\.?|a)\)?")


def folded_unit(unit: str) -> str:
    """Fold case, degree sign, powers and other spellings of a unit."""
    text = unit.strip().lower()
    for sign, other in _FOLDS:
        text = text.replace(sign, other)
    if text[:1].isdigit() or "10" in text:
        text = _in_parts(text)
    absolute = _ABSOLUTE.fullmatch(text)
    if absolute is not None:
        return f"{absolute['unit']} abs".replace("hpa", "mbar")
    return _SPELLINGS.get(text, text)


def _in_parts(text: str) -> str:
    """Fold `1/10 c`, `c/10`, `c x 10` and `0,1 c` to `0.1c`."""
    for pattern, before in _PART_SPELLINGS:
        match = pattern.fullmatch(text)
        if match is not None:
            unit = match["unit"]
            return f"{before}{_SPELLINGS.get(unit, unit)}"
    return text


def unit_named(*, quantity: str, unit: str | None) -> Unit | None:
    """Give the conversion of a unit, or None where it is not one of this quantity.

    Parameters
    ----------
    quantity : str
        Family of units, as `Channel.quantity` names it.
    unit : str or None
        As written; None means the canonical one, and for a share that the values tell.

    Returns
    -------
    Unit or None
        How to turn values into the canonical unit.
    """
    table = UNITS[quantity]
    if unit is None:
        return table[""] if quantity == "share" else Unit()
    folded = folded_unit(unit)
    if not folded:
        return None
    return table.get(folded) or _of_pulses(quantity, folded) or _scaled(table, folded)


def is_same_unit(quantity: str, one: str | None, other: str | None) -> bool:
    """Tell whether two units of a quantity are one; that of a share its values tell."""
    units = [unit_named(quantity=quantity, unit=unit) for unit in (one, other)]
    return any(unit is not None and unit.share_unsure for unit in units) or units[0] == units[1]


def _scaled(table: dict[str, Unit], folded: str) -> Unit | None:
    """Give the conversion of a unit such as `0.01 bar`: what one of the numbers stands for."""
    match = _SCALED.fullmatch(folded)
    unit = table.get(_SPELLINGS.get(match["unit"], match["unit"])) if match is not None else None
    if match is None or unit is None or unit.share_unsure or not float(match["size"]):
        return None
    return replace(unit, factor=unit.factor * float(match["size"]))


# What is counted in pulses; litres count by the minute, watt hours by the hour.
_COUNTED_BY_S = {"flow": 60.0, "power": SECONDS_PER_HOUR}
_PULSED = {"volume": "volume", "energy": "energy", "flow": "volume", "power": "energy"}


def _of_pulses(quantity: str, folded: str) -> Unit | None:
    """Give the conversion of a unit such as `10 l/pulse`."""
    size = pulse_size(folded)
    if size is None and quantity in _COUNTED_BY_S:
        size = amount_of_row(folded)
    table = UNITS.get(_PULSED.get(quantity, ""), {})
    if size is None or size[1] not in table:
        return None
    factor = size[0] * table[size[1]].factor
    if quantity == "power":
        factor *= 1000.0  # from kWh to Wh
    return Unit(factor=factor, counted_s=_COUNTED_BY_S.get(quantity, 0.0))


def known_units(quantity: str) -> str:
    """List the units of a quantity (or of "time"), for messages."""
    names = _TIME_UNITS_S if quantity == "time" else UNITS[quantity]
    return ", ".join(_printed(name) for name in names if name)


# Sizes of a pulse that are common in homes (common practice, no source).
_PULSE_SIZES = {
    "volume": ("1 l/pulse", "2.5 l/pulse", "10 l/pulse", "100 l/pulse"),
    "energy": ("1 kWh/pulse", "100 Wh/pulse", "10 Wh/pulse", "1 Wh/pulse"),
}


def pulse_units(quantity: str) -> tuple[str, ...]:
    """Give units of pulses to choose from, none for what no meter counts."""
    return _PULSE_SIZES.get(_PULSED.get(quantity, ""), ())


# Amounts of each row of a log, for what flows.
_ROW_UNITS = {"flow": ("l/row", "m3/row"), "power": ("kWh/row", "Wh/row", "MJ/row")}


def row_units(quantity: str) -> tuple[str, ...]:
    """Give units of amounts that each row holds for its own step, none for what is no rate."""
    return _ROW_UNITS.get(quantity, ())


def time_unit_s(unit: str) -> float | None:
    """Give the length of the unit of a time column [s], or None."""
    return _TIME_UNITS_S.get(unit.strip().lower())


def _printed(name: str) -> str:
    capitals = {"c": "C", "f": "F", "k": "K", "w": "W", "kw": "kW", "w/m2": "W/m2"}
    more = {"kw/m2": "kW/m2", "kwh": "kWh", "wh": "Wh", "mwh": "MWh", "mj": "MJ", "gj": "GJ"}
    more |= {name: f"{name[:-1]} {name[-1].upper()}" for name in _TEMPERATURE_PARTS}
    more |= {"kpa": "kPa", "btu/h": "Btu/h", "kbtu/h": "kBtu/h", "btu": "Btu", "kbtu": "kBtu"}
    more |= {"mcal": "Mcal", "gcal": "Gcal", "kj": "kJ", "kpa abs": "kPa abs"}
    return (capitals | more).get(name, name)


def converted(values: NDArray[np.float64], unit: Unit) -> NDArray[np.float64]:
    """Turn values into the canonical unit; the canonical one is passed through uncopied.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Values as written [unit as written]; NaN stays NaN.
    unit : Unit
        What `unit_named` gave.

    Returns
    -------
    ndarray, shape (n,)
        Values in the canonical unit of the quantity [canonical unit].
    """
    if unit.factor == 1.0 and unit.shift == 0.0:
        return values
    return values * unit.factor + unit.shift
