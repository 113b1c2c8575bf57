"""A compiled loop: by how much the pipe outdoes the roof in each run of the pump."""

import numpy as np

from analysis.compiled import compiled
from analysis.record import Bools, Floats, Ints


@compiled
def find_tops(
    on: Bools,
    hot_c: Floats,
    cell: Ints,
    shown_c: Floats,
    start_s: Ints,
    day: Ints,
    turned_s: int,
    top_k: Floats,
    top_day: Ints,
) -> int:
    """Find how far the pipe's warmest in each run of the pump lies over what the roof showed.

    What the log begins in is no run, and what one shows after midnight counts for neither day.

    Parameters
    ----------
    on, hot_c : shape (n,), whether the pump runs, and the pipe [°C]
    cell : shape (n,), the bin that each row begins in, -1 outside the days
    shown_c : shape (bins,), what the roof showed of late, NaN where that tells nothing [°C]
    start_s, day : shape (n,), of each row; -1 is no day
    turned_s : a run counts from then on, or at once where the pipe was cooler before it [s]
    top_k, top_day : shape (n // 2,), written: of each run that tells

    Returns
    -------
    how many runs tell
    """
    found, row = 0, 1
    while row < on.size:
        if not on[row] or on[row - 1]:
            row += 1
            continue
        first, before, top = row, row - 1, -np.inf
        cool = cell[before] >= 0 and hot_c[before] < shown_c[cell[before]]
        since_s = start_s[first] + (0 if cool else turned_s)
        while row < on.size and on[row]:
            if start_s[row] >= since_s and day[row] == day[first] and cell[row] >= 0:
                over_k = hot_c[row] - shown_c[cell[row]]
                if over_k > top:
                    top = over_k
            row += 1
        if top > -np.inf:
            top_k[found], top_day[found] = top, day[first]
            found += 1
    return found
