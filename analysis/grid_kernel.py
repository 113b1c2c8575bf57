"""The compiled loops of `analysis.grid`: rows laid onto bins, and means of rows over bins."""

import numpy as np

from analysis.compiled import compiled
from analysis.record import Bools, Floats, Ints

# A row this much longer than a bin still counts as one piece.
_SLACK_FRAC = 0.01


@compiled
def lay_rows(
    start_s: Ints, step_s: Floats, edge_s: Ints, bins: int, bin_s: int
) -> tuple[Ints, Ints, Ints, Floats]:
    """Cut rows into pieces no longer than a bin; each falls into the bin that its middle is in.

    Parameters
    ----------
    start_s, step_s : shape (n,), of each row
    edge_s : shape (days + 1,), the local midnights
    bins, bin_s : how many bins a day has, and how long each is [s]

    Returns
    -------
    the day that each row's middle falls in, -1 outside all days, which gives it no piece; row, flat
    bin and length [s] of each piece
    """
    day = np.empty(start_s.size, dtype=np.int64)
    parts = np.zeros(start_s.size, dtype=np.int64)
    at = 0
    for number in range(start_s.size):
        middle_s = start_s[number] + int(step_s[number] / 2.0)
        while at > 0 and middle_s < edge_s[at]:
            at -= 1
        while at < edge_s.size - 2 and middle_s >= edge_s[at + 1]:
            at += 1
        inside = edge_s[at] <= middle_s < edge_s[at + 1]
        day[number] = at if inside else -1
        if inside:
            parts[number] = max(int(np.ceil(step_s[number] / bin_s - _SLACK_FRAC)), 1)
    count = parts.sum()
    row, cell, seconds = (
        np.empty(count, dtype=np.int64),
        np.empty(count, dtype=np.int64),
        np.empty(count, dtype=np.float64),
    )
    piece = 0
    for number in range(start_s.size):
        for part in range(parts[number]):
            length_s = step_s[number] / parts[number]
            along_s = start_s[number] + (part + 0.5) * length_s - edge_s[day[number]]
            place = min(max(int(np.floor(along_s / bin_s)), 0), bins - 1)
            row[piece], seconds[piece] = number, length_s
            cell[piece] = day[number] * bins + place
            piece += 1
    return day, row, cell, seconds


@compiled
def bin_means(
    values: Floats, flags: Bools, row: Ints, cell: Ints, seconds: Floats, mean: Floats
) -> None:
    """Write the mean over the known and flagged part of each bin, NaN where there is none.

    Parameters
    ----------
    values, flags : shape (n,), of each row
    row, cell, seconds : shape (m,), which row each piece is of, its bin and its length [s]
    mean : shape (bins,), written
    """
    known_s = np.zeros(mean.size)
    mean[:] = 0.0
    # Summed beside the arrays while pieces fall into one bin: several times as fast.
    place, summed, summed_s = 0, 0.0, 0.0
    for piece in range(row.size):
        if cell[piece] != place:
            mean[place] += summed
            known_s[place] += summed_s
            place, summed, summed_s = cell[piece], 0.0, 0.0
        value = values[row[piece]]
        if flags[row[piece]] and np.isfinite(value):
            summed += value * seconds[piece]
            summed_s += seconds[piece]
    if row.size:
        mean[place] += summed
        known_s[place] += summed_s
    for place in range(mean.size):
        mean[place] = mean[place] / known_s[place] if known_s[place] > 0.0 else np.nan
