"""Sums over flagged bins of each day and over sets of days, by compiled loops.

Nothing is laid aside between.
"""

from collections.abc import Sequence

import numpy as np

from analysis.compiled import compiled, given
from analysis.record import Bools, Floats, Ints


def counted(flags: Bools) -> Ints:
    """Count the flagged bins of each day; shape (days,) of (days, bins)."""
    number = np.empty(flags.shape[0], dtype=np.int64)
    _count(given(flags), number)
    return number


def summed(values: Floats, flags: Bools) -> Floats:
    """Sum the values of each day's flagged bins, NaN where one of them is; shape (days,)."""
    total = np.empty(flags.shape[0])
    _sum(given(values), given(flags), total)
    return total


def mean_of(values: Floats, flags: Bools) -> Floats:
    """Give the mean of what is known in each day's flagged bins; shape (days,), NaN of none."""
    mean = np.empty(flags.shape[0])
    _mean(given(values), given(flags), mean)
    return mean


def sums_over(days: Ints, figures: Floats | Sequence[Floats | Bools]) -> Floats:
    """Give sums of figures of days over sets of them, unknown as nothing; shape (figures, sets).

    Parameters
    ----------
    days : shape (sets, days of a set), which days; -1 for none
    figures : of each day, shape (days,)

    Raises
    ------
    IndexError : one of these days is none of the figures'
    """
    # A day's figures side by side: all are added at once.
    of_days = given(np.asarray(figures, dtype=np.float64).T)
    found = np.zeros((len(days), len(figures)))
    if not _sum_sets(of_days, given(days), found):
        raise IndexError(f"day {int(days.max())} of {len(of_days)}")
    return found.T


@compiled
def _count(flags: Bools, number: Ints) -> None:
    for day in range(flags.shape[0]):
        count = 0
        for place in range(flags.shape[1]):
            count += flags[day, place]
        number[day] = count


@compiled
def _sum(values: Floats, flags: Bools, total: Floats) -> None:
    for day in range(flags.shape[0]):
        sum_of_day = 0.0
        for place in range(flags.shape[1]):
            if flags[day, place]:
                sum_of_day += values[day, place]
        total[day] = sum_of_day


@compiled
def _mean(values: Floats, flags: Bools, mean: Floats) -> None:
    for day in range(flags.shape[0]):
        total, count = 0.0, 0
        for place in range(flags.shape[1]):
            if flags[day, place] and np.isfinite(values[day, place]):
                total += values[day, place]
                count += 1
        mean[day] = total / count if count else np.nan


@compiled
def _sum_sets(of_days: Floats, days: Ints, found: Floats) -> bool:
    """Add up the figures of each set's days; False where one of these days is none of theirs."""
    for row in range(days.shape[0]):
        for place in range(days.shape[1]):
            day = days[row, place]
            if day >= of_days.shape[0]:
                return False
            if day >= 0:
                for number in range(of_days.shape[1]):
                    value = of_days[day, number]
                    found[row, number] += 0.0 if np.isnan(value) else value
    return True
