"""How well the store's coil takes the loop's heat, day by day, from the best that the log offers.

A coil in a store is an exchanger of capacity ratio 0: the share of the difference between fluid and
store that it hands over is 1 - exp(-NTU), with the transfer units falling as the flow grows. Both
pipes tell that share without any flow; without them a meter's heat over the roof's difference to
the store does; without heat the sun, and without the sun the clear sky, of which a cloudy day only
shows less than there was: it makes a coil look better, never worse.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.day_sums import counted, mean_of, summed
from analysis.record import Bools, Floats
from analysis.sky import NO_SOURCE
from analysis.units import kwh_from_j

BY_PIPES, BY_METER, BY_SUN, BY_CLEAR_SKY = range(4)
BASES = ("both pipes", "metered heat", "the sun", "a clear sky")
"""What a day's transfer units rest on; their place here is their number."""

# Nearer to the store the sensors decide (engineering judgement).
_LEAST_OVER_K = 4.0
# A share nearer to the whole is not told from it.
_MOST_FRAC = 0.95
# Under it a pump's command says little of the flow (engineering judgement).
_LEAST_COMMAND_FRAC = 0.25
_LEAST_BINS = {BY_PIPES: 6, BY_METER: 12, BY_SUN: 12, BY_CLEAR_SKY: 18}
# A clear sky must offer this share of the brightest output (as for clear stretches).
_BRIGHT_FRAC = 0.25
# A store whose bottom does not warm while heat comes in is charged above its sensor.
_LEAST_RISE_K = 2.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HandOver:
    """A coil, day by day; arrays of shape (days,), NaN where the day does not tell.

    Attributes
    ----------
    basis : what it rests on, a place in `BASES`; None: nothing
    units : transfer units at the commissioned flow [-]
    share : mean flow over that of commissioning [-]
    over_kwh : what the loss of collectors and pipes grows by for the fluid being over the store
    carried_kwh : the same for what the fluid cools down by in the coil; a coil that took all of
        the difference would make both equal
    over_k : mean of the fluid over the store's bottom in the steady time [K]
    first, last : the bins between which the loop ran steadily
    """

    basis: int | None
    units: Floats
    share: Floats
    over_kwh: Floats
    carried_kwh: Floats
    over_k: Floats
    first: Floats
    last: Floats


def hand_over(case: Case) -> HandOver:
    """Work out the coil of each day."""
    basis = _basis(case)
    share = _flow_share(case)
    store = case.loop.t_store_bottom_c
    feed = case.binned("loop_hot") if basis == BY_PIPES else case.loop.t_roof_c
    over = feed - store
    steady = _steady(case) & (over > _LEAST_OVER_K) & (share >= _LEAST_COMMAND_FRAC)
    offered_w = case.model.flow_w_k * share * over
    taken_w = _taken_w(case, basis, offered_w)
    steady &= np.isfinite(offered_w) & np.isfinite(taken_w) & (case.loop.known_s > 0.0)
    steady &= _warming(store, steady)[:, None]
    if basis == BY_CLEAR_SKY:
        frac, mean_share = _least_window(offered_w, taken_w, share, steady)
    else:
        frac, mean_share = _whole_day(offered_w, taken_w, share, steady, basis)
    units = -np.log(1.0 - np.clip(frac, 0.0, _MOST_FRAC)) * mean_share
    # What a kelvin more in collectors and pipes costs.
    loop, model = case.loop, case.model
    excess = np.maximum(feed - loop.t_ambient_c, 0.0)
    slope_w_k = model.loss_w_k + 2.0 * model.loss_w_k2 * excess + model.pipe_w_k
    running = (loop.moving_frac > 0.5) & (over > 0.0) & np.isfinite(slope_w_k)
    if basis == BY_CLEAR_SKY:
        cooled = np.clip(frac, 0.0, _MOST_FRAC)[:, None] * over
    else:
        with np.errstate(invalid="ignore", divide="ignore"):
            cooled = taken_w / offered_w * over
    running &= np.isfinite(cooled)
    seconds = np.where(running, loop.known_s * loop.moving_frac, 0.0)
    seen = steady.any(axis=1)
    bins = steady.shape[1]
    return HandOver(
        basis=basis,
        units=units,
        share=mean_share,
        over_kwh=_kwh(slope_w_k * over, seconds),
        carried_kwh=_kwh(slope_w_k * cooled, seconds),
        over_k=mean_of(over, steady),
        first=np.where(seen, np.argmax(steady, axis=1), np.nan),
        last=np.where(seen, bins - np.argmax(steady[:, ::-1], axis=1), np.nan),
    )


