"""What the loop showed, and the heat that collectors and pipes hold by it.

Heat that is taken up or given back decides single days: a morning's warming, and what a collector
that stood hot brings down at once when the pump starts again.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.collector import STAGNATION_AMBIENT_C, standard_stagnation_c
from analysis.compiled import compiled, given
from analysis.grid import BIN_S
from analysis.loop_model import LIMIT_BAND_K, LoopModel
from analysis.record import Bools, Floats, known_or_zero
from analysis.tube_kernel import Tubes, tubes_over_k

# How much of a heat-pipe collector's capacity is in its tubes, behind the glass: absorber, inner
# glass and pipe; the rest is manifold and fluid (engineering judgement).
TUBE_SHARE_FRAC = 0.6


@dataclass(frozen=True, kw_only=True, eq=False)
class Loop:
    """What the loop showed, on the bins; shape (days, bins), NaN unknown.

    `moving_frac` is the share of the known time in which fluid moved; `trickle` that the meter saw
    little of the commissioned flow while the pump was `commanded`; `t_mean_c` is the mean
    of both loop pipes at the store (or its estimate), `spread_k` what the hot one is over the cold
    one while fluid moves (likewise), `t_roof_c` the collector sensor; `per_k_w_k` is what a kelvin
    more between the two pipe sensors adds to `heat_w`;
    `t_store_held_c` is the hottest store sensor, each at its last value of the day where it gives
    none.
    """

    heat_w: Floats
    per_k_w_k: Floats
    known_s: Floats
    moving_frac: Floats
    trickle: Bools
    commanded: Bools
    t_mean_c: Floats
    spread_k: Floats
    t_roof_c: Floats
    t_ambient_c: Floats
    t_store_bottom_c: Floats
    t_store_hottest_c: Floats
    t_store_held_c: Floats

    @cached_property
    def t_inside_c(self) -> Floats:
        """The mean temperature in the collectors, of the loop where no sensor tells [°C].

        The sensor sits where the fluid leaves: while it moves the mean is half a spread cooler.
        """
        spread = np.where(self.moving_frac > 0.0, known_or_zero(self.spread_k), 0.0)
        inside = self.t_roof_c - 0.5 * self.moving_frac * np.maximum(spread, 0.0)
        return np.where(np.isfinite(inside), inside, self.t_mean_c)


def lossy_c(loop: Loop, model: LoopModel) -> Floats:
    """Give the mean temperature that the collectors lose heat at [°C]: no cooler than the loop."""
    return np.asarray(np.clip(loop.t_inside_c, loop.t_mean_c, loop.t_mean_c + model.stranded_k))


def stored_w(*, loop: Loop, model: LoopModel, carried: Bools, gain_w: Floats) -> Floats:
    """Give the heat that collectors and pipes take up in each bin [W].

    The sum over a run is what they hold at its end less what they held at its beginning. Unknown
    temperatures take up nothing.

    Parameters
    ----------
    loop, model : what the loop showed, and its lumped numbers
    carried : the loop carried heat
    gain_w : optical gain [W]
    """
    tubes = _tube_j_k(model)
    taken = model.collector_j_k * _warmed_k(loop.t_inside_c, carried)
    if tubes > 0.0:
        extra = _tubes_over_k(loop, model, carried, gain_w)
        began = carried[:, 1:] & ~carried[:, :-1]
        taken[:, 1:] -= np.where(began, tubes * extra[:, :-1], 0.0)
    taken += model.pipe_j_k * _warmed_k(loop.t_mean_c, carried)
    return np.asarray(taken / BIN_S)


def _warmed_k(t_c: Floats, carried: Bools) -> Floats:
    """Give how much warmer each bin ends than it begins, 0 where not known; shape (days, bins)."""
    warmed = np.empty(t_c.shape)
    _warm(given(t_c), given(carried), warmed)
    return warmed


@compiled
def _warm(t_c: Floats, carried: Bools, warmed_k: Floats) -> None:
    """Write how much warmer each bin ends than it begins, 0 where not known.

    The temperature between two bins is halfway between theirs, but where a run begins it breaks:
    there it is carried on from the bins before.
    """
    for day in range(t_c.shape[0]):
        began_c = np.nan
        for number in range(t_c.shape[1] - 1):
            here_c = t_c[day, number]
            ends_c = (here_c + t_c[day, number + 1]) / 2.0
            if number > 0 and carried[day, number + 1] and not carried[day, number]:
                carried_on_c = 1.5 * here_c - 0.5 * t_c[day, number - 1]
                ends_c = carried_on_c if np.isfinite(carried_on_c) else ends_c
            change_k = ends_c - began_c
            warmed_k[day, number] = 0.0 if np.isnan(change_k) else change_k
            began_c = ends_c
        warmed_k[day, -1] = 0.0


def _tube_j_k(model: LoopModel) -> float:
    """Give the capacity of tubes that can be hotter than their manifold [J/K]."""
    return TUBE_SHARE_FRAC * sum(
        array.area_m2 * array.heat_capacity_kj_m2k * 1000.0
        for array in model.arrays
        if array.collector == "heat_pipe" and array.heat_pipe_limit_c is not None
    )


def _tubes_over_k(loop: Loop, model: LoopModel, carried: Bools, gain_w: Floats) -> Floats:
    """Give how much hotter than the collector sensor limited tubes stand [K].

    A heat pipe at its limit hands over nothing more and its tube goes on to stagnation, bounded by
    the certified one in proportion to the sun.
    """
    roof, air = loop.t_roof_c, loop.t_ambient_c
    limited = [
        array
        for array in model.arrays
        if array.collector == "heat_pipe" and array.heat_pipe_limit_c is not None
    ]
    begins_c = min(array.heat_pipe_limit_c or 0.0 for array in limited) - LIMIT_BAND_K
    apart = ~carried & (roof > begins_c) & np.isfinite(gain_w + air)
    over = np.zeros(roof.shape)
    most_k = max(standard_stagnation_c(array) for array in limited) - STAGNATION_AMBIENT_C
    tubes = Tubes(
        begins_c=begins_c,
        band_k=LIMIT_BAND_K,
        most_k_w=most_k / model.brightest_w,
        rate_k_w=BIN_S / (TUBE_SHARE_FRAC * model.collector_j_k),
        loss_w_k=model.loss_w_k,
        loss_w_k2=model.loss_w_k2,
    )
    tubes_over_k(tubes, apart, roof, air, gain_w, over)
    return over
