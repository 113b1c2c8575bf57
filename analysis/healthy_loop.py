"""A healthy loop run beside the real one, day by day.

One capacity for the collectors, a coil into the store bottom that occurred, a differential
controller. It answers one question: would a loop in order have carried heat now, and how much?
Where the real loop stood still, the store would have been warmer by what it did not get; that extra
warmth is carried along within the day.
"""

from dataclasses import dataclass, replace

import numpy as np

from analysis.grid import BIN_S
from analysis.healthy_kernel import Numbers, run_days
from analysis.loop_model import LoopModel
from analysis.loop_pipes import around_pipes_c
from analysis.record import Bools, Floats
from analysis.site import Site
from analysis.units import SECONDS_PER_DAY

_STEP_S = 60.0
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
    run = _nothing(around)
    every, none_k = np.ones(around.drawn.shape, dtype=np.bool_), np.zeros(around.drawn.shape)
    fresh_k = _run(site, model, alone, run, chosen=every, extra_k=none_k)
    start_k = _left_by_yesterday_k(site, model, alone, fresh_k)
    again = (start_k > _WORTH_CARRYING_K) | (alone.store_full != around.store_full).any(axis=1)
    _run(site, model, around, run, chosen=again, extra_k=start_k)
    return run


def _nothing(around: Surroundings) -> HealthyRun:
    shape = around.gain_w.shape
    return HealthyRun(power_w=np.zeros(shape), running_frac=np.zeros(shape))


def _left_by_yesterday_k(
    site: Site, model: LoopModel, alone: Surroundings, fresh_k: Floats
) -> Floats:
    """Give how much warmer each day a healthy store would have begun [K].

    Only the day before is asked, which itself is taken to come after one of its own kind: so a day
    depends on its neighbour alone. Where the day before was not logged, the day itself stands in.
    """
    kept = np.where(alone.drawn, KEPT_OVERNIGHT, KEPT_UNDRAWN)
    warmed = fresh_k > _WORTH_CARRYING_K
    begun_k = np.where(warmed, kept * fresh_k, fresh_k)
    evening_k = _run(site, model, alone, _nothing(alone), chosen=warmed, extra_k=begun_k)
    before_k = evening_k.copy()
    before_k[1:] = np.where(alone.seen[:-1], evening_k[:-1], evening_k[1:])
    return np.asarray(kept * before_k)


def _run(
    site: Site,
    model: LoopModel,
    around: Surroundings,
    run: HealthyRun,
    *,
    chosen: Bools,
    extra_k: Floats,
) -> Floats:
    """Run the chosen days, writing what they bring into `run`.

    `extra_k` is how much warmer than the real one each day's store begins; given back is how much
    warmer it ends; shape (days,) both [K].
    """
    ends_k = extra_k.copy()
    run_days(
        _numbers(site, model),
        chosen,
        around.gain_w,
        around.t_ambient_c,
        around_pipes_c(around.t_ambient_c),
        around.t_store_bottom_c,
        around.store_full,
        around.really_carried,
        around.start_c,
        _STEP_S / (model.store_j_k * around.cold_share),
        1.0 - _STEP_S * np.where(around.drawn, _renewal_1_s(site), 0.0),
        ends_k,
        run.power_w,
        run.running_frac,
    )
    return ends_k


def _renewal_1_s(site: Site) -> float:
    """Give how often a day's draws renew the store, spread over the day [1/s]."""
    litres = site.litres_per_day or site.store.volume_l / 1.3
    return litres / site.store.volume_l / SECONDS_PER_DAY


def _numbers(site: Site, model: LoopModel) -> Numbers:
    """Gather what holds throughout, in the kernel's order."""
    control = site.controller
    step_k_w = _STEP_S / (model.collector_j_k + model.pipe_j_k / 2.0)
    return Numbers(
        steps=round(BIN_S / _STEP_S),
        start_k=float(control.start_difference_k),
        stop_k=float(control.stop_difference_k),
        lock_c=float(control.collector_cutout_c),
        unlock_c=float(control.collector_cutout_c - 5.0),
        limit_c=float(site.store.limit_c),
        loss_w_k=float(model.loss_w_k),
        loss_w_k2=float(model.loss_w_k2),
        coil_w_k=float(model.hand_over_w_k),
        pipe_w_k=float(model.pipe_w_k),
        step_k_w=float(step_k_w),
        damping=float(1.0 + step_k_w * (model.hand_over_w_k + model.pipe_w_k)),
    )
