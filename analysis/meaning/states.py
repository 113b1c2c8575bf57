"""What one column may be: channel and unit, each with how much its words and its look speak for it.

Scores are natural logarithms. What each trait says is kept with the state, so that the reasons
which people read are those that counted.
"""

import math
from dataclasses import dataclass

from analysis.channels import BASE_CHANNELS, channel
from analysis.logs.asking import OpenColumn
from analysis.logs.conversions import UNITS, folded_unit, known_units
from analysis.meaning.looks import Look, rescaled
from analysis.meaning.traits import flat_nats, impossible_nats, trait_nats
from analysis.meaning.unit_words import UnitFound, find_unit
from analysis.meaning.words import HeaderWords, WordScores, read_header, score_words

# How common a channel is in a solar log, against the commonest [nats]; engineering judgement.
_COMMON = {
    "collector": 0.0, "store_bottom": 0.0, "store_top": -0.3, "loop_hot": -0.4, "loop_cold": -0.4,
    "pump": -0.2, "flow": -0.5, "ambient": -1.0, "irradiance_plane": -0.7, "pressure": -1.2,
    "irradiance_horizontal": -2.0, "heat_register": -1.2, "heat_power": -1.2, "backup": -1.5,
    "store_middle": -1.0, "flow_volume": -2.0, "cold_feed": -2.5, "hot_tap": -2.5, "wind": -2.5,
    "pump_hours": -2.3, "secondary_pump": -3.0, "exchanger_hot": -3.2, "exchanger_cold": -3.2,
}  # fmt: skip
# How common a unit is where the header says none; engineering judgement.
UNIT_SHARES: dict[str, dict[str, float]] = {
    "flow": {"l/min": 0.55, "l/h": 0.38, "m3/h": 0.04, "l/s": 0.02, "gal/min": 0.01},
    "volume": {"l": 0.7, "m3": 0.3},
    "power": {"w": 0.7, "kw": 0.3},
    "irradiance": {"w/m2": 0.97, "kw/m2": 0.03},
    "energy": {"kwh": 0.76, "wh": 0.06, "mwh": 0.06, "mj": 0.12},
    "pressure": {"bar": 0.93, "kpa": 0.04, "psi": 0.02, "mbar": 0.01},
    "speed": {"m/s": 0.85, "km/h": 0.13, "mph": 0.01, "kn": 0.01},
    "duration": {"h": 0.97, "min": 0.02, "s": 0.01},
}
# Traits of one column hang together: they say less than their sum. Set so that stated certainties
# come true (`tests.bench.meaning`).
_TRAITS_SHARE = 0.5
_OTHER_QUANTITY = -9.0
# How common columns are that are none of the channels [nats].
_NONE = -2.5
MOST_STATES = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """One thing that a column may be.

    Attributes
    ----------
    channel : name without a number; "" for none of the channels
    unit : as the conversions spell it; None for a share that the values tell
    nats : how much speaks for it
    traits : how much each trait of the values speaks for it [nats]
    seen : the look of the values in the canonical unit
    """

    channel: str
    unit: str | None
    nats: float
    traits: dict[str, float]
    seen: Look


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """What the header of a column says."""

    unit: UnitFound
    words: HeaderWords
    scores: WordScores


def header_of(column: OpenColumn, *, daily: bool = False) -> Header:
    """Read the header of a column, in a log of whole days where `daily`."""
    unit = find_unit(column.head, unit_head=column.unit_head)
    words = read_header(unit.text)
    quantity = unit.quantities[0] if len(unit.quantities) == 1 else None
    return Header(unit=unit, words=words, scores=score_words(words, quantity=quantity, daily=daily))


def states_of(
    column: OpenColumn, header: Header, look: Look, *, temperature: str, trust_frac: float
) -> tuple[State, ...]:
    """Give what a column may be, the likeliest first.

    Parameters
    ----------
    column : OpenColumn
        The column; what a map already says of it binds.
    header : Header
        What its header says.
    look : Look
        How its values look [as written].
    temperature : {"c", "f", "k"}
        Unit of temperatures without one.
    trust_frac : float
        How much the look counts, see `Times.trust_frac`.

    Returns
    -------
    tuple of State
        At most `MOST_STATES`, "none of them" among them unless the channel is known.
    """
    told = channel(column.known.channel) if column.known is not None else None
    samples = [name for name, one in BASE_CHANNELS.items() if not one.daily]
    names = [base_of(told.name)] if told is not None else samples
    found = [
        _state(name, unit, share, header, look, trust_frac)
        for name in names
        for unit, share in _units(name, column, header, temperature)
    ]
    found.sort(key=lambda state: -state.nats)
    if told is None:
        found = [*found[: MOST_STATES - 1], _none_of_them(header, look, trust_frac)]
    return tuple(sorted(found[:MOST_STATES], key=lambda state: -state.nats))


def base_of(name: str) -> str:
    """Give the name of a channel without its number."""
    return name if name in BASE_CHANNELS else name.rsplit("_", 1)[0]


def _units(
    name: str, column: OpenColumn, header: Header, temperature: str
) -> list[tuple[str | None, float]]:
    """Give the units that the channel may be in, with how common each is."""
    quantity = BASE_CHANNELS[name].quantity
    told = column.known.unit if column.known is not None else None
    if told is not None and folded_unit(told) in UNITS[quantity]:
        return [(folded_unit(told), 1.0)]
    if quantity in header.unit.quantities:
        return [(header.unit.unit, 1.0)]
    if quantity == "temperature":
        return [(temperature, 1.0)]
    if quantity == "share":
        return [("on/off", 1.0)] if column.words else [(None, 1.0)]
    return list(UNIT_SHARES[quantity].items())


def _state(
    name: str, unit: str | None, share: float, header: Header, look: Look, trust_frac: float
) -> State:
    quantity = BASE_CHANNELS[name].quantity
    scale = UNITS[quantity][unit or ""]
    factor, shift = scale.factor, scale.shift
    if quantity == "share" and look.high <= 1.0:
        factor = 100.0
    seen = rescaled(look, factor=factor, shift=shift)
    traits = trait_nats(name, look, seen, factor)
    other = bool(header.unit.quantities) and quantity not in header.unit.quantities
    total = (
        _COMMON[name]
        + math.log(share)
        + header.scores.nats.get(name, 0.0)
        + (_OTHER_QUANTITY if other else 0.0)
        + impossible_nats(name, seen)
        + _TRAITS_SHARE * trust_frac * sum(traits.values())
    )
    return State(channel=name, unit=unit, nats=total, traits=traits, seen=seen)


def _none_of_them(header: Header, look: Look, trust_frac: float) -> State:
    traits = flat_nats(look)
    total = _NONE + header.scores.none + (-1.5 if header.unit.unit else 0.0)
    return State(
        channel="",
        unit=None,
        nats=total + _TRAITS_SHARE * trust_frac * sum(traits.values()),
        traits=traits,
        seen=look,
    )


def printed_unit(name: str, unit: str | None) -> str:
    """Give a unit as people write it, "" where there is none to print."""
    if unit is None:
        return ""
    quantity = BASE_CHANNELS[base_of(name)].quantity
    for printed in known_units(quantity).split(", "):
        if printed.lower() == unit:
            return printed
    return unit