def _kwh(power_w: Floats, seconds: Floats) -> Floats:
    with np.errstate(invalid="ignore"):
        energy_j = power_w * seconds
    return kwh_from_j(summed(energy_j, seconds > 0.0))


def _basis(case: Case) -> int | None:
    has = case.channels
    if "store_bottom" not in has or not ({"pump", "flow", "flow_volume"} & has):
        return None
    if {"loop_hot", "loop_cold"} <= has:
        return BY_PIPES
    if "collector" not in has:
        return None
    if case.heat.basis in ("heat_register", "heat_power"):
        return BY_METER
    return BY_SUN if (case.sky.source != NO_SOURCE).any() else BY_CLEAR_SKY


def _flow_share(case: Case) -> Floats:
    """Give the flow as a share of commissioning: commanded, else metered.

    The command comes first: a meter that reads low would make a sound coil look poor.
    """
    if "pump" in case.channels:
        return case.binned("pump") / 100.0
    flow = case.binned("flow") / case.model.flow_l_min
    return np.where(np.isfinite(flow), flow, case.loop.moving_frac)


def _steady(case: Case) -> Bools:
    """Tell bins in which the loop ran through, a quarter of an hour after its start and later."""
    moving = case.loop.moving_frac > 0.95
    steady = moving.copy()
    for back in (1, 2, 3):
        steady[:, back:] &= moving[:, :-back]
        steady[:, :back] = False
    steady[:, :-1] &= moving[:, 1:]
    return steady


def _taken_w(case: Case, basis: int | None, offered_w: Floats) -> Floats:
    """Give the heat that the coil took [W]."""
    if basis == BY_PIPES:
        hot, cold = case.binned("loop_hot"), case.binned("loop_cold")
        with np.errstate(invalid="ignore", divide="ignore"):
            return offered_w * (hot - cold) / (hot - case.loop.t_store_bottom_c)
    if basis == BY_METER:
        return case.loop.heat_w
    if basis == BY_SUN:
        bright = case.sky.gain_w >= _BRIGHT_FRAC * case.model.brightest_w
        return np.where(bright & case.expected.carried, case.expected.power_w, np.nan)
    if basis == BY_CLEAR_SKY:
        clear_w = case.clear.gain_w
        parts = case.expected
        due_w = (clear_w - parts.loss_w) * case.model.let_through_frac(case.loop.t_mean_c)
        due_w = due_w - parts.pipe_w - parts.stored_w
        bright = clear_w >= _BRIGHT_FRAC * case.model.brightest_w
        return np.where(bright & parts.carried, due_w, np.nan)
    return np.full(offered_w.shape, np.nan)


def _warming(store_c: Floats, steady: Bools) -> Bools:
    """Tell days on which the store's bottom warmed while the loop ran; shape (days,)."""
    seen = np.where(steady, store_c, np.nan)
    some = np.isfinite(seen).any(axis=1)
    warming = np.zeros(steady.shape[0], dtype=np.bool_)
    rows = seen[some]
    warming[some] = np.nanmax(rows, axis=1) - np.nanmin(rows, axis=1) >= _LEAST_RISE_K
    return warming


def _whole_day(
    offered_w: Floats, taken_w: Floats, share: Floats, use: Bools, basis: int | None
) -> tuple[Floats, Floats]:
    total = summed(offered_w, use)
    enough = counted(use) >= _LEAST_BINS.get(basis if basis is not None else -1, 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        frac = np.where(enough, summed(taken_w, use) / total, np.nan)
        weighted = summed(share * offered_w, use) / total
    return frac, np.where(enough, weighted, np.nan)


def _least_window(
    offered_w: Floats, taken_w: Floats, share: Floats, use: Bools
) -> tuple[Floats, Floats]:
    """Give the least share of any stretch of the day, the one with the most sun behind it."""
    width = _LEAST_BINS[BY_CLEAR_SKY]
    offered, taken, weighted = (
        _moving_sum(np.where(use, values, 0.0), width)
        for values in (offered_w, taken_w, share * offered_w)
    )
    whole = _moving_sum(use.astype(np.float64), width) >= width - 0.5
    with np.errstate(invalid="ignore", divide="ignore"):
        frac = np.where(whole & (taken > 0.0), taken / offered, np.inf)
        best = np.argmin(frac, axis=1)
        day = np.arange(frac.shape[0])
        least = frac[day, best]
        found = np.isfinite(least)
        return np.where(found, least, np.nan), np.where(
            found, weighted[day, best] / offered[day, best], np.nan
        )


def _moving_sum(values: Floats, width: int) -> Floats:
    total = np.pad(np.cumsum(values, axis=1), ((0, 0), (1, 0)))
    return np.asarray(total[:, width:] - total[:, :-width])
