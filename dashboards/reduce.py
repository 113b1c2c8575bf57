"""Fewer points for a picture, with no peak lost.

Each bucket of the picture gives its lowest and its highest sample, at their own times; a stagnation
peak of one minute in a year stays where it was. A bucket without any value gives one gap.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def min_max(*, time_s: Ints, values: Floats, most: int = 2000) -> tuple[Ints, Floats]:
    """Reduce a series to at most `most` points.

    Parameters
    ----------
    time_s : shape (n,), rising [s]
    values : shape (n,), NaN where unknown
    most : int, at least 4 [-]

    Returns
    -------
    time_s, values : shape (m,), m <= most; the very samples that were lowest and highest in their
        bucket, in order; a bucket of NaN only gives its first sample, still NaN
    """
    n = values.shape[0]
    if n <= most:
        return time_s, values
    buckets = most // 2
    edges = np.linspace(0, n, buckets + 1).astype(np.int64)[:-1]
    bucket = np.searchsorted(edges, np.arange(n), side="right") - 1
    seen = np.isfinite(values)
    low, high = np.where(seen, values, np.inf), np.where(seen, values, -np.inf)
    lowest, highest = np.minimum.reduceat(low, edges), np.maximum.reduceat(high, edges)
    first_low = _first(low == lowest[bucket], bucket)
    first_high = _first(high == highest[bucket], bucket)
    keep = np.unique(np.concatenate([first_low, first_high]))
    return time_s[keep], values[keep]


def _first(hit: NDArray[np.bool_], bucket: Ints) -> Ints:
    """Give the index of the first hit of each bucket; each bucket has one."""
    where = np.flatnonzero(hit)
    _, first = np.unique(bucket[where], return_index=True)
    found: Ints = where[first]
    return found
