"""The compiled loop of `analysis.clock_check.course`: the cheapest cut into steady pieces."""

import numpy as np

from analysis.compiled import compiled
from analysis.record import Floats, Ints


@compiled
def cheapest_cuts(summed: Floats, begins: Ints, fresh: Floats, best: Floats) -> None:
    """Write what the best cut of all days before each edge costs.

    Parameters
    ----------
    summed : shape (edges, levels), what the days before an edge cost at each level
    begins : shape (edges,), a piece that ends at an edge begins at one of the first so many
    fresh : shape (edges,), what a piece more that begins there costs
    best : shape (edges,), written, 0 at the first edge
    """
    # For each level, the cheapest that all before a piece is, less what the level sums up to there.
    before = np.full(summed.shape[1], np.inf)
    best[0], opened = 0.0, 0
    for here in range(1, best.size):
        while opened < begins[here]:
            begun = best[opened] + fresh[opened]
            for level in range(before.size):
                before[level] = min(before[level], begun - summed[opened, level])
            opened += 1
        best[here] = np.inf
        for level in range(before.size):
            best[here] = min(best[here], summed[here, level] + before[level])
