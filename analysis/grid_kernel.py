"""The compiled loops of `analysis.grid`: rows laid onto bins, and means and sums over bins."""

import numpy as np

from analysis.compiled import compiled
from analysis.record import Bools, Floats, Ints

# A row this much longer than a bin, or than some of them, makes no further piece.
SLACK_FRAC = 0.01


@compiled
def lay_rows(
    start_s: Ints,
    step_s: Floats,
    edge_s: Ints,
    bins: int,
    bin_s: int,
    day: Ints,
    row: Ints,
    cell: Ints,
    seconds: Floats,
) -> int:
    """Cut rows into pieces no longer than a bin; each falls into the bin that its middle is in.

    Parameters
    ----------
    start_s, step_s : shape (n,), of each row
    edge_s : shape (days + 1,), the local midnights
    bins, bin_s : how many bins a day has, and how long each is [s]
    day : shape (n,), written: the day that each row's middle falls in, -1 outside all days
    row, cell, seconds : written as far as there are pieces: row, flat bin and length [s] of each;
        rows outside all days have none

    Returns
    -------
    how many pieces there are
    """
    piece, at = 0, 0
    long_s, half_s, count, length_s = np.nan, 0, 0, 0.0
    midnight_s, next_s = edge_s[0], edge_s[1]
    for number in range(start_s.size):
        if step_s[number] != long_s:
            long_s = step_s[number]
            half_s, count = int(long_s / 2.0), max(int(np.ceil(long_s / bin_s - SLACK_FRAC)), 1)
            length_s = long_s / count
        middle_s = start_s[number] + half_s
        if not midnight_s <= middle_s < next_s:
            while at > 0 and middle_s < edge_s[at]:
                at -= 1
            while at < edge_s.size - 2 and middle_s >= edge_s[at + 1]:
                at += 1
            midnight_s, next_s = edge_s[at], edge_s[at + 1]
            if not midnight_s <= middle_s < next_s:
                day[number] = -1
                continue
        day[number] = at
        for part in range(count):
            along_s = start_s[number] + (part + 0.5) * length_s - midnight_s
            place = min(max(int(along_s / bin_s), 0), bins - 1)
            row[piece], cell[piece], seconds[piece] = number, at * bins + place, length_s
            piece += 1
    return piece


@compiled
def bin_means(values: Floats, cell: Ints, seconds: Floats, mean: Floats) -> None:
    """Write the mean over the known part of each bin, NaN where there is none.

    Parameters
    ----------
    values, cell, seconds : shape (m,), of each piece: its value, its bin and its length [s]
    mean : shape (bins,), written
    """
    known_s = np.zeros(mean.size)
    mean[:] = 0.0
    # Summed beside the arrays while pieces fall into one bin: several times as fast.
    place, summed, summed_s = 0, 0.0, 0.0
    for piece in range(cell.size):
        if cell[piece] != place:
            mean[place] += summed
            known_s[place] += summed_s
            place, summed, summed_s = cell[piece], 0.0, 0.0
        if np.isfinite(values[piece]):
            summed += values[piece] * seconds[piece]
            summed_s += seconds[piece]
    if cell.size:
        mean[place] += summed
        known_s[place] += summed_s
    for place in range(mean.size):
        mean[place] = mean[place] / known_s[place] if known_s[place] > 0.0 else np.nan


@compiled
def bin_peaks(values: Floats, cell: Ints, peak: Floats) -> None:
    """Write the greatest known value of each bin, -inf where there is none.

    Parameters
    ----------
    values, cell : shape (m,), of each piece: its value and its bin
    peak : shape (bins,), written
    """
    peak[:] = -np.inf
    place, highest = 0, -np.inf
    for piece in range(cell.size):
        if cell[piece] != place:
            peak[place] = max(peak[place], highest)
            place, highest = cell[piece], -np.inf
        if values[piece] > highest:
            highest = values[piece]
    if cell.size:
        peak[place] = max(peak[place], highest)


@compiled
def bin_seconds(flags: Bools, cell: Ints, seconds: Floats, total: Floats) -> None:
    """Write how long a condition on pieces held in each bin [s].

    Parameters
    ----------
    flags, cell, seconds : shape (m,), of each piece: the condition, its bin and its length [s]
    total : shape (bins,), written
    """
    total[:] = 0.0
    place, summed_s = 0, 0.0
    for piece in range(cell.size):
        if cell[piece] != place:
            total[place] += summed_s
            place, summed_s = cell[piece], 0.0
        summed_s += seconds[piece] * flags[piece]
    if cell.size:
        total[place] += summed_s
