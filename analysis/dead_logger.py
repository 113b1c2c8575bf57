"""Stretches in which a logger wrote rows and read nothing: all its sensors repeat their values.

A gateway whose bus has died goes on writing its last row, or noughts. No plant does that by
daylight, as its roof moves with the sun. Such rows hold no measurement: their heat is unknown,
neither nothing nor what the frozen row stands for. One sensor that repeats its value is not this,
nor are a pump and a flow at rest beside live temperatures.
"""

from dataclasses import replace

import numpy as np

from analysis.compiled import compiled, given
from analysis.grid import BIN_S
from analysis.heat import BASES, HeatFlow
from analysis.record import Bools, Floats, Ints, Record
from analysis.units import SECONDS_PER_HOUR

# Temperatures that the loop moves; the outdoor air may come from another logger.
_OF_LOOP = ("loop_hot", "loop_cold", "store_bottom", "store_middle", "store_top")
# All at once still for so long (usual check: frozen for 6 h with sun), with the sun 6° above the
# horizon for so much of it (engineering judgement).
_STILL_S = 6 * SECONDS_PER_HOUR
_LIT_S = 3 * SECONDS_PER_HOUR
_LIT_SINE = 0.1
# What was in a longer hole may have moved and come back.
_LONGEST_HOLE_S = 2 * SECONDS_PER_HOUR


def dead_rows(record: Record, *, channels: frozenset[str], bin_s: Ints, sun_sine: Floats) -> Bools:
    """Tell the rows that a dead logger repeats; shape (n,).

    Parameters
    ----------
    record : the rows
    channels : channels ever seen at the site
    bin_s : starts of bins in the order of time, UTC epoch seconds
    sun_sine : sine of the solar elevation in each bin [-]
    """
    dead = np.zeros(len(record), dtype=np.bool_)
    roof = record.columns.get("collector")
    others = [name for name in _OF_LOOP if record.has(name)]
    if roof is None or not others:
        return dead
    needs = next((needs for _, needs in BASES if needs <= channels), frozenset())
    repeats = record.start_s[1:] - record.start_s[:-1] <= _LONGEST_HOLE_S
    for name in {"collector", "pump", *others, *needs}:
        values = record.columns.get(name)
        if values is not None:
            _drop_moves(given(values), repeats)
    same = np.flatnonzero(repeats)
    if not same.size:
        return dead
    breaks = np.flatnonzero(np.diff(same) > 1)
    first = same[np.append(0, breaks + 1)]
    last = same[np.append(breaks, same.size - 1)] + 1
    start_s = record.start_s[first]
    end_s = record.start_s[last] + record.step_s[last].astype(np.int64)
    lit_s = bin_s[sun_sine > _LIT_SINE]
    long = np.flatnonzero((end_s - start_s >= _STILL_S) & np.isfinite(roof[first]))
    seen_s = BIN_S * (np.searchsorted(lit_s, end_s[long]) - np.searchsorted(lit_s, start_s[long]))
    for run in long[seen_s >= _LIT_S].tolist():
        dead[first[run] : last[run] + 1] = True
    return dead


@compiled
def _drop_moves(values: Floats, repeats: Bools) -> None:
    """Unflag rows whose next one has another value, or a value where one of them has none."""
    for row in range(repeats.size):
        here, after = values[row], values[row + 1]
        both_missing = np.isnan(here) and np.isnan(after)
        repeats[row] = repeats[row] and (here == after or both_missing)


def without_dead(heat: HeatFlow, dead: Bools) -> HeatFlow:
    """Give the heat with nothing known of these rows."""
    if not dead.any():
        return heat
    return replace(
        heat,
        power_w=np.where(dead, np.nan, heat.power_w),
        capacity_w_k=np.where(dead, np.nan, heat.capacity_w_k),
        moving=heat.moving & ~dead,
        u_w={name: np.where(dead[heat.row], 0.0, part) for name, part in heat.u_w.items()},
        per_k_w_k=np.where(dead, 0.0, heat.per_k_w_k),
    )
