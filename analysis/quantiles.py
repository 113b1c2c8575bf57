"""Quantiles of many small groups at once, as `numpy.quantile` gives them one by one."""

import numpy as np

from analysis.compiled import compiled, given, step
from analysis.day_sums import counted
from analysis.record import Bools, Floats, Ints


def quantile_of_rows(values: Floats, frac: float) -> Floats:
    """Give a quantile of the known values of each row.

    Parameters
    ----------
    values : shape (n, m), NaN unknown
    frac : 0 to 1 [-]

    Returns
    -------
    shape (n,), NaN where nothing is known
    """
    ordered = np.sort(values, axis=1)  # NaN comes last
    known = counted(np.isfinite(ordered))
    return _at(ordered.ravel(), np.arange(len(values)) * values.shape[1], known, frac)


def median_of_rows(values: Floats) -> Floats:
    """Give the median of the known values of each row; as `numpy.nanmedian`, but soon.

    Parameters
    ----------
    values : shape (n, m), NaN unknown; m at least 1

    Returns
    -------
    shape (n,), NaN where nothing is known
    """
    ordered = np.sort(values, axis=1)  # NaN comes last
    known = counted(~np.isnan(ordered))
    each = np.arange(len(values))
    low = ordered[each, np.maximum(known - 1, 0) // 2]
    high = ordered[each, np.minimum(known // 2, values.shape[1] - 1)]
    return np.asarray(np.where(known > 0, 0.5 * (low + high), np.nan))


def median_of_chosen(values: Floats, chosen: Bools) -> Floats:
    """Give the median of the known values of each row that are chosen; shape (n,), NaN of none.

    Parameters
    ----------
    values, chosen : shape (n, m)
    """
    # Few are chosen: side by side they are sooner sorted.
    packed = np.full(values.shape, np.nan)
    most = _pack(given(values), given(chosen), packed)
    return median_of_rows(packed[:, : max(most, 1)])


@compiled
def _pack(values: Floats, chosen: Bools, packed: Floats) -> int:
    """Write what is chosen in each row from its front on; give how many a row has at most."""
    most = 0
    for row in range(values.shape[0]):
        count = 0
        for place in range(values.shape[1]):
            if chosen[row, place]:
                packed[row, count] = values[row, place]
                count += 1
        most = max(most, count)
    return most


def median_of(values: Floats) -> float:
    """Give the median of known values, NaN of none; as `numpy.median`, but soon where few."""
    if not values.size:
        return np.nan
    middle = values.size // 2
    ordered = np.partition(values, (middle - 1 + values.size % 2, middle))
    return 0.5 * float(ordered[middle - 1 + values.size % 2] + ordered[middle])


def quantile_of_groups(values: Floats, group: Ints, count: int, frac: float) -> Floats:
    """Give a quantile of the values of each group.

    Parameters
    ----------
    values, group : shape (n,), known values and the group of each, from 0 on
    count : how many groups there are
    frac : 0 to 1 [-]

    Returns
    -------
    shape (count,), NaN where a group has none
    """
    ordered = values[np.lexsort((values, group))]
    size = np.bincount(group, minlength=count)
    return _at(ordered, np.cumsum(size) - size, size, frac)


def _at(ordered: Floats, first: Ints, count: Ints, frac: float) -> Floats:
    """Interpolate between the two values around a place in each ordered group."""
    found = np.full(len(first), np.nan)
    some = np.flatnonzero(count)
    place = frac * (count[some] - 1)
    below = np.floor(place).astype(np.int64)
    share = place - below
    low = ordered[first[some] + below]
    high = ordered[first[some] + np.minimum(below + 1, count[some] - 1)]
    apart = high - low
    # From the nearer side, so that rounding never leaves the two.
    found[some] = np.where(share < 0.5, low + apart * share, high - apart * (1.0 - share))
    return found


def running(values: Floats, frac: float, width: int) -> Floats:
    """Give a quantile over a window around each value, of the values that are there at the ends.

    Parameters
    ----------
    values : shape (n,), NaN unknown
    frac : 0 to 1 [-]
    width : values of a window, an odd number

    Returns
    -------
    shape (n,), NaN where a window knows nothing
    """
    found = np.empty(len(values))
    _run(given(values), frac, width // 2, np.empty(width), found)
    return found


@compiled
def _run(values: Floats, frac: float, half: int, held: Floats, found: Floats) -> None:
    """Keep what the window knows in order, in `held`, while it moves on."""
    count = 0
    for middle in range(-half, values.shape[0]):
        leaves, comes = middle - half - 1, middle + half
        if leaves >= 0 and not np.isnan(values[leaves]):
            place = 0
            while held[place] != values[leaves]:
                place += 1
            count -= 1
            for later in range(place, count):
                held[later] = held[later + 1]
        if comes < values.shape[0] and not np.isnan(values[comes]):
            place = count
            while place > 0 and held[place - 1] > values[comes]:
                held[place] = held[place - 1]
                place -= 1
            held[place] = values[comes]
            count += 1
        if middle >= 0:
            found[middle] = _between(held, count, frac)


def quantile_of(values: Floats, frac: float) -> float:
    """Give a quantile of known values, NaN of none; as `numpy.quantile`, but soon where few."""
    if not values.size:
        return np.nan
    below = int(frac * (values.size - 1))
    # Of thousands the two that count are sooner found than all are sorted.
    parted = np.partition(values, (below, min(below + 1, values.size - 1)))
    return _between(parted, values.size, frac)


@step
def _between(ordered: Floats, count: int, frac: float) -> float:
    """Do the same as `_at` in the first values, NaN of none."""
    if count == 0:
        return np.nan
    place = frac * (count - 1)
    below = int(place)
    share = place - below
    low, high = ordered[below], ordered[min(below + 1, count - 1)]
    apart = high - low
    return float(low + apart * share if share < 0.5 else high - apart * (1.0 - share))
