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
    lanes = _Lanes(site=site, model=model, around=around, extra_k=extra_k)
    # A bin's numbers of all days lie side by side.
    power, running = np.zeros(around.gain_w.T.shape), np.zeros(around.gain_w.T.shape)
    bins = zip(
        np.ascontiguousarray(around.gain_w.T),
        np.ascontiguousarray(around.t_ambient_c.T),
        np.ascontiguousarray(model.pipe_w_k * around_pipes_c(around.t_ambient_c).T),
        np.ascontiguousarray(around.t_store_bottom_c.T),
        np.ascontiguousarray(~around.store_full.T),
        np.ascontiguousarray(~around.really_carried.T),
        power,
        running,
        strict=True,
    )
    for gain_w, t_ambient_c, pipe_w, t_store_c, free, missed, heat_w, on in bins:
        lanes.through_bin(
            gain_w=gain_w,
            t_ambient_c=t_ambient_c,
            pipe_w=pipe_w,
            t_store_c=t_store_c,
            free=free,
            missed=missed,
            heat_w=heat_w,
            on=on,
        )
    return _Pass(
        power_w=np.ascontiguousarray(power.T) / _STEPS,
        running_frac=np.ascontiguousarray(running.T) / _STEPS,
        extra_k=lanes.extra_k,
    )


class _Lanes:
    """The state of all days side by side, advanced a minute at a time.

    Each operation on so few numbers costs its call, so there are as few as can be: what no step
    changes is worked out before, what hangs on a switch when it switches, the rest is written in
    place; and where no pump can run on any day, none is asked for.
    """

    def __init__(
        self, *, site: Site, model: LoopModel, around: Surroundings, extra_k: Floats
    ) -> None:
        control = site.controller
        self.start_k, self.stop_k = control.start_difference_k, control.stop_difference_k
        self.lock_c, self.unlock_c = control.collector_cutout_c, control.collector_cutout_c - 5.0
        self.limit_c = site.store.limit_c
        self.loss_w_k, self.loss_w_k2 = model.loss_w_k, model.loss_w_k2
        self.coil_w_k = model.hand_over_w_k
        self.step_k_w = _STEP_S / (model.collector_j_k + model.pipe_j_k / 2.0)
        # The coil is stiff against the small collector: taken implicitly, the rest as it stands.
        self.damping = 1.0 + self.step_k_w * (self.coil_w_k + model.pipe_w_k)
        self.collector_c = around.start_c.copy()
        self.warming_k_w = _STEP_S / (model.store_j_k * around.cold_share)
        self.extra_k = extra_k.copy()
        litres = site.litres_per_day or site.store.volume_l / 1.3
        renewal_1_s = litres / site.store.volume_l / SECONDS_PER_DAY
        self.kept_frac = 1.0 - _STEP_S * np.where(around.drawn, renewal_1_s, 0.0)
        self.pipe_w = np.zeros(extra_k.shape)
        self.store_c, self.rate_w, self.spare = (np.empty(extra_k.shape) for _ in range(3))
        self._lock(np.zeros(extra_k.shape, dtype=np.bool_))
        self._pump(np.zeros(extra_k.shape, dtype=np.bool_))

    def through_bin(
        self,
        *,
        gain_w: Floats,
        t_ambient_c: Floats,
        pipe_w: Floats,
        t_store_c: Floats,
        free: Bools,
        missed: Bools,
        heat_w: Floats,
        on: Floats,
    ) -> None:
        """Advance one bin, adding to `heat_w` [W] and `on` once each step.

        `pipe_w` is what the air around the pipes gives them while they are at 0 °C, `free` are the
        days on which the store is not full, `missed` those on which what the coil
        gives is extra: the real loop did not carry it.
        """
        if self._stands(gain_w, t_ambient_c, t_store_c):
            for _ in range(_STEPS):
                self._gain(gain_w, t_ambient_c)
                self._warm()
            return
        self.pipe_w = pipe_w
        self.pipe_on_w = np.where(self.on, pipe_w, 0.0)
        warming_k_w = self.warming_k_w * missed
        for _ in range(_STEPS):
            np.add(t_store_c, self.extra_k, out=self.store_c)
            self._switch(free)
            self._gain(gain_w, t_ambient_c)
            if not self.some_on:
                self._warm()
                continue
            self._through_coil(warming_k_w, heat_w)
            on += self.on

    def _stands(self, gain_w: Floats, t_ambient_c: Floats, t_store_c: Floats) -> bool:
        """Tell whether no collector can get warm enough in this bin to start its pump."""
        if self.some_on:
            return False
        warmest_c = np.maximum(self.collector_c, t_ambient_c)
        warmest_c += _STEPS * self.step_k_w * gain_w
        if ((warmest_c > self.unlock_c) | (warmest_c - t_store_c > self.start_k)).any():
            return False
        if self.some_locked:
            self._lock(np.zeros(self.locked.shape, dtype=np.bool_))
        return True

    def _gain(self, gain_w: Floats, t_ambient_c: Floats) -> None:
        """Write into `rate_w` what each collector takes up while its fluid stands [W]."""
        excess_k = np.subtract(self.collector_c, t_ambient_c, out=self.spare)
        rate_w = np.abs(excess_k, out=self.rate_w)
        rate_w *= self.loss_w_k2
        rate_w += self.loss_w_k
        rate_w *= excess_k
        np.subtract(gain_w, rate_w, out=rate_w)

    def _warm(self) -> None:
        """Give each collector what it took up; the store's extra warmth is drawn."""
        self.rate_w *= self.step_k_w
        self.collector_c += self.rate_w
        self.extra_k *= self.kept_frac

    def _through_coil(self, warming_k_w: Floats, heat_w: Floats) -> None:
        """Do the same where pumps run, and bring what they carry into the store."""
        spare = np.multiply(self.coil_on_w_k, self.store_c, out=self.spare)
        spare += self.pipe_on_w
        self.rate_w += spare
        self._warm()
        self.collector_c /= self.damping_on
        given_w = np.subtract(self.collector_c, self.store_c, out=spare)
        given_w *= self.coil_on_w_k
        heat_w += given_w
        # A trickle comes in hot and stays above the bottom sensor: all is extra to it.
        given_w *= warming_k_w
        self.extra_k += given_w
        np.maximum(self.extra_k, 0.0, out=self.extra_k)

    def _switch(self, free: Bools) -> None:
        """Let each day's controller decide."""
        locked = self.collector_c > self.hot_c
        if locked.tobytes() != self.locked_bytes:
            self._lock(locked)
        over_k = np.subtract(self.collector_c, self.store_c, out=self.spare)
        wanted = over_k > self.least_k
        wanted &= self.store_c < self.limit_c
        wanted &= free
        if self.some_locked:
            wanted &= ~locked
        if wanted.tobytes() != self.on_bytes:
            self._pump(wanted)

    def _lock(self, locked: Bools) -> None:
        """Note which controllers hold their pump because the collector is too hot."""
        self.locked, self.locked_bytes, self.some_locked = locked, locked.tobytes(), locked.any()
        self.hot_c = np.where(locked, self.unlock_c, self.lock_c)

    def _pump(self, on: Bools) -> None:
        """Note which pumps run."""
        self.on, self.on_bytes, self.some_on = on, on.tobytes(), on.any()
        self.least_k = np.where(on, self.stop_k, self.start_k)
        self.coil_on_w_k = np.where(on, self.coil_w_k, 0.0)
        self.pipe_on_w = np.where(on, self.pipe_w, 0.0)
        self.damping_on = np.where(on, self.damping, 1.0)
