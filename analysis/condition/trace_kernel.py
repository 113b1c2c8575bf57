"""The compiled loop of `analysis.condition.trace`: the likeliest step before each of some days."""

import numpy as np

from analysis.compiled import compiled, step
from analysis.record import Floats, Ints


@step
def _factored(matrix: Floats, factor: Floats) -> None:
    """Write the lower factor of a symmetric matrix (Cholesky)."""
    for row in range(matrix.shape[0]):
        for column in range(row + 1):
            left = matrix[row, column]
            for one in range(column):
                left -= factor[row, one] * factor[column, one]
            factor[row, column] = np.sqrt(left) if row == column else left / factor[column, column]


@step
def _forward(factor: Floats, values: Floats, solved: Floats) -> None:
    for row in range(factor.shape[0]):
        left = values[row]
        for one in range(row):
            left -= factor[row, one] * solved[one]
        solved[row] = left / factor[row, row]


@step
def _backward(factor: Floats, solved: Floats) -> None:
    for row in range(factor.shape[0] - 1, -1, -1):
        for one in range(row + 1, factor.shape[0]):
            solved[row] -= factor[one, row] * solved[one]
        solved[row] /= factor[row, row]


@compiled
def follow_steps(
    rows: Floats,
    out: Floats,
    scatter: float,
    prior: Floats,
    precision: Floats,
    last: Ints,
    reach: int,
    least: int,
    matrices: Floats,
    vectors: Floats,
    onset: Ints,
    frac: Floats,
    u_frac: Floats,
    sound: Floats,
) -> None:
    """Write the likeliest step before each of some days, the parameters fitted beside it.

    Parameters
    ----------
    rows, out, scatter : shapes (n, p) and (n,), and a number, as in `Trace`
    prior, precision : shape (p,), what is known beforehand, and how well
    last : shape (k,), rising: of each the first day that is not known yet
    reach, least : as in `Trace.steps`
    matrices, vectors : shapes (2, p, p) and (5, p), room to work in
    onset, frac, u_frac, sound : shapes (k,), the last (k, p), written: as in `Steps`
    """
    normal, factor = matrices[0], matrices[1]
    right, level, after, shared, kept = vectors[0], vectors[1], vectors[2], vectors[3], vectors[4]
    count = rows.shape[1]
    normal[:], level[:] = 0.0, 0.0
    for one in range(count):
        normal[one, one] = scatter**2 * precision[one]
        right[one] = normal[one, one] * prior[one]
    day = 0
    for number in range(last.shape[0]):
        while day < last[number]:
            for one in range(count):
                right[one] += rows[day, one] * out[day]
                level[one] += rows[day, one]
                for other in range(one + 1):
                    normal[one, other] += rows[day, one] * rows[day, other]
            day += 1
        _factored(normal, factor)
        _forward(factor, right, sound[number])
        after[:], pull, best = 0.0, 0.0, np.inf
        for first in range(day - 1, max(day - reach, least) - 1, -1):
            pull += out[first]
            for one in range(count):
                after[one] += rows[first, one]
            if day - first < least:
                continue
            # The step is what is left of its column once the parameters have had their part.
            _forward(factor, after, shared)
            left, pulled = day - first + 0.0, pull
            for one in range(count):
                left -= shared[one] ** 2
                pulled -= shared[one] * sound[number, one]
            if pulled / np.sqrt(left) <= best:
                best = pulled / np.sqrt(left)
                onset[number], frac[number], u_frac[number] = first, pulled / left, left
                for one in range(count):
                    kept[one] = shared[one]
        usual = 0.0
        for one in range(count):
            sound[number, one] -= kept[one] * frac[number]
        _backward(factor, sound[number])
        for one in range(count):
            usual += level[one] * sound[number, one] / day
        frac[number] /= -usual
        u_frac[number] = scatter / np.sqrt(u_frac[number]) / usual
