"""Cumulative registers become increments that survive resets, rollovers and glitches.

A register only ever counts up. Where it does not, one of five things happened:

- a glitch: a few readings off, then back where it was; they are passed over;
- a rollover: from just below a power of ten to just above zero; the increment is known;
- a display that goes from kWh to MWh: to a thousandth, and on at a thousandth of its pace;
- a reset or another meter: what was counted in between is unknown, and stays unknown;
- a jump far above anything the register ever did: likewise unknown.
"""

import math

import numpy as np
from numpy.typing import NDArray

# How many readings in a row may be off and still be a glitch (common practice, no source).
_GLITCH = 3
# A rate this many times the usual one is no rate; a rollover must be more ordinary still (common
# practice, no source: full sun carries some ten times the heat of the median minute).
_FAR_ABOVE = 100.0
_ROLLOVER_ABOVE = 20.0
_FEWEST_RATES = 20
_GAP_STEPS = 1.5
# A display that changes to the next larger unit; how exactly its reading must agree, and how much
# slower it must count afterwards (engineering judgement).
_LARGER, _AGREES, _SLOWER = 1000.0, 0.01, 50.0


def increments(
    values: NDArray[np.float64],
    *,
    stamp_s: NDArray[np.int64] | None = None,
    across_gaps: bool = True,
) -> NDArray[np.float64]:
    """Give what a register counted up to each sample since the last known one before it.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Readings of the register in order of time [any unit]; NaN where missing.
    stamp_s : ndarray of int64, shape (n,), optional
        Stamps, so that a large increment over a long gap is told from a jump; without them the
        samples are taken for evenly spaced [s].
    across_gaps : bool
        Whether a reading after a gap has the increment of the whole gap, as a sum needs it; else
        it is unknown there, as a rate over one step needs it.

    Returns
    -------
    ndarray, shape (n,)
        Increments, never negative [unit of values]. NaN where unknown: at the first reading, where
        a reading is missing or a glitch, and over a reset.
    """
    out = np.full(len(values), np.nan)
    held = np.flatnonzero(np.isfinite(values))
    if len(held) < 2:
        return out
    time = np.arange(len(values), dtype=np.int64) if stamp_s is None else stamp_s
    values = _in_one_unit(values, time, held)
    usual = _usual_rate(values[held], time[held])
    held = held[~_glitches(values[held], time[held], usual)]
    if len(held) < 2:
        return out
    steps = np.diff(values[held])
    spans = np.diff(time[held])
    steps[steps > _FAR_ABOVE * usual * spans] = np.nan
    for place in np.flatnonzero(steps < 0).tolist():
        steps[place] = _over_top(
            before=float(values[held[place]]),
            after=float(values[held[place + 1]]),
            most=_ROLLOVER_ABOVE * usual * float(spans[place]),
        )
    if not across_gaps:
        far = np.diff(held) > 1
        if stamp_s is not None:
            far |= spans > _GAP_STEPS * np.median(np.diff(stamp_s))
        steps[far] = np.nan
    out[held[1:]] = steps
    return out


def _usual_rate(values: NDArray[np.float64], time: NDArray[np.int64]) -> float:
    """Give the median rate of the steps that count; infinite where too few do."""
    steps, spans = np.diff(values), np.diff(time)
    counting = (steps > 0) & (spans > 0)
    if counting.sum() < _FEWEST_RATES:
        return math.inf
    return float(np.median(steps[counting] / spans[counting]))


def _in_one_unit(
    values: NDArray[np.float64], time: NDArray[np.int64], held: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Bring what a display shows in the next larger unit, from some reading on, to the first."""
    read, when = values[held], time[held]
    for drop in (np.flatnonzero(np.diff(read) < 0) + 1).tolist():
        before, after = float(read[drop - 1]), float(read[drop]) * _LARGER
        if before <= 1.0 or abs(after - before) > _AGREES * before or drop + 1 >= len(read):
            continue
        gained, took = before - float(read[0]), float(when[drop - 1] - when[0])
        later, long = float(read[-1] - read[drop]), float(when[-1] - when[drop])
        if later >= 0.0 and took > 0 and long > 0 and _SLOWER * later / long < gained / took:
            scaled = values.copy()
            scaled[held[drop] :] *= _LARGER
            return scaled
    return values


def _glitches(
    values: NDArray[np.float64], time: NDArray[np.int64], usual: float
) -> NDArray[np.bool_]:
    """Mark readings that dip or leap and come back within a few samples."""
    off = np.zeros(len(values), dtype=np.bool_)
    for drop in (np.flatnonzero(np.diff(values) < 0) + 1).tolist():
        before = drop - 1
        if off[before] or off[drop]:
            continue
        back = _comes_back(values, time, before, drop, usual)
        if back is not None:
            off[drop:back] = True
            continue
        leap = _leapt_from(values, before, drop)
        if leap is not None:
            off[leap + 1 : drop] = True
    return off


def _comes_back(
    values: NDArray[np.float64], time: NDArray[np.int64], before: int, drop: int, usual: float
) -> int | None:
    """Give the sample at which a dip is over, if it is one."""
    for place in range(drop + 1, min(drop + 1 + _GLITCH, len(values))):
        rise = values[place] - values[before]
        if 0 <= rise <= _FAR_ABOVE * usual * (time[place] - time[before]):
            return place
    return None


def _leapt_from(values: NDArray[np.float64], before: int, drop: int) -> int | None:
    """Give the sample from which the reading before a drop had leapt up, if it had."""
    for place in range(before - 1, max(before - 1 - _GLITCH, -1), -1):
        if values[place] <= values[drop]:
            # A slow counter that was reset near zero has not leapt.
            leapt = values[place + 1] - values[place] >= values[before] - values[drop]
            return place if leapt and values[drop] > 0 else None
    return None


def _over_top(*, before: float, after: float, most: float) -> float:
    """Give the increment of a rollover at a power of ten, NaN where it is none."""
    if before < 1.0 or after < 0.0 or not math.isfinite(most):
        return math.nan
    top = 10.0 ** math.ceil(math.log10(before)) if before != 1.0 else 10.0
    step = after + top - before
    return step if 0 <= step <= most else math.nan
