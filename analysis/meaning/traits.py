"""How a column's look speaks for a channel: each trait against what that channel usually shows.

A trait is one number of the look. For each channel `analysis.meaning.usual` holds its usual value
and spread; the density there (Student's t with three degrees of freedom, so that an odd plant is
never impossible, and a floor) says how much the trait speaks for the channel. Levels count in the
measure of the values as written, so that channels and units of different size can be compared.
"""

import math
from dataclasses import dataclass
from typing import Literal

from analysis.channels import BASE_CHANNELS
from analysis.meaning.looks import Look
from analysis.meaning.usual import USUAL

_NU = 3.0
# Of Student's t: Γ((ν+1)/2) / (sqrt(νπ) Γ(ν/2)).
_NORM = math.lgamma((_NU + 1) / 2) - math.lgamma(_NU / 2) - 0.5 * math.log(_NU * math.pi)
# No trait can speak more against a channel than this many spreads away.
_FARTHEST = 9.0
_LEAST_X = 1e-3
_IMPOSSIBLE = -14.0
# Above nought by day only: a temperature does so in a frost, sunshine always.
_ONLY_BY_DAY, _UNUSUAL = 0.95, -3.0
# The dullest day is brighter than this (engineering judgement) [W/m2].
_DULLEST_W_M2 = 3.0
# No temperature rests at nought for more of the time than this.
_MOST_ZERO = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Trait:
    """One number of a look.

    Attributes
    ----------
    name : of the trait
    scale : `share` for what has no unit; `log` for its logarithm; `level` for a level in the unit
        of the values, counted linearly for temperatures and as a logarithm for all else; `span`
        for a difference or rate in the unit of the values, counted as a logarithm
    narrowest : least spread [as counted]
    weight : traits that say nearly the same share their say
    flat : width over which a column that is none of the channels may lie [as counted]
    """

    name: str
    scale: Literal["share", "log", "level", "span"]
    narrowest: float
    weight: float = 1.0
    flat: float = 2.0


TRAITS: tuple[Trait, ...] = (
    Trait(name="on_level", scale="level", narrowest=0.5, weight=0.7, flat=10.0),
    Trait(name="high", scale="level", narrowest=0.5, weight=0.7, flat=10.0),
    Trait(name="swing", scale="span", narrowest=0.4, flat=8.0),
    Trait(name="night_share", scale="share", narrowest=0.10),
    Trait(name="low_share", scale="share", narrowest=0.10, weight=0.7),
    Trait(name="zero", scale="share", narrowest=0.12, weight=0.7),
    Trait(name="dark_zero", scale="share", narrowest=0.08, weight=0.7),
    Trait(name="on_by_day", scale="share", narrowest=0.06),
    Trait(name="on_spread", scale="log", narrowest=0.4, flat=6.0),
    Trait(name="sun_like", scale="share", narrowest=0.12),
    Trait(name="lag_h", scale="share", narrowest=1.2, flat=24.0),
    Trait(name="rough", scale="log", narrowest=0.5, weight=0.6, flat=6.0),
    Trait(name="distinct", scale="log", narrowest=0.4, weight=0.6, flat=3.5),
    Trait(name="whole", scale="share", narrowest=0.15, weight=0.6),
    Trait(name="register", scale="share", narrowest=0.10),
    Trait(name="rise_per_day", scale="span", narrowest=0.6, flat=10.0),
)
# Levels of temperatures are linear [K].
_NARROWEST_K = 8.0


def trait_value(look: Look, name: str) -> float:
    """Give a trait of a look; NaN where the rows do not tell."""
    if name == "night_share":
        return _of_high(look.night, look)
    if name == "low_share":
        return _of_high(look.low, look)
    return float(getattr(look, name))


def _of_high(level: float, look: Look) -> float:
    size = max(abs(look.high), abs(look.low))
    return max(min(level / size, 1.5), -1.5) if size > 0.0 else math.nan


def counted(trait: Trait, x: float, *, linear: bool) -> float:
    """Turn a trait into the scale on which its usual value and spread are given."""
    if trait.scale == "share" or (trait.scale == "level" and linear):
        return x
    if math.isnan(x) or x < 0.0:
        return math.nan
    return math.log(max(x, _LEAST_X))


def narrowest(trait: Trait, *, linear: bool) -> float:
    """Give the least spread of a trait on its scale."""
    return _NARROWEST_K if trait.scale == "level" and linear else trait.narrowest


def trait_nats(channel: str, written: Look, seen: Look, factor: float) -> dict[str, float]:
    """Say how much each trait speaks for a channel.

    Parameters
    ----------
    channel : str
        Name without a number.
    written : Look
        Look of the values as written.
    seen : Look
        The same in the canonical unit of the channel.
    factor : float
        Canonical units in one written unit.

    Returns
    -------
    dict
        Trait to weighted logarithm of its density in the measure of the values as written; traits
        that the rows do not tell are missing.
    """
    linear = BASE_CHANNELS[channel].quantity == "temperature"
    found: dict[str, float] = {}
    for trait in TRAITS:
        usual = USUAL[channel][trait.name]
        raw = trait_value(written, trait.name)
        if math.isnan(raw):
            continue
        if usual is None:
            # The channel has no such trait, such as a rise where nothing rises.
            found[trait.name] = trait.weight * _density(_FARTHEST, 1.0)
            continue
        x = counted(trait, trait_value(seen, trait.name), linear=linear)
        centre, spread = usual
        spread = max(spread, narrowest(trait, linear=linear))
        away = _FARTHEST if math.isnan(x) else abs(x - centre) / spread
        nats = _density(min(away, _FARTHEST), spread)
        # Logarithms are counted per e-fold: turned to the measure of the values as written.
        if trait.scale == "level":
            nats += math.log(factor) if linear else -math.log(max(abs(raw), _LEAST_X))
        found[trait.name] = trait.weight * nats
    return found


def flat_nats(written: Look) -> dict[str, float]:
    """Say how much each trait speaks for a column being none of the channels [nats]."""
    found: dict[str, float] = {}
    for trait in TRAITS:
        raw = trait_value(written, trait.name)
        if math.isnan(raw):
            continue
        nats = -math.log(trait.flat)
        if trait.scale == "level":
            nats -= math.log(max(abs(raw), _LEAST_X))
        found[trait.name] = trait.weight * nats
    return found


def _density(away: float, spread: float) -> float:
    return _NORM - math.log(spread) - 0.5 * (_NU + 1.0) * math.log1p(away * away / _NU)


def impossible_nats(channel: str, seen: Look) -> float:
    """Say how much speaks against a channel because its values cannot be [nats]."""
    known = BASE_CHANNELS[channel]
    off = 0.0
    if seen.low < known.lowest or seen.high > known.highest:
        off += _IMPOSSIBLE
    if known.quantity == "temperature" and seen.zero > _MOST_ZERO:
        off += _IMPOSSIBLE
    if known.quantity == "temperature" and seen.on_by_day > _ONLY_BY_DAY:
        off += _UNUSUAL
    if known.quantity == "irradiance" and seen.high < _DULLEST_W_M2:
        off += _IMPOSSIBLE
    if known.counter and seen.register == 0.0:
        off += _IMPOSSIBLE
    if known.quantity == "duration" and seen.rise_per_day > 24.1:
        off += _IMPOSSIBLE
    return off
