"""What a healthy collector of this description would have delivered, bin by bin.

Where the loop carried heat: the quasi-dynamic collector equation at the loop temperatures that
occurred, less pipe losses, with the heat that collectors and pipes took up or gave back. Where it
stood still although a healthy loop would have run: that healthy loop, against the store that would
then have existed. Where it stood still rightly (no sun, full store): nothing.
"""

from dataclasses import dataclass

import numpy as np

from analysis.healthy_loop import Surroundings, run_healthy_loop
from analysis.held import held
from analysis.loop_model import LoopModel
from analysis.loop_pipes import around_pipes_c
from analysis.loop_state import Loop, lossy_c, stored_w
from analysis.quantiles import quantile_of_rows
from analysis.record import Bools, Floats, known_or_zero
from analysis.runs import long_runs, short_holes
from analysis.site import Site
from analysis.sky import Sky
from analysis.sources import ISO_9806
from analysis.store_limit import store_full

SOURCES = (ISO_9806,)

# A healthy loop and a real one never start in the same minute: only standing longer than this
# counts as wrong (engineering judgement).
WRONG_STANDING_BINS = 9
# Pauses up to this are the controller's switching, not standstill (engineering judgement).
PAUSE_BINS = 6
# Sun below this share of the brightest is none (engineering judgement).
DARK_FRAC = 0.02
# A bin counts as moving from this share of its time on.
MOVING_FRAC = 0.1

# A store sensor that falls by more than this within an hour has seen a draw: standing, a store of a
# house loses some 0.3 K an hour (2 W/K over 200 litres and 40 K; engineering judgement).
DRAWN_K = 1.0
_HOUR_BINS = 12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Expected:
    """The healthy figure and its parts, shape (days, bins).

    Attributes
    ----------
    power_w : expected heat into the store [W], NaN where sun or loop are unknown
    gain_w, loss_w, pipe_w : parts of it where the loop carried heat, else 0 [W]
    stored_w : heat taken up by collectors and pipes while it did [W]
    carried : the loop carried heat
    standing : it stood still although a healthy loop would have run, long enough to count
    standing_w : what the healthy loop would have delivered there, else 0 [W]
    store_full : the controller rightly left the store alone (see `full_store`)
    """

    power_w: Floats
    gain_w: Floats
    loss_w: Floats
    pipe_w: Floats
    stored_w: Floats
    carried: Bools
    standing: Bools
    standing_w: Floats
    store_full: Bools


def still_idle(loop: Loop, model: LoopModel, gain_w: Floats) -> Bools:
    """Tell bins in which hardly any fluid moves, or next to none of the sun's heat arrives."""
    offered = np.where(np.isfinite(gain_w), gain_w, 0.5 * model.brightest_w)
    little = known_or_zero(loop.heat_w) < np.maximum(0.3 * offered, 0.05 * model.brightest_w)
    return little | loop.trickle


def carried_heat(loop: Loop, model: LoopModel, gain_w: Floats) -> Bools:
    """Tell bins in which fluid moved and the roof was not stranded above the store."""
    moved = loop.moving_frac > MOVING_FRAC
    stranded = (loop.t_roof_c - loop.t_store_bottom_c) > model.stranded_k
    carried = moved & ~(stranded & still_idle(loop, model, gain_w))
    # A loop that pauses delivers after the pause what the collectors took up in it.
    return carried | short_holes(carried & (loop.known_s > 0.0), PAUSE_BINS) & ~stranded


def full_store(loop: Loop, site: Site, *, after_yesterday: bool = True) -> Bools:
    """Tell bins in which the controller rightly leaves the store alone."""
    return store_full(
        t_bottom_c=loop.t_store_bottom_c,
        t_hottest_c=loop.t_store_held_c,
        running=(loop.moving_frac > MOVING_FRAC) | loop.commanded,
        limit_c=site.store.limit_c,
        backup_c=site.backup.setpoint_c if site.backup is not None else None,
        after_yesterday=after_yesterday,
    )


