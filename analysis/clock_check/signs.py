"""Stage one: what each day says of the clock, by the sun sensor and by the collector."""

import numpy as np

from analysis.case import Case
from analysis.clock_check.curves import Curves, curves
from analysis.clock_check.ends import after_noon_s, light_ends
from analysis.clock_check.shift import shifts
from analysis.grid import BIN_S, DAY_BINS
from analysis.record import Floats, Ints, known_or_zero
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

SENSORS = ("irradiance_plane", "irradiance_horizontal")

# A day that fits worse, or that could lie anywhere within this, says nothing (judgement).
_MOST_MISFIT = 0.5
_MOST_NOISE_S = 5400.0
# A collector's day under this share of its brightest is not worth looking at (judgement).
_LEAST_GAIN_FRAC = 0.15
# Far hotter a heat pipe hands over less than the sun gives, and losses run away. Days of standstill
# below that are clear ones and tell more than mild days do: left out from 110 °C on, steps stood
# 6.5 minutes from the truth rather than 5.5.
_HOTTEST_C = 160.0
# What was gained is taken over so many bins to either side and to this power before it is laid over
# the curves: clouds about noon, where most is gained and nothing tells the time, drowned mornings
# and evenings. Steps of half an hour and an hour of 36 invented logs without a sun sensor then
# stood 5.5 minutes from the truth (root of the mean square), as they were 9.1.
_SMOOTH_BINS = 6
_LEVEL = 0.6
# Heat that the store alone tells of is told late [s]: 15 healthy years stood 7.2 minutes ahead by
# it, 2.5 by the pipes.
_STORE_LATE_S = 300.0
# Holes up to this long are bridged; longer ones in the dark only.
_BRIDGED_BINS = int(SECONDS_PER_HOUR / BIN_S)
_DARK_FRAC = 0.05
# The collector's rate of change is taken over so many bins on either side.
_RATE_BINS = 2


def clock_columns(case: Case) -> dict[str, Floats]:
    """Give what the curve of each day says of the clock; shape (days,), NaN where nothing.

    `clock_sun_s` by how much the clock is ahead after the sun sensor [s]; `clock_roof_s` likewise
    after the collector, `clock_roof_noise_s` its noise [s]; `clock_step_s` the usual step of the
    day's rows [s]. Values are taken for means over their step.
    """
    columns: dict[str, Floats] = {}
    name = next((one for one in SENSORS if case.record.has(one)), None)
    if name is not None:
        columns["clock_sun_s"] = _by_light(case, name)
    if case.record.has("collector"):
        columns |= _by_collector(case)
    if columns:
        rows = np.diff(case.row_edge)
        with np.errstate(invalid="ignore", divide="ignore"):
            columns["clock_step_s"] = case.per_day(case.record.step_s) / rows
    return columns


def _by_light(case: Case, name: str) -> Floats:
    """Give each day's error after the middle between its first and its last light."""
    record = case.record
    told = np.full(len(case.days), np.nan)
    start_s, step_s, light_w_m2 = record.start_s, record.step_s, record.columns[name]
    read = case.read[name]
    if not read.all():
        start_s, step_s, light_w_m2 = start_s[read], step_s[read], light_w_m2[read]
    if start_s.size < 2:
        return told
    middle_s = start_s + (step_s / 2.0).astype(np.int64)
    first, last = light_ends(middle_s, light_w_m2, step_s=_usual_s(step_s))
    between = 0.5 * (first + last)
    day = np.searchsorted(case.days.edge_s, between, side="right") - 1
    inside = (day >= 0) & (day < len(case.days))
    told[day[inside]] = _after_noon_s(case, day[inside], between[inside])
    return told


def _after_noon_s(case: Case, day: Ints, time_s: Floats) -> Floats:
    """Give how long after the sun's noon instants of these days are [s].

    The hour angle grows evenly, so it is read between the middles of two bins.
    """
    place = (time_s - case.days.edge_s[day]) / BIN_S - 0.5
    before = np.clip(place.astype(np.int64), 0, DAY_BINS - 2)
    one, next_one = (
        after_noon_s(case.sun.at((day, number)), case.site.place.latitude_deg)
        for number in (before, before + 1)
    )
    half_s = 0.5 * SECONDS_PER_DAY
    # Past the sun's midnight it begins anew.
    grown = (next_one - one + half_s) % SECONDS_PER_DAY - half_s
    return (one + grown * (place - before) + half_s) % SECONDS_PER_DAY - half_s


def _usual_s(step_s: Floats) -> float:
    """Give the median step; where all are alike, no row is sorted."""
    alike = bool((step_s == step_s[0]).all())
    return float(step_s[0] if alike else np.median(step_s))


