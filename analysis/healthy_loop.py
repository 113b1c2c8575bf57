"""A healthy loop run beside the real one, all days at once.

One capacity for the collectors, a coil into the store bottom that occurred, a differential
controller. It answers one question: would a loop in order have carried heat now, and how much?
Where the real loop stood still, the store would have been warmer by what it did not get; that extra
warmth is carried along within the day.
"""

from dataclasses import dataclass

import numpy as np

from analysis.grid import BIN_S
from analysis.loop_model import ROOM_C, LoopModel
from analysis.record import Bools, Floats
from analysis.site import Site
from analysis.units import SECONDS_PER_DAY

_STEP_S = 60.0
_STEPS = round(BIN_S / _STEP_S)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surroundings:
    """What happened around the loop; all of shape (days, bins), without NaN but where said."""

    gain_w: Floats
    t_ambient_c: Floats
    t_store_bottom_c: Floats
    store_full: Bools
    really_carried: Bools
    start_c: Floats  # shape (days,): collector temperature at the first bin


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
    days, bins = around.gain_w.shape
    lane = _Lane(site=site, model=model, days=days, start_c=around.start_c)
    power, running = np.zeros((days, bins)), np.zeros((days, bins))
    for number in range(bins):
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
    return HealthyRun(power_w=power / _STEPS, running_frac=running / _STEPS)


class _Lane:
    """The state of all days side by side, advanced a minute at a time."""

    def __init__(self, *, site: Site, model: LoopModel, days: int, start_c: Floats) -> None:
        self.control = site.controller
        self.limit_c = site.store.limit_c
        self.model = model
        self.capacity_j_k = model.collector_j_k + model.pipe_j_k / 2.0
        self.collector_c = start_c.copy()
        self.extra_k = np.zeros(days)
        self.on = np.zeros(days, dtype=np.bool_)
        self.locked = np.zeros(days, dtype=np.bool_)
        litres = site.litres_per_day or site.store.volume_l / 1.3
        self.renewal_1_s = litres / site.store.volume_l / SECONDS_PER_DAY

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
        rate = gain_w - loss + coil_w_k * store + pipe_w_k * ROOM_C
        self.collector_c = (self.collector_c + _STEP_S * rate / self.capacity_j_k) / damping
        heat = coil_w_k * (self.collector_c - store)
        gained = np.where(carried, 0.0, heat) / model.store_j_k
        self.extra_k = self.extra_k * (1.0 - _STEP_S * self.renewal_1_s) + _STEP_S * gained
        return heat, self.on
