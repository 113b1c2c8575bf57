"""Values that stand for a broken sensor, found from the data: far away, and exactly repeated.

An open or shorted sensor is logged as some number: full scale, -999, 85.0, 200. It gives itself
away by standing alone, far from everything else the column holds, always at exactly the same
number, and by being reached and left in one step. A pump that is either off or on looks a little
like that; so zero is never such a value, and a column needs many different other ones.
"""

from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from analysis.logs.bounds import Known, ends_of

# Engineering judgement: three times the same far number is no accident, and a number that is half
# of all there is, is the rule and no exception.
_FEWEST = 3
_MOST_FRAC = 0.5
_DIFFERENT = 8
_FAR_SPANS = 1.0
_ROUNDS = 3
# Most ends are near to some of so many values.
_LOOKED_AT = 1000


def find_sentinels(
    values: NDArray[np.float64], known: Known = MappingProxyType({})
) -> tuple[float, ...]:
    """Find the values of a column that stand for a broken sensor.

    Parameters
    ----------
    values : ndarray, shape (n,)
        In order of time [any unit]; NaN where missing.
    known : mapping of Bounds
        Theirs among others, where they are known.

    Returns
    -------
    tuple of float
        The values, at most three at each end; empty where there are none.
    """
    found: list[float] = []
    rest = values
    lowest, highest, _ = ends_of(values, known)
    for _ in range(2 * _ROUNDS):
        far = next(
            (end for end in (highest, lowest) if _is_sentinel(values, rest, end)),
            None,
        )
        if far is None:
            break
        found.append(far)
        rest = np.where(rest == far, np.nan, rest)
        lowest, highest, _ = ends_of(rest)
    return tuple(found)


def _is_sentinel(values: NDArray[np.float64], rest: NDArray[np.float64], end: float) -> bool:
    if not np.isfinite(end) or end == 0.0:
        return False
    some = _others(rest[:: len(rest) // _LOOKED_AT + 1], end)
    if len(some) and not _is_far(end, some):
        return False  # all of them spread no less, and come no less near
    count = int(np.count_nonzero(rest == end))
    if count < _FEWEST:
        return False
    others = _others(rest, end)
    if count > _MOST_FRAC * (count + len(others)) or len(others) < _DIFFERENT:
        return False
    return _is_far(end, others) and len(np.unique(others[:50_000])) >= _DIFFERENT


def _others(values: NDArray[np.float64], end: float) -> NDArray[np.float64]:
    others: NDArray[np.float64] = values[(values != end) & np.isfinite(values)]
    return others


def _is_far(end: float, others: NDArray[np.float64]) -> bool:
    """Tell whether an end is further from everything else than everything else is apart."""
    lowest, highest, _ = ends_of(others)
    gap = end - highest if end > highest else lowest - end
    return gap > _FAR_SPANS * (highest - lowest) and gap > 0.0
