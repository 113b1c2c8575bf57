"""Values that stand for a broken sensor, found from the data: far away, and exactly repeated.

An open or shorted sensor is logged as some number: full scale, -999, 85.0, 200. It gives itself
away by standing alone, far from everything else the column holds, always at exactly the same
number, and by being reached and left in one step. A pump that is either off or on looks a little
like that; so zero is never such a value, and a column needs many different other ones.
"""

import numpy as np
from numpy.typing import NDArray

# Engineering judgement: three times the same far number is no accident, and a number that is half
# of all there is, is the rule and no exception.
_FEWEST = 3
_MOST_FRAC = 0.5
_DIFFERENT = 8
_FAR_SPANS = 1.0
_ROUNDS = 3


def find_sentinels(values: NDArray[np.float64]) -> tuple[float, ...]:
    """Find the values of a column that stand for a broken sensor.

    Parameters
    ----------
    values : ndarray, shape (n,)
        In order of time [any unit]; NaN where missing.

    Returns
    -------
    tuple of float
        The values, at most three at each end; empty where there are none.
    """
    found: list[float] = []
    rest = values
    for _ in range(2 * _ROUNDS):
        lowest, highest = _ends(rest)
        far = next(
            (end for end in (highest, lowest) if _is_sentinel(values, rest, end)),
            None,
        )
        if far is None:
            break
        found.append(far)
        rest = np.where(rest == far, np.nan, rest)
    return tuple(found)


def _ends(values: NDArray[np.float64]) -> tuple[float, float]:
    if not len(values):
        return np.nan, np.nan
    lowest, highest = np.fmin.reduce(values), np.fmax.reduce(values)
    return float(lowest), float(highest)


def _is_sentinel(values: NDArray[np.float64], rest: NDArray[np.float64], end: float) -> bool:
    if not np.isfinite(end) or end == 0.0:
        return False
    at = rest == end
    count = int(at.sum())
    if count < _FEWEST:
        return False
    others = rest[~at & np.isfinite(rest)]
    if count > _MOST_FRAC * (count + len(others)) or len(others) < _DIFFERENT:
        return False
    lowest, highest = _ends(others)
    gap = end - highest if end > highest else lowest - end
    # Far: further from everything else than everything else is apart.
    if gap <= _FAR_SPANS * (highest - lowest) or gap <= 0.0:
        return False
    return len(np.unique(others[:50_000])) >= _DIFFERENT
