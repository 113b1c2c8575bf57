"""The compiled loop of `analysis.healthy_loop`: all days side by side, a minute at a time.

A plain loop over scalars: collector, controller and coil hang on the step before, so nothing of it
can be worked out for a whole day at once.
"""

from typing import NamedTuple

import numpy as np

from analysis.compiled import compiled
from analysis.record import Bools, Floats


class Numbers(NamedTuple):
    """What holds throughout, in SI and °C; see `analysis.loop_model` and the site's controller.

    `steps` are taken in a bin; `step_k_w` is what a watt warms the collectors by in a step,
    `damping` what the coil, taken implicitly, divides by.
    """

    steps: int
    start_k: float
    stop_k: float
    lock_c: float
    unlock_c: float
    limit_c: float
    loss_w_k: float
    loss_w_k2: float
    coil_w_k: float
    pipe_w_k: float
    step_k_w: float
    damping: float


@compiled
def run_days(
    numbers: Numbers,
    chosen: Bools,
    gain_w: Floats,
    t_ambient_c: Floats,
    t_pipes_c: Floats,
    t_store_c: Floats,
    held_back: Bools,
    really_carried: Bools,
    start_c: Floats,
    warming_k_w: Floats,
    kept_frac: Floats,
    extra_k: Floats,
    power_w: Floats,
    running_frac: Floats,
) -> None:
    """Run the chosen days, each from its midnight.

    Parameters
    ----------
    numbers : what holds throughout
    chosen : shape (days,), the days to run; nothing is written for others
    gain_w, t_ambient_c, t_pipes_c, t_store_c : shape (days, bins), what happened around the loop:
        optical gain [W], air outdoors and around the pipes, store bottom [°C]
    held_back : shape (days, bins), the store is full
    really_carried : shape (days, bins), the real loop carried heat: what the coil gives is no extra
    start_c : shape (days,), collector temperature at midnight [°C]
    warming_k_w : shape (days,), what a watt warms the store by in a step [K/W]
    kept_frac : shape (days,), what draws leave of the store's extra warmth in a step [-]
    extra_k : shape (days,), how much warmer than `t_store_c` the store begins; how much it ends is
        written in its place [K]
    power_w, running_frac : shape (days, bins), written: heat into the store [W], share of the bin
        in which the pump ran
    """
    n = numbers
    days = np.flatnonzero(chosen)
    collectors_c = start_c.copy()
    are_locked, are_on = np.zeros(start_c.size, np.bool_), np.zeros(start_c.size, np.bool_)
    # Bin by bin over all days: what one day waits for, its own step before, the others fill.
    for number in range(gain_w.shape[1]):
        for day in days:
            collector_c, extra = collectors_c[day], extra_k[day]
            locked, on = are_locked[day], are_on[day]
            gain, air_c = gain_w[day, number], t_ambient_c[day, number]
            missed = not really_carried[day, number]
            heat_w, running = 0.0, 0
            for _ in range(n.steps):
                store_c = t_store_c[day, number] + extra
                locked = collector_c > (n.unlock_c if locked else n.lock_c)
                on = (
                    collector_c - store_c > (n.stop_k if on else n.start_k)
                    and store_c < n.limit_c
                    and not held_back[day, number]
                    and not locked
                )
                excess_k = collector_c - air_c
                rate_w = gain - (abs(excess_k) * n.loss_w_k2 + n.loss_w_k) * excess_k
                extra *= kept_frac[day]
                if not on:
                    collector_c += rate_w * n.step_k_w
                    continue
                # The coil is stiff against the small collector: taken implicitly, the rest as it
                # stands.
                rate_w += n.coil_w_k * store_c + n.pipe_w_k * t_pipes_c[day, number]
                collector_c = (collector_c + rate_w * n.step_k_w) / n.damping
                given_w = n.coil_w_k * (collector_c - store_c)
                heat_w += given_w
                running += 1
                if missed:
                    # A trickle comes in hot and stays above the bottom sensor: all is extra to it.
                    extra += given_w * warming_k_w[day]
                extra = max(extra, 0.0)
            power_w[day, number] = heat_w / n.steps
            running_frac[day, number] = running / n.steps
            collectors_c[day], extra_k[day] = collector_c, extra
            are_locked[day], are_on[day] = locked, on
