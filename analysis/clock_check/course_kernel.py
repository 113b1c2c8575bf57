"""The compiled loops of `analysis.clock_check.course`: steady pieces, and lines with a bend."""

import numpy as np

from analysis.compiled import compiled, step
from analysis.record import Floats, Ints


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
def _count_of(weight: float, off_s: float) -> float:
    """Give how much a day counts that lies off by so much: far ones little."""
    return weight / (1.0 + 0.5 * weight * off_s**2)


@compiled
def settle(offset_s: Floats, weight: Floats, rounds: int, middle_s: Floats, counts: Floats) -> None:
    """Move middles to where the days that count hold them.

    Parameters
    ----------
    offset_s, weight : shapes (k, days) and (days,), readings of the errors, what each day weighs
    rounds : how often the days are weighed anew
    middle_s : shape (k,), to begin with; overwritten
    counts : shape (k, days), written: how much each day counted at last
    """
    for one in range(offset_s.shape[0]):
        for _ in range(rounds):
            total, weighed_s = 0.0, 0.0
            for day in range(offset_s.shape[1]):
                count = _count_of(weight[day], offset_s[one, day] - middle_s[one])
                counts[one, day] = count
                total += count
                weighed_s += count * offset_s[one, day]
            middle_s[one] = weighed_s / total


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
                    count = _count_of(count, off_s)
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
            count = _count_of(weight[day], off_s)
            total += count
            squares += count * weight[day] * off_s**2
        fitted[0, one], fitted[1, one] = level, slope
        fitted[2, one], fitted[3, one] = room, squares / total
