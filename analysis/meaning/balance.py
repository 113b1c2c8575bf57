"""Units told apart by heat: flow times spread is heat, and heat comes from the sun.

30 may be litres a minute or an hour; only one of them fits the spread of the loop and the power
that the meter shows, or that so much collector can give. Once the two loop pipes are known, every
pair of a flow, a power and a register is checked against the other.
"""

import math
from dataclasses import dataclass

import numpy as np

from analysis.channels import BASE_CHANNELS
from analysis.fluid import W_PER_L_MIN_K
from analysis.logs.conversions import UNITS
from analysis.meaning.states import State
from analysis.meaning.times import Times
from analysis.record import Bools, Floats
from analysis.units import SECONDS_PER_HOUR

# Usual heat over sunshine on the collectors while the loop runs, and its spread as a factor; the
# same without knowing the sun, per m2 (engineering judgement).
_OF_SUN, _OF_SUN_SPREAD = 0.42, 0.55
_PER_M2_W, _PER_M2_SPREAD = 280.0, 0.8
# How well heat and the meter that shows it agree, as a factor.
_AGREE = 0.3
_AGREE_NATS, _WORST = 1.5, -9.0
# A kilowatt-hour in an hour is a kilowatt.
_LOG_W_PER_KW = math.log(1000.0)
_FEWEST = 10
# Flow that collectors are given, per m2, and its spread as a factor: from matched flow of 0.2 to
# high flow of 1.2 l/min (common practice, no source).
_FLOW_PER_M2, _FLOW_SPREAD = 0.6, 0.9
# Heat beyond any sun, in spreads over the usual one: 2.4 times where the sun is known, else 3.6;
# what is far off otherwise, and what is near enough to be meant, as logarithms of a factor
# (engineering judgement; litres an hour taken for litres a minute are a factor of 60).
_MORE_THAN_SUN, _FAR, _NEAR = 1.6, 2.8, 1.6
# Two columns apart by so much do not count in these units; nearer than that they may.
APART, TOGETHER = 1.0, 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Balance:
    """What heat says of units.

    Attributes
    ----------
    heat : logarithm of the heat that one l/min of column i carried, per written unit
        [log W], shape (columns,); NaN where unknown
    level : logarithm of the level while the loop runs, as written, shape (columns,)
    gain_per_h : logarithm of what a counter gains in an hour of running, as written
    expected_w, spread : the heat that sun and collector make likely, and its spread as a factor
    flow_l_min : the flow that collectors of this size are usually given
    """

    heat: Floats
    level: Floats
    gain_per_h: Floats
    expected_w: float
    spread: float
    flow_l_min: float

    def alone(self, column: int, state: State) -> float:
        """Say how well a flow, power or register in this unit fits sun and collector [nats]."""
        off = self.over(column, state)
        spread = _FLOW_SPREAD if self._by_area(column, state) else self.spread
        return 0.0 if math.isnan(off) else max(-0.5 * (off / spread) ** 2, _WORST)

    def over(self, column: int, state: State) -> float:
        """Give the logarithm of its heat over that which sun and collector make likely, or NaN.

        Of a flow without the two pipes: of the flow over that which the collectors are given.
        """
        if math.isnan(self.expected_w):
            return math.nan
        if self._by_area(column, state):
            return float(self.level[column]) + _log_factor(state) - math.log(self.flow_l_min)
        if state.channel == "flow":
            heat = float(self.heat[column]) + _log_factor(state)
        elif state.channel == "heat_power":
            heat = float(self.level[column]) + _log_factor(state)
        elif state.channel == "heat_register":
            heat = float(self.gain_per_h[column]) + _log_factor(state) + _LOG_W_PER_KW
        else:
            return math.nan
        return heat - math.log(self.expected_w)

    def _by_area(self, column: int, state: State) -> bool:
        return state.channel == "flow" and math.isnan(float(self.heat[column]))

    def absurd(self, column: int, state: State) -> bool:
        """Whether no sun could give the heat that this unit means, or only a sliver of it came."""
        off = self.over(column, state)
        if math.isnan(off):
            return False
        if self._by_area(column, state) or state.channel == "heat_register":
            return abs(off) > _FAR
        return off > _MORE_THAN_SUN * self.spread or off < -_FAR

    def fits(self, column: int, state: State) -> bool:
        """Whether this unit means a heat that such a sun and collector give."""
        off = self.over(column, state)
        return math.isnan(off) or abs(off) <= _NEAR

    def both(self, one: int, mine: State, other: int, theirs: State) -> float:
        """Say how well two columns in their units agree [nats]."""
        off = self.apart(one, mine, other, theirs)
        return 0.0 if math.isnan(off) else max(_AGREE_NATS - 0.5 * (off / _AGREE) ** 2, _WORST)

    def apart(self, one: int, mine: State, other: int, theirs: State) -> float:
        """Give the logarithm of what one says of the heat over what the other does, or NaN."""
        kinds = (mine.channel, theirs.channel)
        if kinds == ("flow", "heat_power"):
            off = float(self.heat[one] - self.level[other])
        elif kinds == ("flow", "heat_register"):
            off = float(self.heat[one] - self.gain_per_h[other]) - _LOG_W_PER_KW
        elif kinds == ("heat_power", "heat_register"):
            off = float(self.level[one] - self.gain_per_h[other]) - _LOG_W_PER_KW
        elif kinds == ("flow", "flow_volume"):
            off = float(self.level[one] - self.gain_per_h[other]) + math.log(60.0)
        else:
            return math.nan
        return off + _log_factor(mine) - _log_factor(theirs)


