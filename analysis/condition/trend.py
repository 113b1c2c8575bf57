"""A slow change of the output, steps apart: ageing, growing dirt, an instrument that creeps."""

import numpy as np

from analysis.condition.regression import STEP_U, Fit, Rows
from analysis.days import DayTable
from analysis.results import Bounded
from analysis.uncertainty import COVERAGE_95
from analysis.units import SECONDS_PER_DAY

# Below this a season passes for a trend [days].
_LEAST_SPAN_D = 400.0
_YEAR_D = 365.25


def trend_of(rows: Rows, fit: Fit, table: DayTable) -> Bounded | None:
    """Give the trend of the output [% a year], None where the days span too little.

    Fitted beside everything else, the slow curve with its season included, so that what these can
    account for widens the bounds.
    """
    day = table.days.edge_s[rows.days.place] / SECONDS_PER_DAY
    if day[-1] - day[0] < _LEAST_SPAN_D:
        return None
    base = rows.physics @ fit.parameters[: rows.physics.shape[1]]
    lost, after = 0.0, np.zeros(len(rows.out))
    step: list[np.ndarray] = []
    if fit.step is not None:
        after[rows.day_first[fit.step.onset] :] = 1.0
        lost = float(fit.step.change[0])
        step = [-after * base, -after * rows.heat_loss]
    years = (day - day.mean()) / _YEAR_D
    x = np.column_stack(
        [rows.physics * (1.0 - lost * after)[:, None], rows.slow, *step, years * base]
    )
    precision = 1.0 / np.concatenate([rows.prior_u, STEP_U[: len(step)], [1.0]]) ** 2
    mean = np.concatenate([rows.prior, np.zeros(len(step) + 1)])
    weighted = x * (fit.weights / fit.scatter**2)[:, None]
    covariance = np.linalg.inv(np.diag(precision) + weighted.T @ x)
    value = 100.0 * float((covariance @ (precision * mean + weighted.T @ rows.out))[-1])
    reach = 100.0 * COVERAGE_95 * float(np.sqrt(covariance[-1, -1] * fit.widened))
    return Bounded(value=value, low=value - reach, high=value + reach)
