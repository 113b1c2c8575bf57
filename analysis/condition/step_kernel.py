"""The compiled loop of `analysis.condition.regression`: a step from each day on."""

import numpy as np

from analysis.compiled import compiled
from analysis.record import Floats, Ints


@compiled
def try_steps(
    step: Floats,
    weights: Floats,
    left: Floats,
    known: Floats,
    day_first: Ints,
    precision: Floats,
    widened: float,
    shared: Floats,
    change: Floats,
    covariance: Floats,
    gain: Floats,
    weight: Floats,
) -> None:
    """Write the likeliest step from each day on, all other parameters fitted beside it.

    Parameters
    ----------
    step : shape (n, 2), what a step of one unit adds to each row
    weights, left : shape (n,), of each row, and what it is off by without a step
    known : shape (n, m), the other regressors, so turned that their covariance is the unit matrix
    day_first : shape (days,), the first row of each day
    precision : shape (2,), how well the step is known beforehand to be nought
    widened : how much larger variances are than single rows make them
    shared : shape (2, m), room for what the step shares with the others
    change, covariance, gain, weight : shapes (days, 2), (days, 2, 2) and (days,) both, written: as
        in `Scan`
    """
    shared[:] = 0.0
    aa, ab, bb = precision[0], 0.0, precision[1]
    a_left, b_left = 0.0, 0.0
    row = step.shape[0]
    for day in range(day_first.shape[0] - 1, -1, -1):
        while row > day_first[day]:
            row -= 1
            a, b = weights[row] * step[row, 0], weights[row] * step[row, 1]
            aa, ab, bb = aa + a * step[row, 0], ab + a * step[row, 1], bb + b * step[row, 1]
            a_left, b_left = a_left + a * left[row], b_left + b * left[row]
            for one in range(known.shape[1]):
                shared[0, one] += a * known[row, one]
                shared[1, one] += b * known[row, one]
        # What the others explain as well is no sign of a step.
        own_aa, own_ab, own_bb = aa, ab, bb
        for one in range(known.shape[1]):
            own_aa -= shared[0, one] ** 2
            own_ab -= shared[0, one] * shared[1, one]
            own_bb -= shared[1, one] ** 2
        size = own_aa * own_bb - own_ab**2
        covariance[day, 0, 0] = own_bb / size * widened
        covariance[day, 0, 1] = covariance[day, 1, 0] = -own_ab / size * widened
        covariance[day, 1, 1] = own_aa / size * widened
        change[day, 0] = (own_bb * a_left - own_ab * b_left) / size
        change[day, 1] = (own_aa * b_left - own_ab * a_left) / size
        gain[day] = 0.5 * (change[day, 0] * a_left + change[day, 1] * b_left) / widened
        weight[day] = gain[day] + 0.5 * np.log(widened**2 / size)
