"""The compiled loop of `analysis.fluid`: straight lines between the points of a curve."""

import numpy as np

from analysis.compiled import compiled
from analysis.record import Floats


@compiled
def look_up(asked: Floats, grid: Floats, values: Floats, found: Floats) -> None:
    """Interpolate between points that lie evenly, but for the first, which may lie nearer.

    Parameters
    ----------
    asked : shape (n,), where; NaN, or outside the points, gives NaN
    grid, values : shape (points,), three or more, and what the curve is there; rising
    found : shape (n,), written
    """
    last = grid.size - 1
    lowest, begin, highest = grid[0], grid[1], grid[last]
    per_step = (last - 1) / (highest - begin)
    for number in range(asked.size):
        at = asked[number]
        if not lowest <= at <= highest:
            found[number] = np.nan
            continue
        place = 0
        if at >= begin:
            place = min(1 + int((at - begin) * per_step), last - 1)
        slope = (values[place + 1] - values[place]) / (grid[place + 1] - grid[place])
        found[number] = values[place] + slope * (at - grid[place])
