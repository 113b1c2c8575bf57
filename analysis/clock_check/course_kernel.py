"""The compiled loops of `analysis.clock_check.course`: steady pieces, and lines with a bend."""

from typing import TypeVar

import numpy as np

from analysis.compiled import compiled, step
from analysis.record import Floats, Ints

_Numbers = TypeVar("_Numbers", float, Floats)


@compiled
def cheapest_cuts(
    each: Floats, edges: Ints, begins: Ints, fresh: Floats, summed: Floats, best: Floats
) -> None:
    """Write what the best cut of all days before each edge costs.

    Parameters
    ----------
    each : shape (days, levels), what each day costs at each level
    edges : shape (edges,), rising: a piece may begin and end at the day of each
    begins : shape (edges,), a piece that ends at an edge begins at one of the first so many
    fresh : shape (edges,), what a piece more that begins there costs
    summed : shape (edges, levels), written: what the days before an edge cost at each level
    best : shape (edges,), written, 0 at the first edge
    """
    summed[0] = 0.0
    for here in range(1, best.size):
        for level in range(each.shape[1]):
            summed[here, level] = summed[here - 1, level]
        for day in range(edges[here - 1], edges[here]):
            for level in range(each.shape[1]):
                summed[here, level] += each[day, level]
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
def fit_bent(
    offset_s: Floats, weight: Floats, late: Floats, rounds: int, sums: Floats, fitted: Floats
) -> None:
    """Fit a level, and a slope from some instant on, to errors of which far ones count little.

    The instants are gone through inmost, where several are worked out at once.

    Parameters
    ----------
    offset_s, weight : shape (days,), the errors and what each weighs
    late : shape (days, instants), how long each day comes after the instant, none before it
    rounds : how often the days are weighed anew, at least once
    sums : shape (5, instants), room to add up in
    fitted : shape (4, instants), written: level, slope, how much room the days leave the slope,
        and their mean square
    """
    instants = range(late.shape[1])
    fitted[:] = 0.0
    for number in range(rounds):
        sums[:] = 0.0
        for day in range(late.shape[0]):
            for one in instants:
                off_s = offset_s[day] - fitted[0, one] - fitted[1, one] * late[day, one]
                count = counts_of(weight[day], off_s) if number else weight[day]
                sums[0, one] += count
                sums[1, one] += count * late[day, one]
                sums[2, one] += count * late[day, one] ** 2
                sums[3, one] += count * offset_s[day]
                sums[4, one] += count * late[day, one] * offset_s[day]
        for one in instants:
            n, x, xx, y, xy = sums[0, one], sums[1, one], sums[2, one], sums[3, one], sums[4, one]
            # The normal equations of a line, solved as they are written.
            own = n * xx - x**2
            fitted[0, one], fitted[1, one] = (xx * y - x * xy) / own, (n * xy - x * y) / own
            fitted[2, one] = n / own
    sums[:] = 0.0
    for day in range(late.shape[0]):
        for one in instants:
            off_s = offset_s[day] - fitted[0, one] - fitted[1, one] * late[day, one]
            count = counts_of(weight[day], off_s)
            sums[0, one] += count
            sums[1, one] += count * weight[day] * off_s**2
    for one in instants:
        fitted[3, one] = sums[1, one] / sums[0, one]
