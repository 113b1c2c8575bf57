"""Rows that share a stamp and hold other values: time that was lost before the log came here."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

# Engineering judgement: so much of the rows is more than corrections of single ones; rows within
# a few minutes of their stamp, as where a logger leaves the seconds out, harm no figure.
_MOST_FRAC = 0.2
_HARMLESS_S = 300


def lost_time(stamp_s: NDArray[np.int64], values: Sequence[NDArray[np.float64]]) -> int:
    """Count the rows whose time was lost or rounded, 0 where too few to say so.

    Parameters
    ----------
    stamp_s : ndarray of int64, shape (n,)
        Stamps in the order of the file [s].
    values : sequence of ndarray, each of shape (n,)
        Columns of values; NaN missing.

    Returns
    -------
    int
        Rows that share their stamp with another of different values [-].
    """
    if (stamp_s[1:] > stamp_s[:-1]).all():
        return 0
    order = np.argsort(stamp_s, kind="stable")
    same = np.flatnonzero(np.diff(stamp_s[order]) == 0)
    if len(same) < _MOST_FRAC * len(stamp_s):
        return 0
    one, two = order[same], order[same + 1]
    unlike = np.zeros(len(same), dtype=np.int64)
    for held in values:
        unlike += np.isfinite(held[one]) & np.isfinite(held[two]) & (held[one] != held[two])
    # A running number differs in true repeats, too.
    differs = unlike >= min(2, len(values))
    count = int(differs.sum())
    if count < _MOST_FRAC * len(stamp_s):
        return 0
    apart = np.abs(two - one)[differs] > 1
    steps = np.diff(np.unique(stamp_s))
    harmless = len(steps) > 0 and float(np.median(steps)) <= _HARMLESS_S
    return 0 if harmless and apart.mean() < 0.5 else count
