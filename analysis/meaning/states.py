"""What one column may be: channel and unit, each with how much its words and its look speak for it.

Scores are natural logarithms. What each trait says is kept with the state, so that the reasons
which people read are those that counted.
"""

import math
from dataclasses import dataclass

import numpy as np

from analysis.channels import BASE_CHANNELS, channel
from analysis.logs.asking import OpenColumn
from analysis.logs.conversions import UNITS, folded_unit, known_units
from analysis.meaning.looks import Look, rescaled
from analysis.meaning.sun_plane import Fit, plane_nats
from analysis.meaning.traits import flat_nats, impossible_nats, in_unit, traits_nats, traits_of
from analysis.meaning.unit_words import UnitFound, find_unit
from analysis.meaning.usual import STRANGERS
from analysis.meaning.words import HeaderWords, WordScores, read_header, score_words
from analysis.record import Floats

# How common a channel is in a solar log, against the commonest [nats]; engineering judgement.
_COMMON = {
    "collector": 1.8, "store_bottom": 1.1, "store_top": 0.1, "loop_hot": -0.9, "loop_cold": -0.4,
    "pump": 1.9, "flow": 1.0, "ambient": -1.2, "irradiance_plane": -0.0, "pressure": -1.0,
    "irradiance_horizontal": -2.5, "heat_register": -1.0, "heat_power": -1.5, "backup": -2.9,
    "store_middle": -2.0, "flow_volume": -1.0, "cold_feed": -4.4, "hot_tap": -3.2, "wind": -1.9,
    "pump_hours": -2.3, "secondary_pump": -3.0, "exchanger_hot": -3.2, "exchanger_cold": -3.2,
}  # fmt: skip
# How common a unit is where the header says none; engineering judgement.
UNIT_SHARES: dict[str, dict[str, float]] = {
    "flow": {"l/min": 0.55, "l/h": 0.38, "m3/h": 0.04, "l/s": 0.02, "gal/min": 0.01},
    "volume": {"l": 0.7, "m3": 0.3},
    "power": {"w": 0.7, "kw": 0.3},
    "irradiance": {"w/m2": 0.97, "kw/m2": 0.03},
    "energy": {"kwh": 0.75, "wh": 0.06, "mwh": 0.05, "mj": 0.11, "gj": 0.03},
    "pressure": {"bar": 0.93, "kpa": 0.04, "psi": 0.02, "mbar": 0.01},
    "speed": {"m/s": 0.85, "km/h": 0.13, "mph": 0.01, "kn": 0.01},
    "duration": {"h": 0.97, "min": 0.02, "s": 0.01},
}
_OTHER_QUANTITY = -9.0
# How common columns are that are none of the channels [nats].
_NONE, _STRANGER = -1.5, -1.0
MOST_STATES = 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class State:
    """One thing that a column may be.

    Attributes
    ----------
    channel : name without a number; "" for none of the channels
    unit : as the conversions spell it; None for a share that the values tell
    nats : how much speaks for it
    traits : how much each trait of the values speaks for it, shape (traits,) [nats]
    look : of the values as written
    factor, shift : canonical value = written * factor + shift
    """

    channel: str
    unit: str | None
    nats: float
    traits: Floats
    look: Look
    factor: float
    shift: float

    @property
    def seen(self) -> Look:
        """The look of the values in the canonical unit."""
        return rescaled(self.look, factor=self.factor, shift=self.shift)


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
    column: OpenColumn,
    header: Header,
    look: Look,
    fit: Fit,
    *,
    temperature: str,
    trust_frac: float,
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
    fit : Fit
        How they fit the clear sky [as written].
    temperature : {"c", "f", "k", "0.1c"}
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
    written = traits_of(look)
    options = [
        (name, unit, share, UNITS[BASE_CHANNELS[name].quantity][unit or ""])
        for name in names
        for unit, share in _units(name, column, header, temperature)
    ]
    factors = [
        100.0 if look.high <= 1.0 and BASE_CHANNELS[name].quantity == "share" else scale.factor
        for name, _, _, scale in options
    ]
    shifted: dict[tuple[float, float], Floats] = {}
    seen = []
    for (_, _, _, scale), factor in zip(options, factors, strict=True):
        key = (factor, scale.shift)
        if scale.shift and key not in shifted:
            shifted[key] = traits_of(rescaled(look, factor=factor, shift=scale.shift))
        seen.append(shifted[key] if scale.shift else in_unit(written, factor))
    channels = tuple(name for name, _, _, _ in options)
    every = traits_nats(channels, written, np.array(seen), factors)
    found = []
    for (name, unit, share, scale), factor, traits in zip(options, factors, every, strict=True):
        quantity = BASE_CHANNELS[name].quantity
        other = bool(header.unit.quantities) and quantity not in header.unit.quantities
        nats = (
            _COMMON[name]
            + math.log(share)
            + header.scores.nats.get(name, 0.0)
            + (_OTHER_QUANTITY if other else 0.0)
            + impossible_nats(name, look, factor, scale.shift)
            + trust_frac * (float(traits.sum()) + plane_nats(name, fit, factor))
        )
        found.append(
            State(
                channel=name,
                unit=unit,
                nats=nats,
                traits=traits,
                look=look,
                factor=factor,
                shift=scale.shift,
            )
        )
    found.sort(key=lambda state: -state.nats)
    if told is None:
        found = [
            *found[: MOST_STATES - 1],
            _none_of_them(header, look, written, temperature=temperature, trust_frac=trust_frac),
        ]
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


def _none_of_them(
    header: Header, look: Look, written: Floats, *, temperature: str, trust_frac: float
) -> State:
    """Give the state of a column that is none of the channels, or only like one of them."""
    scale = UNITS["temperature"][temperature]
    celsius = traits_of(rescaled(look, factor=scale.factor, shift=scale.shift))
    warm = [stranger == "other_temperature" for stranger in STRANGERS]
    seen = np.array([celsius if one else written for one in warm])
    factors = [scale.factor if one else 1.0 for one in warm]
    known = [flat_nats(written), *traits_nats(STRANGERS, written, seen, factors)]
    priors = np.array([_NONE, *[_STRANGER] * len(STRANGERS)])
    nats = priors + trust_frac * np.array([float(one.sum()) for one in known])
    best = int(np.argmax(nats))
    return State(
        channel="",
        unit=None,
        nats=header.scores.none
        + (-1.5 if header.unit.unit else 0.0)
        + float(nats[best] + np.log(np.exp(nats - nats[best]).sum())),
        traits=known[best],
        look=look,
        factor=1.0,
        shift=0.0,
    )


def printed_unit(name: str, unit: str | None) -> str:
    """Give a unit as people write it, "" where there is none to print."""
    if unit is None:
        return ""
    quantity = BASE_CHANNELS[base_of(name)].quantity
    for printed in known_units(quantity).split(", "):
        if folded_unit(printed) == unit:
            return printed
    return unit
