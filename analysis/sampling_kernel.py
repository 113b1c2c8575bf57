"""The compiled loop of `analysis.day_figures`: by how much a quantity changed between samples."""

import numpy as np

from analysis.compiled import compiled
from analysis.record import Floats, Ints


@compiled
def changes_squared(
    values: Floats,
    start_s: Ints,
    step_s: Floats,
    edge: Ints,
    next_step: float,
    with_returns: bool,
    squared: Floats,
) -> None:
    """Write the sum over each day of what its changes make over their steps, squared.

    Parameters
    ----------
    values, start_s, step_s : shape (n,), of each row; a change from or to NaN is none
    edge : shape (days + 1,), the first row of each day and the one after the last's
    next_step : a row this many of its steps after the one before comes after a gap: no change
    with_returns : a change that undoes the one before counts twice their product as well
    squared : shape (days,), written: of the values' unit times a second
    """
    before = 0.0
    for day in range(edge.size - 1):
        total = 0.0
        for row in range(max(edge[day], 1), edge[day + 1]):
            change = values[row] - values[row - 1]
            gap_s = start_s[row] - start_s[row - 1]
            if np.isnan(change) or gap_s > next_step * step_s[row]:
                change = 0.0
            returned = max(-change * before, 0.0) if with_returns else 0.0
            total += step_s[row] * step_s[row] * (change * change + 2.0 * returned)
            before = change
        squared[day] = total
