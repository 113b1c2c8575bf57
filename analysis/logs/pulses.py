"""Pulses of a meter: what one stands for, and counts of each interval as rates.

`10 l/pulse` and `450 pulse/l` are units like any other. For a register they say what one count of
it is; for a flow or a power, that the column counts anew in each interval.
"""

import re

import numpy as np
from numpy.typing import NDArray

from analysis.common_rows import GAP_IN_STEPS
from analysis.record import Floats, Ints, steps_s

_WORD = r"(?:imp|imps|impuls|impulse|impulses|impulsen|impulsions|impulsos|impulsi|puls\w{0,2})"
_PER_PULSE = re.compile(rf"(?P<size>\d+(?:[.,]\d+)?)?(?P<unit>[a-z]{{1,3}}3?)/{_WORD}")
_PULSES_PER = re.compile(rf"(?P<size>\d+(?:[.,]\d+)?)?{_WORD}/(?P<unit>[a-z]{{1,3}}3?)")
_PER_ROW = re.compile(r"(?P<unit>[a-z]{1,3}3?)(?:/| per )(?:row|interval|step)")
PULSE_WORD = re.compile(rf"(?<![a-z]){_WORD}(?![a-z])")
# Between two pulses of a running loop hardly more passes than this (engineering judgement).
_LONGEST_WAIT_S = 900.0
# With values in fewer rows a sensor shares its file with others (engineering judgement).
_OWN_ROWS_FRAC = 0.6


def pulse_size(folded: str) -> tuple[float, str] | None:
    """Give how much of which unit a pulse stands for, None where a unit is not one of pulses.

    Parameters
    ----------
    folded : str
        A unit as `analysis.logs.conversions.folded_unit` gives it; without a number, one.
    """
    each, per = _PER_PULSE.fullmatch(folded), _PULSES_PER.fullmatch(folded)
    found = each or per
    if found is None:
        return None
    size = float((found["size"] or "1").replace(",", "."))
    if size <= 0.0:
        return None
    return (size if each else 1.0 / size), found["unit"]


def amount_of_row(folded: str) -> tuple[float, str] | None:
    """Give the unit of an amount that each row holds for its own step, as `kwh/row` names it."""
    found = _PER_ROW.fullmatch(folded)
    return None if found is None else (1.0, found["unit"])


def rates(counts: Floats, stamp_s: Ints, *, per_count: float, stamp: str, seconds: float) -> Floats:
    """Turn counts of each interval into rates.

    Where a pulse is large against what flows in a row, rows without one stand between rows with
    one: what a pulse brings is spread over the rows since the one before, as long as they are no
    more than usual while the loop runs.

    Parameters
    ----------
    counts : ndarray, shape (n,)
        Pulses in each interval, rows in any order; NaN where missing.
    stamp_s : ndarray of int64, shape (n,)
        Stamps [s].
    per_count : float
        What one pulse stands for [unit].
    stamp : {"end", "start"}
        Which end of its interval a stamp marks.
    seconds : float
        Length of the time that the rate counts by [s].

    Returns
    -------
    ndarray, shape (n,)
        Rates [unit per `seconds`]; NaN after a gap, where nobody knows since when was counted.
    """
    order = np.argsort(stamp_s, kind="stable")
    # Where most rows are those of other sensors, its own say since when it was counted.
    if np.isfinite(counts).mean() < _OWN_ROWS_FRAC:
        order = order[np.isfinite(counts[order])]
    if not len(order):
        return np.full(len(counts), np.nan)
    times, inverse = np.unique(stamp_s[order], return_inverse=True)
    sums = np.full(len(times), np.nan)
    np.fmax.at(sums, inverse, counts[order])
    steps = steps_s(times, stamp="end" if stamp == "end" else "start")
    after_gap = np.zeros(len(times), dtype=np.bool_)
    after_gap[1:] = np.diff(times) > GAP_IN_STEPS * steps[1:]
    sums[after_gap] = np.nan
    found = _spread(sums, steps) * per_count * seconds / steps
    out = np.full(len(counts), np.nan)
    out[order] = found[inverse]
    return out


def _spread(counts: Floats, steps: Floats) -> Floats:
    """Spread each pulse over the empty rows before it."""
    rows = np.flatnonzero(~(counts == 0.0))  # pulses, and rows that are missing
    if len(rows) < 2:
        return counts
    waits = np.diff(rows) - 1
    pulse = np.isfinite(counts[rows[1:]]) & np.isfinite(counts[rows[:-1]])
    longest = np.floor(_LONGEST_WAIT_S / steps[rows[1:]]).astype(np.int64)
    usual = waits[pulse & (waits <= longest)]
    if not usual.size or float(np.median(usual)) < 1.0:
        return counts
    most = int(np.ceil(np.quantile(usual, 0.9)))
    spread = counts.copy()
    ends: NDArray[np.int64] = rows[1:][pulse]
    widths = np.minimum(waits[pulse], most) + 1
    share = counts[ends] / widths
    for end, width, each in zip(ends.tolist(), widths.tolist(), share.tolist(), strict=True):
        spread[end - width + 1 : end + 1] = each
    return spread
