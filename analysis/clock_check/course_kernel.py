"""The compiled loops of `analysis.clock_check.course`: steady pieces, and lines with a bend."""

from typing import TypeVar

import numpy as np

from analysis.compiled import compiled, step
from analysis.record import Floats, Ints

_Numbers = TypeVar("_Numbers", float, Floats)


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


@step
def counts_of(weight: _Numbers, off_s: _Numbers) -> _Numbers:
    """Give how much days count that lie off by so much: far ones little."""
    return weight / (1.0 + 0.5 * weight * off_s**2)


@compiled
def fit_bent(offset_s: Floats, weight: Floats, late: Floats, rounds: int, fitted: Floats) -> None:
    """Fit a level, and a slope from some instant on, to errors of which far ones count little.

    Parameters
    ----------
    offset_s, weight : shape (days,), the errors and what each weighs
    late : shape (instants, days), how long each day comes after the instant, none before it
    rounds : how often the days are weighed anew, at least once
    fitted : shape (4, instants), written: level, slope, how much room the days leave the slope,
        and their mean square
    """
    for one in range(late.shape[0]):
        level, slope, room = 0.0, 0.0, 0.0
        for number in range(rounds):
            n = x = xx = y = xy = 0.0
            for day in range(late.shape[1]):
                count = weight[day]
                if number:
                    off_s = offset_s[day] - level - slope * late[one, day]
                    count = counts_of(count, off_s)
                n += count
                x += count * late[one, day]
                xx += count * late[one, day] ** 2
                y += count * offset_s[day]
                xy += count * late[one, day] * offset_s[day]
            # The normal equations of a line, solved as they are written.
            own = n * xx - x**2
            level, slope, room = (xx * y - x * xy) / own, (n * xy - x * y) / own, n / own
        total, squares = 0.0, 0.0
        for day in range(late.shape[1]):
            off_s = offset_s[day] - level - slope * late[one, day]
            count = counts_of(weight[day], off_s)
            total += count
            squares += count * weight[day] * off_s**2
        fitted[0, one], fitted[1, one] = level, slope
        fitted[2, one], fitted[3, one] = room, squares / total
