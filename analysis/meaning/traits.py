"""How a column's look speaks for a channel: each trait against what that channel usually shows.

A trait is one number of the look. For each channel `analysis.meaning.usual` holds its usual value
and spread; the density there (Student's t with three degrees of freedom, so that an odd plant is
never impossible, and a floor) says how much the trait speaks for the channel. Levels count in the
measure of the values as written, so that channels and units of different size can be compared.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from analysis.channels import BASE_CHANNELS
from analysis.meaning.looks import Look
from analysis.meaning.motion import MOTIONS
from analysis.meaning.usual import STRANGERS, USUAL
from analysis.record import Bools, Floats

NU = 3.0
# Of Student's t: Γ((ν+1)/2) / (sqrt(νπ) Γ(ν/2)).
NORM = math.lgamma((NU + 1) / 2) - math.lgamma(NU / 2) - 0.5 * math.log(NU * math.pi)
# No trait can speak more against a channel than this many spreads away.
FARTHEST = 9.0
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
    Trait(name="on_level", scale="level", narrowest=0.5, weight=0.62, flat=10.0),
    Trait(name="high", scale="level", narrowest=0.5, weight=0.46, flat=10.0),
    Trait(name="swing", scale="span", narrowest=0.4, weight=0.75, flat=8.0),
    Trait(name="night_share", scale="share", narrowest=0.10, weight=0.05),
    Trait(name="low_share", scale="share", narrowest=0.10, weight=0.05),
    Trait(name="zero", scale="share", narrowest=0.12, weight=0.33),
    Trait(name="dark_zero", scale="share", narrowest=0.08, weight=0.46),
    Trait(name="on_by_day", scale="share", narrowest=0.06, weight=0.29),
    Trait(name="on_spread", scale="log", narrowest=0.4, weight=0.15, flat=6.0),
    Trait(name="sun_like", scale="share", narrowest=0.12, weight=0.85),
    Trait(name="lag_h", scale="share", narrowest=1.2, weight=0.06, flat=24.0),
    Trait(name="rough", scale="log", narrowest=0.5, weight=0.21, flat=6.0),
    Trait(name="distinct", scale="log", narrowest=0.4, weight=0.55, flat=3.5),
    Trait(name="whole", scale="share", narrowest=0.15, weight=0.45),
    Trait(name="register", scale="share", narrowest=0.10, weight=0.40),
    Trait(name="rise_per_day", scale="span", narrowest=0.6, weight=0.63, flat=10.0),
    Trait(name="day_zero", scale="share", narrowest=0.06, weight=0.24),
    Trait(name="at_top", scale="share", narrowest=0.10, weight=0.49, flat=1.0),
    Trait(name="hour_rough", scale="log", narrowest=0.4, weight=0.12, flat=6.0),
    Trait(name="start", scale="share", narrowest=0.05, weight=0.43, flat=2.0),
    Trait(name="stop", scale="share", narrowest=0.05, weight=0.36, flat=2.0),
    Trait(name="start_size", scale="log", narrowest=0.5, weight=0.39, flat=6.0),
    Trait(name="on_rise", scale="share", narrowest=0.03, weight=0.41, flat=1.0),
    Trait(name="on_move", scale="log", narrowest=0.4, weight=0.53, flat=5.0),
    Trait(name="rest_move", scale="log", narrowest=0.4, weight=0.90, flat=5.0),
    Trait(name="night_move", scale="log", narrowest=0.4, weight=0.80, flat=6.0),
    Trait(name="before_dawn", scale="level", narrowest=0.5, weight=0.31, flat=10.0),
    Trait(name="dawns", scale="log", narrowest=0.5, weight=0.42, flat=6.0),
    Trait(name="on_like", scale="share", narrowest=0.10, weight=0.27, flat=2.0),
    Trait(name="on_sun", scale="share", narrowest=0.12, weight=0.32, flat=2.0),
    Trait(name="rise_on", scale="share", narrowest=0.08, weight=0.05, flat=1.0),
    Trait(name="rate_spread", scale="log", narrowest=0.4, weight=0.40, flat=6.0),
)
# Levels of temperatures are linear [K].
_NARROWEST_K = 8.0
_WEIGHTS = np.array([trait.weight for trait in TRAITS])
_FLAT = np.array([trait.flat for trait in TRAITS])
_LEVELS = np.array([trait.scale == "level" for trait in TRAITS])
_SPANS = np.array([trait.scale == "span" for trait in TRAITS])


def trait_value(look: Look, name: str) -> float:
    """Give a trait of a look; NaN where the rows do not tell."""
    if name == "night_share":
        return _of_high(look.night, look)
    if name == "low_share":
        return _of_high(look.low, look)
    return float(getattr(look.moves if name in MOTIONS else look, name))


def _of_high(level: float, look: Look) -> float:
    size = max(abs(look.high), abs(look.low))
    return max(min(level / size, 1.5), -1.5) if size > 0.0 else math.nan


def is_linear(trait: Trait, *, linear: bool) -> bool:
    """Tell whether a trait is counted as it is, of temperatures or others, not as a logarithm."""
    return trait.scale == "share" or (trait.scale == "level" and linear)


def counted(trait: Trait, x: float, *, linear: bool) -> float:
    """Turn a trait into the scale on which its usual value and spread are given."""
    if is_linear(trait, linear=linear):
        return x
    if math.isnan(x) or x < 0.0:
        return math.nan
    return math.log(max(x, _LEAST_X))


def narrowest(trait: Trait, *, linear: bool) -> float:
    """Give the least spread of a trait on its scale."""
    return _NARROWEST_K if trait.scale == "level" and linear else trait.narrowest


def traits_of(look: Look) -> Floats:
    """Give all traits of a look, shape (traits,); NaN where the rows do not tell."""
    return np.array([trait_value(look, trait.name) for trait in TRAITS])


def traits_nats(
    channels: tuple[str, ...], written: Floats, seen: Floats, factors: Sequence[float]
) -> Floats:
    """Say how much each trait speaks for each of some channels.

    Parameters
    ----------
    channels : tuple of str, n of them
        Names without a number.
    written : ndarray, shape (traits,)
        Traits of the values as written.
    seen : ndarray, shape (n, traits)
        The same in the canonical unit of each channel.
    factors : sequence of float, n of them
        Canonical units in one written unit.

    Returns
    -------
    ndarray, shape (n, traits)
        Weighted logarithm of the density of each trait in the measure of the values as written;
        0 where the rows do not tell.
    """
    usual = _usual_of(channels)
    x = np.where(usual.linear, seen, np.log(np.maximum(seen, _LEAST_X)))
    # A logarithm of less than nothing is as far off as can be; so is a trait that it does not have.
    lost = np.isnan(usual.middle) | (~usual.linear & (seen < 0.0))
    away = np.where(lost, FARTHEST, np.minimum(np.abs(x - usual.middle) / usual.spread, FARTHEST))
    nats = NORM - np.log(usual.spread) - 0.5 * (NU + 1.0) * np.log1p(away * away / NU)
    # Logarithms are counted per e-fold: turned to the measure of the values as written.
    per_fold = np.log(np.maximum(np.abs(written), _LEAST_X))
    turned = np.where(usual.warm, np.log(np.array(factors))[:, None], -per_fold)
    nats += np.where(_LEVELS, turned, 0.0)
    return np.asarray(np.where(np.isnan(written), 0.0, _WEIGHTS * nats))


def flat_nats(written: Floats) -> Floats:
    """Say how much each trait speaks for a column being none of the channels [nats]."""
    nats = -np.log(_FLAT)
    nats = nats - np.where(_LEVELS, np.log(np.maximum(np.abs(written), _LEAST_X)), 0.0)
    return np.asarray(np.where(np.isnan(written), 0.0, _WEIGHTS * nats))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Usual:
    """Rows of `analysis.meaning.usual`, shape (n, traits); NaN where a channel has no such trait.

    `warm` tells which are temperatures, shape (n, 1).
    """

    middle: Floats
    spread: Floats
    linear: Bools
    warm: Bools


def _is_temperature(channel: str) -> bool:
    if channel in STRANGERS:
        return channel == "other_temperature"
    return BASE_CHANNELS[channel].quantity == "temperature"


@lru_cache(maxsize=256)
def _usual_of(channels: tuple[str, ...]) -> _Usual:
    warm = [_is_temperature(channel) for channel in channels]
    cells = [
        [USUAL[channel][trait.name] or (math.nan, 1.0) for trait in TRAITS] for channel in channels
    ]
    least = [[narrowest(trait, linear=linear) for trait in TRAITS] for linear in warm]
    return _Usual(
        middle=np.array([[middle for middle, _ in row] for row in cells]),
        spread=np.maximum([[spread for _, spread in row] for row in cells], least),
        linear=np.array([[is_linear(trait, linear=linear) for trait in TRAITS] for linear in warm]),
        warm=np.array(warm)[:, None],
    )


def in_unit(written: Floats, factor: float) -> Floats:
    """Give traits in a unit that is so many times as large, without another zero."""
    return np.asarray(np.where(_LEVELS | _SPANS, written * factor, written))


def impossible_nats(channel: str, look: Look, factor: float, shift: float) -> float:
    """Say how much speaks against a channel and unit because its values cannot be [nats]."""
    known = BASE_CHANNELS[channel]
    off = 0.0
    low, high = look.low * factor + shift, look.high * factor + shift
    if low < known.lowest or high > known.highest:
        off += _IMPOSSIBLE
    if known.quantity == "temperature" and look.zero > _MOST_ZERO:
        off += _IMPOSSIBLE
    if known.quantity == "temperature" and look.on_by_day > _ONLY_BY_DAY:
        off += _UNUSUAL
    if known.quantity == "irradiance" and high < _DULLEST_W_M2:
        off += _IMPOSSIBLE
    if known.counter and look.register == 0.0:
        off += _IMPOSSIBLE
    if known.quantity == "duration" and look.rise_per_day * factor > 24.1:
        off += _IMPOSSIBLE
    return off