def _log_factor(state: State) -> float:
    factor = UNITS[BASE_CHANNELS[state.channel].quantity][state.unit or ""].factor
    return math.log(factor)


def balance_of(
    values: Floats,
    times: Times,
    *,
    on: Bools | None,
    spread_k: Floats | None,
    sun_w_m2: Floats | None,
    area_m2: float | None,
) -> Balance:
    """Work out what heat says of units.

    Parameters
    ----------
    values : ndarray, shape (columns, m)
        Values at the sampled rows [as written].
    times : Times
        The rows.
    on : ndarray of bool, shape (m,), or None
        When the loop runs.
    spread_k : ndarray, shape (m,), or None
        Hot less cold pipe [K].
    sun_w_m2 : ndarray, shape (m,), or None
        Irradiance [W/m²].
    area_m2 : float or None
        Collector area, where the site is known [m²].

    Returns
    -------
    Balance
        NaN where something is missing.
    """
    count = len(values)
    heat, level, gain = (np.full(count, np.nan) for _ in range(3))
    if on is None or int(on.sum()) < _FEWEST:
        return Balance(
            heat=heat,
            level=level,
            gain_per_h=gain,
            expected_w=math.nan,
            spread=1.0,
            flow_l_min=math.nan,
        )
    warm = on if spread_k is None else on & (spread_k > 1.0)
    running = on[1:] & times.joined
    hours = float(running.sum()) * times.step_s / SECONDS_PER_HOUR
    for column in range(count):
        level[column] = _log_mean(values[column][on])
        steps = np.diff(values[column])[running]
        total = float(np.nansum(np.maximum(steps, 0.0)))
        if hours > 0.0 and total > 0.0:
            gain[column] = math.log(total / hours)
        if spread_k is not None and int(warm.sum()) >= _FEWEST:
            heat[column] = _log_mean(values[column][on] * np.maximum(spread_k[on], 0.0))
            heat[column] += math.log(W_PER_L_MIN_K)
    expected_w, spread = math.nan, 1.0
    if area_m2 is not None:
        expected_w, spread = area_m2 * _PER_M2_W, _PER_M2_SPREAD
        sun = math.exp(_log_mean(sun_w_m2[on])) if sun_w_m2 is not None else math.nan
        if sun > 50.0:
            expected_w, spread = area_m2 * sun * _OF_SUN, _OF_SUN_SPREAD
    return Balance(
        heat=heat,
        level=level,
        gain_per_h=gain,
        expected_w=expected_w,
        spread=spread,
        flow_l_min=math.nan if area_m2 is None else area_m2 * _FLOW_PER_M2,
    )


def _log_mean(values: Floats) -> float:
    there = values[np.isfinite(values)]
    mean = float(there.mean()) if there.size >= _FEWEST else math.nan
    return math.log(mean) if mean > 0.0 else math.nan
