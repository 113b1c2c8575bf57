"""Quantiles of many small groups at once, as `numpy.quantile` gives them one by one."""

from collections.abc import Sequence

import numpy as np

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
    known = np.isfinite(ordered).sum(axis=1)
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
    known = values.shape[1] - np.isnan(ordered).sum(axis=1)
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
    row, place = np.nonzero(chosen)
    if not row.size:
        return np.full(len(values), np.nan)
    # Few are chosen: side by side they are sooner sorted.
    count = np.bincount(row, minlength=len(values))
    packed = np.full((len(values), int(count.max())), np.nan)
    packed[row, np.arange(row.size) - (np.cumsum(count) - count)[row]] = values[row, place]
    return median_of_rows(packed)


def median_of(values: Floats) -> float:
    """Give the median of known values, NaN of none; as `numpy.median`, but soon where few."""
    if not values.size:
        return np.nan
    middle = values.size // 2
    ordered = np.partition(values, (middle - 1 + values.size % 2, middle))
    return 0.5 * float(ordered[middle - 1 + values.size % 2] + ordered[middle])


def quantile_of_sorted(ordered: Sequence[float], frac: float) -> float:
    """Give a quantile of known values that rise; at least one."""
    place = frac * (len(ordered) - 1)
    below = int(place)
    low, high = ordered[below], ordered[min(below + 1, len(ordered) - 1)]
    share, apart = place - below, high - low
    return low + apart * share if share < 0.5 else high - apart * (1.0 - share)


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
