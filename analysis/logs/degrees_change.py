"""A log whose temperatures change from °C to °F, or back, where nothing in the file says so.

Somebody set the controller to other degrees, or two logs were joined. Every temperature then leaps
in the same row to 1.8 times itself and 32, and stays there: heat does not do that.
"""

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from analysis.channels import base_name, channel
from analysis.logs.bounds import Ends, Known, ends_of
from analysis.units import SECONDS_PER_DAY

# What sun and pump move within minutes; a change of degrees moves a slower one with it.
_QUICK = frozenset(("collector", "loop_hot", "loop_cold"))
_FEWEST = 2
# How close a temperature follows itself from a row to the next, and the quiet hours of a day those
# of the day before (engineering judgement) [K].
_WITHIN_K = 12.0
# Rows further apart than this follow each other by their days alone; beyond that not at all [s].
_ONE_NIGHT_S, _FARTHEST_S = int(SECONDS_PER_DAY / 4.0), 3 * int(SECONDS_PER_DAY)
# The least leap that is looked at [K]; rows on each side that must hold; how many leaps are looked
# at; where a day is whole enough to have quiet hours [s].
_FARTHEST_K = 1e4
_LEAST_K, _FEWEST_ROWS, _MOST_LEAPS = 18.0, 4, 200
_WHOLE_S = 0.8 * SECONDS_PER_DAY
_QUIET_PERCENT = 15


def degrees_change_at(
    stamp_s: NDArray[np.int64],
    columns: Mapping[str, NDArray[np.float64]],
    known: Known = MappingProxyType({}),
) -> tuple[int, bool] | None:
    """Find where all temperatures of a log change from one kind of degrees to the other.

    Parameters
    ----------
    stamp_s : ndarray of int64, shape (n,)
        Rising stamps [s].
    columns : mapping of str to ndarray, shape (n,)
        Channel to values, of whichever degrees [canonical unit where they are °C].
    known : mapping of Bounds
        Theirs, as far as they are known.

    Returns
    -------
    tuple or None
        The stamp of the first row after the change [s], and whether it is upward (from °C to °F).
    """
    warm = {
        name: _near(values, ends_of(values, known))
        for name, values in columns.items()
        if _is_warmth(name)
    }
    slow = [values for name, values in warm.items() if base_name(name) not in _QUICK]
    if len(warm) < _FEWEST or not slow:
        return None
    fullest = _fullest(slow, known)
    before, after = _leaps(fullest)
    near = stamp_s[after] - stamp_s[before] <= _FARTHEST_S
    for one, other in zip(
        before[near][:_MOST_LEAPS].tolist(), after[near][:_MOST_LEAPS].tolist(), strict=True
    ):
        upward = bool(fullest[other] > fullest[one])
        if _changes(stamp_s, list(warm.values()), one, other, upward=upward):
            return int(stamp_s[other]), upward
    return None


def _leaps(values: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Give the rows before and after each leap, those without a value passed over."""
    there = np.isfinite(values)
    rows = None if there.all() else np.flatnonzero(there)
    steps = np.diff(values if rows is None else values[rows])
    leaps = np.flatnonzero((steps >= _LEAST_K) | (steps <= -_LEAST_K))
    return (leaps, leaps + 1) if rows is None else (rows[leaps], rows[leaps + 1])


def _fullest(columns: Sequence[NDArray[np.float64]], known: Known) -> NDArray[np.float64]:
    """Give the first of the columns with most values."""
    whole = next((one for one in columns if ends_of(one, known).whole), None)
    if whole is not None:
        return whole
    return max(columns, key=lambda values: int(np.count_nonzero(np.isfinite(values))))


def _near(values: NDArray[np.float64], ends: Ends) -> NDArray[np.float64]:
    """Leave out what is no temperature in any degrees."""
    if ends.lowest > -_FARTHEST_K and ends.highest < _FARTHEST_K:
        return values
    return np.where(np.abs(values) >= _FARTHEST_K, np.nan, values)


def _is_warmth(name: str) -> bool:
    known = channel(name)
    return known is not None and known.quantity == "temperature"


def _changes(
    stamp_s: NDArray[np.int64],
    warm: list[NDArray[np.float64]],
    before: int,
    after: int,
    *,
    upward: bool,
) -> bool:
    """Tell whether the rows up to one and those from another on are of different degrees."""
    day = int(SECONDS_PER_DAY)
    first = int(np.searchsorted(stamp_s, stamp_s[before] - day))
    last = int(np.searchsorted(stamp_s, stamp_s[after] + day, side="right"))
    one = np.array([values[first : before + 1] for values in warm])
    other = np.array([values[after:last] for values in warm])
    if min(one.shape[1], other.shape[1]) < _FEWEST_ROWS:
        return False
    if stamp_s[after] - stamp_s[before] <= _ONE_NIGHT_S:
        few = _FEWEST_ROWS
        pairs = [
            (one[:, -1], other[:, 0]),
            (_middle(one[:, -few:], 50), _middle(other[:, :few], 50)),
        ]
    else:
        whole_s = min(stamp_s[before] - stamp_s[first], stamp_s[last - 1] - stamp_s[after])
        if whole_s < _WHOLE_S:
            return False
        pairs = [(_middle(one, _QUIET_PERCENT), _middle(other, _QUIET_PERCENT))]
    return all(_fit(*(pair if upward else reversed(pair))) for pair in pairs)


def _middle(values: NDArray[np.float64], percent: int) -> NDArray[np.float64]:
    held = [row[np.isfinite(row)] for row in values]
    return np.array([np.percentile(row, percent) if len(row) else np.nan for row in held])


def _fit(celsius: NDArray[np.float64], fahrenheit: NDArray[np.float64]) -> bool:
    """Tell whether values are others in degrees Fahrenheit, wherever both are there."""
    there = np.isfinite(celsius) & np.isfinite(fahrenheit)
    off = fahrenheit - (1.8 * celsius + 32.0)
    fits = (np.abs(off) <= 1.8 * _WITHIN_K) & (fahrenheit - celsius >= _LEAST_K)
    return int(there.sum()) >= _FEWEST and bool(fits[there].all())