def expected_heat(*, site: Site, model: LoopModel, sky: Sky, loop: Loop) -> Expected:
    """Give the healthy figure on every bin.

    Parameters
    ----------
    site : facts of the day
    model : lumped numbers of the site
    sky : sun and gain
    loop : what the loop showed

    Returns
    -------
    Expected : all NaN where the sun is unknown
    """
    gain = _bridged(sky.gain_w)
    carried = carried_heat(loop, model, gain)
    stored = stored_w(loop=loop, model=model, carried=carried, gain_w=gain)
    loss = model.running_loss_w(lossy_c(loop, model), loop.t_ambient_c)
    pipe = model.pipe_w_k * (loop.t_mean_c - around_pipes_c(loop.t_ambient_c))
    useful = gain - loss
    if model.one_way:
        useful = np.maximum(useful, 0.0)
    direct = useful * model.let_through_frac(loop.t_mean_c) - pipe - stored
    # Without sun a healthy loop brings down what the day's sun left in it, and nothing else.
    dark = gain < DARK_FRAC * model.brightest_w
    shone = np.maximum.accumulate(gain >= DARK_FRAC * model.brightest_w, axis=1)
    direct = np.where(dark, np.where(shone, np.maximum(direct, 0.0), 0.0), direct)
    around = _surroundings(site, sky, loop, carried, gain)
    healthy = run_healthy_loop(site=site, model=model, around=around)
    store_known = np.isfinite(loop.t_store_bottom_c)
    wrong = ~carried & (healthy.running_frac > 0.0) & store_known & (loop.known_s > 0.0)
    paused = wrong | (short_holes(wrong, PAUSE_BINS) & ~carried)
    standing = long_runs(paused, WRONG_STANDING_BINS)
    standing_w = np.where(standing, healthy.power_w, 0.0)
    # What trickles into a store that is full all the same, a healthy loop brings as well.
    trickled = np.where(around.store_full & loop.trickle, known_or_zero(loop.heat_w), 0.0)
    power = np.where(carried, direct, np.where(standing, standing_w, np.maximum(trickled, 0.0)))
    power = np.where(np.isnan(gain) | (loop.known_s <= 0.0), np.nan, power)
    return Expected(
        power_w=power,
        gain_w=np.where(carried, gain, 0.0),
        loss_w=np.where(carried, loss, 0.0),
        pipe_w=np.where(carried, pipe, 0.0),
        stored_w=np.where(carried, stored, 0.0),
        carried=carried,
        standing=standing & np.isfinite(gain),
        standing_w=np.where(np.isfinite(gain), standing_w, 0.0),
        store_full=around.store_full,
    )


def _surroundings(site: Site, sky: Sky, loop: Loop, carried: Bools, gain: Floats) -> Surroundings:
    start = np.where(np.isfinite(loop.t_roof_c[:, 0]), loop.t_roof_c[:, 0], loop.t_ambient_c[:, 0])
    store = held(loop.t_store_bottom_c)
    return Surroundings(
        gain_w=known_or_zero(gain),
        t_ambient_c=held(loop.t_ambient_c),
        t_store_bottom_c=np.where(np.isfinite(store), store, site.store.limit_c),
        store_full=full_store(loop, site),
        full_of_itself=full_store(loop, site, after_yesterday=False),
        really_carried=carried,
        start_c=np.where(np.isfinite(start), start, 10.0),
        cold_share=_cold_share(loop, site),
        drawn=drawn_days(loop),
        seen=np.asarray((loop.known_s > 0.0).any(axis=1)),
    )


def drawn_days(loop: Loop) -> Bools:
    """Tell days on which somebody may have drawn hot water: a store sensor fell within an hour.

    Cold water comes in at the bottom and pushes the layers up past the sensors; a store that only
    loses heat, or that conducts it down to its cold bottom, never falls as fast.
    """
    drawn = np.zeros(loop.known_s.shape[0], dtype=np.bool_)
    for store_c in (loop.t_store_bottom_c, loop.t_store_hottest_c):
        fall_k = store_c[:, :-_HOUR_BINS] - store_c[:, _HOUR_BINS:]
        drawn |= (fall_k > DRAWN_K).any(axis=1) | ~np.isfinite(fall_k).any(axis=1)
    return drawn


def _cold_share(loop: Loop, site: Site) -> Floats:
    """Give how much of the store can still be warmed, as a share of its all being cold.

    The backup keeps the top warm; half the store is taken to be as warm as its hottest sensor.
    """
    room = site.store.limit_c - loop.t_store_bottom_c
    top_room = np.clip(site.store.limit_c - loop.t_store_hottest_c, 0.0, None)
    share = np.where(room > 5.0, 0.5 + 0.5 * top_room / np.maximum(room, 5.0), np.nan)
    typical = quantile_of_rows(share, 0.5)
    return np.clip(np.where(np.isnan(typical), 0.75, typical), 0.5, 1.0)


def _bridged(values: Floats) -> Floats:
    """Bridge holes of at most two bins between known neighbours, within each day."""
    bridged = values.copy()
    holes = np.isnan(values)
    torn = np.flatnonzero(holes.any(axis=1) & ~holes.all(axis=1))
    if torn.size:
        bridged[torn] = _bridged_twice(values[torn])
    return bridged


def _bridged_twice(values: Floats) -> Floats:
    bridged = values
    for _ in range(2):
        left = np.full(values.shape, np.nan)
        right = np.full(values.shape, np.nan)
        left[:, 1:], right[:, :-1] = bridged[:, :-1], bridged[:, 1:]
        hole = np.isnan(bridged) & np.isfinite(left)
        near = np.where(np.isfinite(right), (left + right) / 2.0, np.nan)
        bridged = np.where(hole & np.isfinite(near), near, bridged)
    return bridged
