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
_Spans = list[tuple[int, int]]

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
    names = {"pump", *others, *needs} - {"collector"}
    still = _still_runs(record, roof, [(0, len(record))])
    for values in (record.columns[name] for name in names if name in record.columns):
        still = _still_runs(record, values, still)
    lit_s = bin_s[sun_sine > _LIT_SINE]
    for first, end in still:
        span_s = record.start_s[first], record.start_s[end - 1] + int(record.step_s[end - 1])
        seen_s = BIN_S * np.diff(np.searchsorted(lit_s, span_s))
        if np.isfinite(roof[first]) and seen_s >= _LIT_S:
            dead[first:end] = True
    return dead


def _still_runs(record: Record, values: Floats, within: _Spans) -> _Spans:
    """Give the runs of rows, the end excluded, in which a channel is still for long enough."""
    still = []
    for first, end in within:
        begins, ends = np.empty((2, end - first), dtype=np.int64)
        start_s, step_s = given(record.start_s[first:end]), given(record.step_s[first:end])
        count = _find_still(start_s, step_s, given(values[first:end]), begins, ends)
        found = zip(begins[:count].tolist(), ends[:count].tolist(), strict=True)
        still += [(first + begin, first + after) for begin, after in found]
    return still


@compiled
def _find_still(start_s: Ints, step_s: Floats, values: Floats, begins: Ints, ends: Ints) -> int:
    """Write where runs of rows with one value, or with none, begin and end; give their number.

    Only those that last `_STILL_S`; a hole longer than `_LONGEST_HOLE_S` ends a run. Looked at are
    the rows that a run would have to reach, and from there back: most others are never read.
    """
    count, begin, known, far = 0, 0, 0, 0
    while far < values.size:
        if start_s[far] + int(step_s[far]) - start_s[begin] < _STILL_S:
            far += 1
            continue
        row = far
        while row > known and start_s[row] - start_s[row - 1] <= _LONGEST_HOLE_S:
            here, before = values[row], values[row - 1]
            if here != before and not (np.isnan(here) and np.isnan(before)):
                break
            row -= 1
        if row == known:
            known = far
            far += 1
            continue
        if known > begin:
            begins[count], ends[count] = begin, known + 1
            count += 1
        begin = known = row
    if known > begin:
        begins[count], ends[count] = begin, known + 1
        count += 1
    return count


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
