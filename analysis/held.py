"""The last known value held through each day, by a compiled loop: a bin hangs on the one before."""

import numpy as np

from analysis.compiled import compiled, given
from analysis.record import Floats


def held(values: Floats) -> Floats:
    """Hold the last known value within each day, the first one backwards; shape (days, bins)."""
    through = np.empty(values.shape)
    _hold(given(values), through)
    return through


@compiled
def _hold(values: Floats, through: Floats) -> None:
    """Write the values held through each row; NaN where a row knows none."""
    for day in range(values.shape[0]):
        last = np.nan
        for value in values[day]:
            if np.isfinite(value):
                last = value
                break
        for number in range(values.shape[1]):
            if np.isfinite(values[day, number]):
                last = values[day, number]
            through[day, number] = last
