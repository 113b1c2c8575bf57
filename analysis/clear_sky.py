"""What a clear sky would have brought, for sites that measure no sun, and which hours were clear.

Under a clear sky the sun's course is known, so a loop that runs through some hours tells how much
of that course arrived as heat. Broken cloud shows as a ragged ratio, a store that is full or a loop
that stands as no ratio at all; so the best smooth stretch of a day is either clear or evenly dull.
Only many days together tell which: see `analysis.clear_days`.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.grid import BIN_S
from analysis.record import Floats, known_or_zero
from analysis.sky import NO_SOURCE
from analysis.sources import HAURWITZ, ISO_9806

SOURCES = (HAURWITZ, ISO_9806)

# Half hours: long enough for a pump that switches, short enough for passing cloud.
_BLOCK_BINS = 6
# A stretch is two and a half hours, about what even a mixed day leaves clear (engineering
# judgement).
STRETCH_BLOCKS = 5
# Hours of low sun say little: a clear sky must offer this share of the brightest output.
_LEAST_OFFER_FRAC = 0.25
_LEAST_CARRIED_FRAC = 0.5
# How far the half hours of a stretch may lie apart and still be one course: a switching pump
# makes as much of it as thin cloud (tuned on invented plants).
_RAGGED_FRAC = 0.3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stretches:
    """Every stretch of every day; arrays of shape (days, stretches), NaN where it cannot count.

    `ratio` is heat that came over heat that a clear sky would have brought; `ragged` the spread
    of the half hours' own ratios, largest less smallest, as a share of their mean.
    """

    ratio: Floats
    ragged: Floats


def clear_columns(case: Case) -> dict[str, Floats]:
    """Give each day's best smooth stretch; arrays of shape (days,), NaN where there is none.

    The one column is `clear_ratio`, heat that came over heat under a clear sky; NaN on days whose
    sun is known, which need no clear sky.
    """
    unseen = case.sky.source == NO_SOURCE
    if not unseen.any() or case.heat.basis is None:
        return {}
    stretches = stretches_of(case)
    smooth = np.where(stretches.ragged <= _RAGGED_FRAC, stretches.ratio, np.nan)
    some = np.isfinite(smooth).any(axis=1)
    best = np.zeros(smooth.shape[0], dtype=np.int64)
    best[some] = np.nanargmax(smooth[some], axis=1)
    day = np.arange(smooth.shape[0])
    return {"clear_ratio": np.where(some & unseen, smooth[day, best], np.nan)}


def stretches_of(case: Case) -> Stretches:
    """Hold every stretch of half hours against the clear sky."""
    loop, model = case.loop, case.model
    clear_w = case.clear.gain_w
    let_through = model.let_through_frac(loop.t_mean_c)
    due = (clear_w - case.expected.loss_w) * let_through - case.expected.pipe_w
    # Stored heat is left in what came: a collector that warms up took it from the sun.
    came = loop.heat_w + case.expected.stored_w
    usable = case.expected.carried & ~case.expected.store_full
    usable &= np.isfinite(due) & np.isfinite(came) & (loop.known_s >= 0.5 * BIN_S)
    bright = clear_w >= _LEAST_OFFER_FRAC * model.brightest_w
    flags = usable & bright
    share = _blocks(flags.astype(np.float64)) / _BLOCK_BINS
    came_w = _blocks(np.where(flags, came, 0.0))
    due_w = _blocks(np.where(flags, due, 0.0))
    with np.errstate(invalid="ignore", divide="ignore"):
        each = np.where((share >= _LEAST_CARRIED_FRAC) & (due_w > 0.0), came_w / due_w, np.nan)
        windows = np.lib.stride_tricks.sliding_window_view(each, STRETCH_BLOCKS, axis=1)
        came_all, due_all = (
            np.lib.stride_tricks.sliding_window_view(values, STRETCH_BLOCKS, axis=1).sum(axis=2)
            for values in (came_w, due_w)
        )
        ragged = (windows.max(axis=2) - windows.min(axis=2)) / windows.mean(axis=2)
        ratio = np.where(np.isfinite(ragged), came_all / due_all, np.nan)
    return Stretches(ratio=ratio, ragged=ragged)


def _blocks(values: Floats) -> Floats:
    """Sum the bins of each half hour; shape (days, half hours)."""
    days, bins = values.shape
    whole = bins // _BLOCK_BINS
    cut = values[:, : whole * _BLOCK_BINS].reshape(days, whole, _BLOCK_BINS)
    return np.asarray(known_or_zero(cut).sum(axis=2))