def _by_collector(case: Case) -> dict[str, Floats]:
    """Give each day's error after the whole curve of what the collector gained, and its noise."""
    gain = _gain_w(case)
    seen = _bridged(_levelled(_smoothed(np.maximum(gain, 0.0))))
    days = np.flatnonzero(
        (_highest(gain) > _LEAST_GAIN_FRAC * case.model.brightest_w)
        & ~(_highest(case.binned("collector")) > _HOTTEST_C)
        & np.isfinite(seen).all(axis=1)
    )
    told = np.full((2, len(case.days)), np.nan)
    if days.size:
        drawn = curves(case.daylight)
        beam, even = (_levelled(curve[days, :DAY_BINS]) for curve in (drawn.beam, drawn.even))
        found = shifts(seen[days], Curves(beam=beam, even=even))
        good = (found.misfit < _MOST_MISFIT) & (found.noise_s < _MOST_NOISE_S)
        by_store = not (case.record.has("loop_hot") or case.heat.measured)
        late_s = _STORE_LATE_S if by_store else 0.0
        told[:, days] = np.where(good, (found.offset_s - late_s, found.noise_s), np.nan)
    return {"clock_roof_s": told[0], "clock_roof_noise_s": told[1]}


def _gain_w(case: Case) -> Floats:
    """Give what the sun must have brought, from what the collector did with it [W].

    What it took up, what it lost to the air and what the fluid carried away; the first 24 hours of
    each day, shape (days, DAY_BINS).
    """
    roof = case.binned("collector")[:, :DAY_BINS]
    flat = roof.ravel()
    change = np.full(flat.shape, np.nan)
    n = _RATE_BINS
    if flat.size > 2 * n:
        change[n:-n] = (flat[2 * n :] - flat[: -2 * n]) / (2 * n * BIN_S)
    lost = case.model.loss_w(roof - case.loop.t_ambient_c[:, :DAY_BINS])
    carried = case.loop.heat_w[:, :DAY_BINS]
    # Heat that nothing told while the loop ran is not nought: such hours draw another day.
    lost_sight = (case.heat.basis is not None) & case.loop.commanded[:, :DAY_BINS]
    carried = np.where(lost_sight, carried, known_or_zero(carried))
    return np.asarray(
        case.model.collector_j_k * change.reshape(roof.shape) + lost + carried, dtype=np.float64
    )


def _levelled(values: Floats) -> Floats:
    """Raise mornings and evenings against noon: clouds at noon tell nothing of the time."""
    raised = np.array(values)
    some = values > 0.0
    raised[some] = values[some] ** _LEVEL
    return raised


def _smoothed(values: Floats) -> Floats:
    """Give the mean of the known values about each bin; bins that are not known stay so."""
    flat = values.ravel()
    known = np.isfinite(flat)
    if flat.size <= 2 * _SMOOTH_BINS:
        return values
    total = _sum_about(np.where(known, flat, 0.0))
    count = _sum_about(known.astype(np.float64))
    return np.where(known, total / np.maximum(count, 1.0), np.nan).reshape(values.shape)


def _sum_about(values: Floats) -> Floats:
    """Give the sum of each value and those beside it, from sums of twice as many in a row each."""
    padded = np.pad(values, _SMOOTH_BINS)
    total, taken, width, count = np.zeros(values.shape), 0, 1, 2 * _SMOOTH_BINS + 1
    while width <= count:
        if count & width:
            total += padded[taken : taken + values.size]
            taken += width
        padded, width = padded[width:] + padded[:-width], 2 * width
    return total


def _highest(values: Floats) -> Floats:
    """Give the highest known value of each day, -inf where none is known."""
    return np.asarray(np.fmax.reduce(values, axis=1, initial=-np.inf))


def _bridged(values: Floats) -> Floats:
    """Fill holes up to an hour, and longer ones between dark bins; the others stay."""
    flat = values.ravel()
    read = np.isfinite(flat)
    known, place = np.flatnonzero(read), np.flatnonzero(~read)
    if known.size < 2 or not place.size:
        return values
    after = np.searchsorted(known, place)
    inside = (after > 0) & (after < known.size)
    place, after = place[inside], after[inside]
    left, right = known[after - 1], known[after]
    dark = _DARK_FRAC * _highest(values)[place // values.shape[1]]
    good = (right - left - 1 <= _BRIDGED_BINS) | (np.fmax(flat[left], flat[right]) <= dark)
    place = place[good]
    filled = flat.copy()
    filled[place] = np.interp(place, known, flat[known])
    return filled.reshape(values.shape)
