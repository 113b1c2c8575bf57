"""Midnight written as 00:00 under the date that ends with it, as some loggers do.

Such a row jumps back by nearly a day, and the next one forward by more than one: the order of rows
proves where it belongs.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.units import SECONDS_PER_DAY

_DAY = int(SECONDS_PER_DAY)


def at_the_end_of_their_day(stamp_s: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Tell which stamps are midnights that belong to the end of their date.

    Parameters
    ----------
    stamp_s : ndarray of int64, shape (n,)
        Stamps of the wall clock in the order of the rows, oldest first [s].

    Returns
    -------
    ndarray of bool, shape (n,)
        True where a day is missing in a stamp. First and last row, with a neighbour on one side
        alone, are such where others are.
    """
    found = np.zeros(len(stamp_s), dtype=np.bool_)
    steps = np.diff(stamp_s)
    if len(stamp_s) < 3 or not (steps < 0).any():
        return found
    midnight = stamp_s % _DAY == 0
    back = np.zeros(len(stamp_s), dtype=np.bool_)
    back[1:] = (steps < 0) & (steps > -_DAY)
    found[:-1] = midnight[:-1] & back[:-1] & (steps > _DAY)
    if found.any():
        found[-1] = midnight[-1] and back[-1]
        found[0] = midnight[0] and steps[0] > _DAY
    return found
