"""A healthy loop run beside the real one, all days at once.

One capacity for the collectors, a coil into the store bottom that occurred, a differential
controller. It answers one question: would a loop in order have carried heat now, and how much?
Where the real loop stood still, the store would have been warmer by what it did not get; that extra
warmth is carried along within the day.
"""

from dataclasses import dataclass, replace

import numpy as np

from analysis.grid import BIN_S
from analysis.loop_model import LoopModel
from analysis.loop_pipes import around_pipes_c
from analysis.record import Bools, Floats
from analysis.site import Site
from analysis.units import SECONDS_PER_DAY

_STEP_S = 60.0
_STEPS = round(BIN_S / _STEP_S)
_WORTH_CARRYING_K = 2.0
# What the evening's and the morning's draws leave of a day's extra warmth, and what a night alone
# leaves of it where nobody drew (engineering judgement; invented plants with a dead pump lay within
# 10 % with it).
KEPT_OVERNIGHT = 0.35
KEPT_UNDRAWN = 0.85


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surroundings:
    """What happened around the loop; all of shape (days, bins), without NaN but where said."""

    gain_w: Floats
    t_ambient_c: Floats
    t_store_bottom_c: Floats
    store_full: Bools
    full_of_itself: Bools  # as `store_full`, but without what the day before says
    really_carried: Bools
    start_c: Floats  # shape (days,): collector temperature at the first bin
    cold_share: Floats  # shape (days,): share of the store that is as cold as its bottom
    drawn: Bools  # shape (days,): somebody may have drawn hot water
    seen: Bools  # shape (days,): there are samples


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HealthyRun:
    """What a healthy loop would have done, shape (days, bins)."""

    power_w: Floats
    running_frac: Floats


def run_healthy_loop(*, site: Site, model: LoopModel, around: Surroundings) -> HealthyRun:
    """Run the healthy loop through every day from local midnight.

    Parameters
    ----------
    site : controller settings and the store's limit
    model : lumped numbers
    around : sun, air and store as they occurred

    Returns
    -------
    heat into the store [W] and the share of each bin in which the pump would have run
    """
    alone = replace(around, store_full=around.full_of_itself)
    fresh = _run(site, model, alone, np.zeros(around.start_c.shape))
    start_k = _left_by_yesterday_k(site, model, alone, fresh.extra_k)
    again = (start_k > _WORTH_CARRYING_K) | (alone.store_full != around.store_full).any(axis=1)
    if again.any():
        rerun = _run(site, model, _lanes(around, again), start_k[again])
        fresh.power_w[again], fresh.running_frac[again] = rerun.power_w, rerun.running_frac
    return HealthyRun(power_w=fresh.power_w, running_frac=fresh.running_frac)


def _left_by_yesterday_k(
    site: Site, model: LoopModel, alone: Surroundings, fresh_k: Floats
) -> Floats:
    """Give how much warmer each day a healthy store would have begun [K].

    Only the day before is asked, which itself is taken to come after one of its own kind: so a day
    depends on its neighbour alone. Where the day before was not logged, the day itself stands in.
    """
    kept = np.where(alone.drawn, KEPT_OVERNIGHT, KEPT_UNDRAWN)
    evening_k = fresh_k.copy()
    warmed = fresh_k > _WORTH_CARRYING_K
    if warmed.any():
        lasting = _run(site, model, _lanes(alone, warmed), (kept * fresh_k)[warmed])
        evening_k[warmed] = lasting.extra_k
    before_k = evening_k.copy()
    before_k[1:] = np.where(alone.seen[:-1], evening_k[:-1], evening_k[1:])
    return np.asarray(kept * before_k)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pass:
    """One pass through the day, and how much warmer the store ends [K]."""

    power_w: Floats
    running_frac: Floats
    extra_k: Floats


def _lanes(around: Surroundings, chosen: Bools) -> Surroundings:
    """Pick some days."""
    return Surroundings(**{name: getattr(around, name)[chosen] for name in Surroundings.__slots__})


def _run(site: Site, model: LoopModel, around: Surroundings, extra_k: Floats) -> _Pass:
    lane = _Lane(site=site, model=model, around=around, extra_k=extra_k)
    power, running = np.zeros(around.gain_w.shape), np.zeros(around.gain_w.shape)
    for number in range(around.gain_w.shape[1]):
        for _ in range(_STEPS):
            heat, on = lane.step(
                gain_w=around.gain_w[:, number],
                t_ambient_c=around.t_ambient_c[:, number],
                t_store_c=around.t_store_bottom_c[:, number],
                full=around.store_full[:, number],
                carried=around.really_carried[:, number],
            )
            power[:, number] += heat
            running[:, number] += on
    return _Pass(power_w=power / _STEPS, running_frac=running / _STEPS, extra_k=lane.extra_k)


class _Lane:
    """The state of all days side by side, advanced a minute at a time."""

    def __init__(
        self, *, site: Site, model: LoopModel, around: Surroundings, extra_k: Floats
    ) -> None:
        self.control = site.controller
        self.limit_c = site.store.limit_c
        self.model = model
        self.capacity_j_k = model.collector_j_k + model.pipe_j_k / 2.0
        self.collector_c = around.start_c.copy()
        self.store_j_k = model.store_j_k * around.cold_share
        self.extra_k = extra_k.copy()
        self.on = np.zeros(extra_k.shape, dtype=np.bool_)
        self.locked = self.on.copy()
        litres = site.litres_per_day or site.store.volume_l / 1.3
        renewal_1_s = litres / site.store.volume_l / SECONDS_PER_DAY
        self.renewal_1_s = np.where(around.drawn, renewal_1_s, 0.0)

    def step(
        self,
        *,
        gain_w: Floats,
        t_ambient_c: Floats,
        t_store_c: Floats,
        full: Bools,
        carried: Bools,
    ) -> tuple[Floats, Bools]:
        """Advance one step; give heat into the store [W] and whether the pump runs."""
        model = self.model
        store = t_store_c + self.extra_k
        over = self.collector_c - store
        self.locked = (self.collector_c > self.control.collector_cutout_c) | (
            self.locked & (self.collector_c > self.control.collector_cutout_c - 5.0)
        )
        wanted = np.where(
            self.on,
            over > self.control.stop_difference_k,
            over > self.control.start_difference_k,
        )
        self.on = wanted & ~self.locked & ~full & (store < self.limit_c)
        excess = self.collector_c - t_ambient_c
        loss = (model.loss_w_k + model.loss_w_k2 * np.abs(excess)) * excess
        # The coil is stiff against the small collector: taken implicitly, the rest as it stands.
        coil_w_k = np.where(self.on, model.hand_over_w_k, 0.0)
        pipe_w_k = np.where(self.on, model.pipe_w_k, 0.0)
        damping = 1.0 + _STEP_S * (coil_w_k + pipe_w_k) / self.capacity_j_k
        rate = gain_w - loss + coil_w_k * store + pipe_w_k * around_pipes_c(t_ambient_c)
        self.collector_c = (self.collector_c + _STEP_S * rate / self.capacity_j_k) / damping
        heat = coil_w_k * (self.collector_c - store)
        # A trickle comes in hot and stays above the bottom sensor: all is extra to it.
        gained = np.where(carried, 0.0, heat) / self.store_j_k
        kept = self.extra_k * (1.0 - _STEP_S * self.renewal_1_s)
        self.extra_k = np.maximum(kept + _STEP_S * gained, 0.0)
        return heat, self.on
