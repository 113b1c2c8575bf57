"""Steady rows against physics: what the collector's gain and loss are, and how a step changed them.

A row's output, as a share of its own optical gain, is predicted as

    a - b * loss / gain + c * flow / gain + d * flow * level / gain - e * filled + drift

a scales the optical gain and b the loss of the test report; c and d are what the pair of loop
sensors reads wrong, constant and by temperature [K, K/C], with the sensors' class as prior; e is
what days on which the store filled fall short by, since they end in stagnation and show the morning
alone; drift is a slow curve of the days with a season in it, for what sky, instruments and
household do besides.
From a step on the output is lower by a share `s` of what the sound collector gave, and by an extra
loss `v` [W/(m2 K) of the whole area].

Bayesian linear regression (Gauss-Newton, because s multiplies the sound output), rows weighted down
as they lie off (Student's t with few degrees of freedom). Rows of the same fortnight err alike: the
covariance is widened to that of fortnights as a whole (cluster-robust covariance, Liang & Zeger,
Biometrika 73 (1986) 13-22, from memory).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.compiled import given
from analysis.condition.steady import SteadyDays
from analysis.condition.step_kernel import try_steps
from analysis.days import DayTable
from analysis.quantiles import median_of, running
from analysis.record import Floats, Ints
from analysis.site import Site
from analysis.uncertainty import temperature_standard_uncertainty_k
from analysis.units import SECONDS_PER_DAY

# The test report is about right; the pipes, which lose about as much as the collector and are known
# less well, stand in b (engineering judgement).
_A_U, _B_U = 0.15, 0.5
_FILLED_U = 0.05
_PHYSICS = 5
# The slow curve follows nothing shorter than this, and goes so far [days, share of the gain]
# (engineering judgement: sensors of one kind agree to half a percent from month to month).
_SLOW_D = 20.0
_SEASON_FRAC = 0.008
_YEAR_D = 365.25
# What a step's size is uncertain by however long it is followed, standard uncertainties: incidence
# and sky differ before and after (engineering judgement, checked on invented plants).
_FLOOR_FRAC = 0.015
_FLOOR_LOSS_W_M2K = 0.1
# Beforehand next to nothing is known of it, standard uncertainties.
STEP_U = np.array([10.0, 100.0])
_LEAST_SCATTER = 0.006
_TAIL = 3.0
_BLOCK_D = 14
_ROUNDS, _ROUNDS_AGAIN = 6, 3
_NEIGHBOURS = 15


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Step:
    """How output and loss changed from a day on.

    Attributes
    ----------
    onset : row of the first day after it, in `Rows.day_first`
    change : shape (2,), share of the sound output lost, and extra loss [W/(m2 K)]
    covariance : shape (2, 2), of that
    """

    onset: int
    change: Floats
    covariance: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scan:
    """A step from each day on, all else alike; arrays of shape (days, ...) as in `Step`.

    `gain` is how much better the rows are explained than without a step [log-likelihood], `weight`
    the same less what two more parameters explain by chance.
    """

    change: Floats
    covariance: Floats
    gain: Floats
    weight: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """Steady rows ready for fitting.

    Attributes
    ----------
    days : the sums, `days.place` the day of each row in the table
    day_first : shape (d,), the first row of each day that has any
    out : shape (n,), output as a share of the gain [-]
    physics : shape (n, 5), regressors of a to e
    slow : shape (n, m), regressors of the slow curve
    prior, prior_u : shapes (5 + m,), of all parameters
    heat_loss : shape (n,), output that an extra loss of 1 W/(m2 K) costs [-]
    """

    days: SteadyDays
    day_first: Ints
    out: Floats
    physics: Floats
    slow: Floats
    prior: Floats
    prior_u: Floats
    heat_loss: Floats
    drift: float

    def __len__(self) -> int:
        return len(self.day_first)

    def place(self, day: int) -> int:
        """Give the row in the table of days of a day with steady rows."""
        return int(self.days.place[self.day_first[day]])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """All parameters with a step from `onset` on (or none), and what they leave."""

    step: Step | None
    parameters: Floats
    covariance: Floats
    weights: Floats
    scatter: float
    widened: float


def physics_of(days: SteadyDays) -> Floats:
    """Give the regressors of a to e for each sum; shape (n, 5)."""
    gain = np.maximum(days.gain_kwh, 1e-9)
    return np.stack(
        [
            np.ones(len(gain)),
            -days.loss_kwh / gain,
            days.spread_kwh_k / gain,
            days.level_kwh / gain,
            -days.filled,
        ],
        axis=1,
    )


def prior_of(site: Site) -> tuple[Floats, Floats]:
    """Give a to e as they are known beforehand, and their standard uncertainties."""
    ends = temperature_standard_uncertainty_k(
        temperature_class=site.sensors.temperature_class, t_c=np.array([0.0, 100.0])
    ) * np.sqrt(2.0)
    by_c = max(float(ends[1] - ends[0]) / 100.0, 1e-4)
    known = np.array([1.0, 1.0, 0.0, 0.0, 0.0])
    return known, np.array([_A_U, _B_U, float(ends[0]), by_c, _FILLED_U])


def rows_of(days: SteadyDays, table: DayTable, site: Site, *, drift: float) -> Rows:
    """Prepare steady rows.

    Parameters
    ----------
    days : rows as `steady_rows` gives them, at least one
    table : the days they are of
    site : what the test report says, and the sensors' class
    drift : standard deviation of the slow curve [share of the gain]
    """
    gain = days.gain_kwh
    prior, prior_u = prior_of(site)
    slow, slow_u = _slow_curve(table.days.edge_s[days.place] / SECONDS_PER_DAY, drift)
    return Rows(
        days=days,
        day_first=np.flatnonzero(np.diff(days.place, prepend=-1)),
        out=days.out_kwh / gain,
        physics=physics_of(days),
        slow=slow,
        prior=np.concatenate([prior, np.zeros(len(slow_u))]),
        prior_u=np.concatenate([prior_u, slow_u]),
        heat_loss=site.area_m2 * days.excess_kh / 1000.0 / gain,
        drift=drift,
    )


def _slow_curve(day: Floats, drift: float) -> tuple[Floats, Floats]:
    """Give cosines up to the shortest swing, and a season, with the standard deviations of each.

    Together they are a Gaussian process of squared-exponential covariance, cut off.
    """
    reach = max(float(day[-1] - day[0]), 60.0) + 2.0 * _SLOW_D
    # What lies beyond holds a hundredth of the whole.
    count = int(np.ceil(2.6 * reach / (np.pi * _SLOW_D)))
    rate = np.pi * np.arange(1, count + 1) / reach
    power = np.exp(-0.5 * (rate * _SLOW_D) ** 2)
    season = 2.0 * np.pi * day / _YEAR_D
    curve = np.sqrt(2.0) * np.column_stack(
        [np.cos(np.outer(day - day[0] + _SLOW_D, rate)), np.cos(season), np.sin(season)]
    )
    u = np.append(drift * np.sqrt(power / power.sum()), [_SEASON_FRAC / np.sqrt(2.0)] * 2)
    return curve, u


def first_look(rows: Rows) -> Fit:
    """Give the test report as it is, with weights by how far rows lie off their neighbours."""
    weights, scatter = _first_weights(rows)
    return Fit(
        step=None,
        parameters=rows.prior,
        covariance=np.diag(rows.prior_u**2),
        weights=weights,
        scatter=scatter,
        widened=1.0,
    )


def fit_with_step(rows: Rows, onset: int | None, *, start: Fit) -> Fit:
    """Fit everything, with a step from day `onset` on, or without one.

    Parameters
    ----------
    rows : the rows
    onset : day of `rows` from which the step holds, None for no step
    start : what to begin from; its weights must come from neighbours or from a fit with the step,
        or the rows after a step would pass for rows that lie off
    """
    weights, scatter = start.weights, start.scatter
    after = np.zeros(len(rows.out))
    if onset is not None:
        after[rows.day_first[onset] :] = 1.0
    base = rows.physics @ start.parameters[:_PHYSICS]
    lost = 0.0 if start.step is None or onset is None else float(start.step.change[0])
    wide = STEP_U if onset is not None else STEP_U[:0]
    precision = 1.0 / np.concatenate([rows.prior_u, wide]) ** 2
    mean = np.concatenate([rows.prior, np.zeros(len(wide))])
    known, told = np.diag(precision), precision * mean
    x = np.column_stack([rows.physics, rows.slow, *(-after * rows.heat_loss for _ in wide)])
    for _ in range(_ROUNDS if start.step is None else _ROUNDS_AGAIN):
        if onset is not None:
            x[:, :_PHYSICS] = rows.physics * (1.0 - lost * after)[:, None]
            x[:, -2] = -after * base
        weighted = x * (weights / scatter**2)[:, None]
        normal = known + weighted.T @ x
        fitted = np.linalg.solve(normal, told + weighted.T @ rows.out)
        if onset is not None:
            lost = min(max(lost + float(fitted[-2]), -1.0), 1.0)
        base = rows.physics @ fitted[:_PHYSICS]
        left = rows.out - x @ fitted
        used = (weights, scatter)
        scatter = max(1.4826 * median_of(np.abs(left)), _LEAST_SCATTER)
        weights = 1.0 / (1.0 + (left / (_TAIL * scatter)) ** 2)
    covariance = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    widened = _widened(rows, x, left * used[0] / used[1] ** 2, covariance, onset is not None)
    step = None
    if onset is not None:
        change = np.array([lost, fitted[-1]])
        step = Step(
            onset=onset,
            change=change,
            covariance=covariance[-2:, -2:] * widened + _floor(rows.drift),
        )
    return Fit(
        step=step,
        parameters=fitted[: len(rows.prior)],
        covariance=covariance[: len(rows.prior), : len(rows.prior)] * widened,
        weights=weights,
        scatter=scatter,
        widened=widened,
    )


def _floor(drift: float) -> Floats:
    """Give the covariance of a step that no number of days takes away; shape (2, 2)."""
    return np.diag([max(_FLOOR_FRAC, 1.5 * drift) ** 2, _FLOOR_LOSS_W_M2K**2])


def _first_weights(rows: Rows) -> tuple[Floats, float]:
    off = rows.out - rows.physics @ rows.prior[:_PHYSICS]
    off = off - rolling_median(off, _NEIGHBOURS)
    scatter = max(1.4826 * median_of(np.abs(off)), _LEAST_SCATTER)
    return 1.0 / (1.0 + (off / (_TAIL * scatter)) ** 2), scatter


def rolling_median(values: Floats, width: int) -> Floats:
    """Give the median of the neighbours on both sides."""
    half = width // 2
    if len(values) <= half:
        return values * 0.0 + np.median(values) if len(values) else values
    # As in a mirror at both ends.
    mirrored = np.concatenate([values[half:0:-1], values, values[-2 : -half - 2 : -1]])
    return running(mirrored, 0.5, width)[half:-half]


def _widened(rows: Rows, x: Floats, score: Floats, covariance: Floats, stepped: bool) -> float:
    """Give how much larger variances are when the rows of a fortnight err alike; at least 1."""
    block = rows.days.place // _BLOCK_D
    begins = np.flatnonzero(np.diff(block, prepend=-1))
    few = len(begins) / max(len(begins) - 6, 1)
    judged: NDArray[np.int64] = np.array([-2, -1] if stepped else [0, 1])
    sums = np.add.reduceat(x @ covariance[:, judged] * score[:, None], begins, axis=0)
    spread = np.square(sums).sum(axis=0) / covariance[judged, judged]
    return max(1.0, few * float(spread.max()))


def scan(rows: Rows, fit: Fit) -> Scan:
    """Try a step from every day on, each beside all other parameters.

    Linear about the sound output of `fit`, with its weights and scatter, so that one pass of sums
    from each day to the last serves all days.
    """
    x = np.column_stack([rows.physics, rows.slow])
    weights = fit.weights / fit.scatter**2
    base = np.maximum(rows.physics @ fit.parameters[:_PHYSICS], 0.05)
    step = -np.column_stack([base, rows.heat_loss])
    precision = 1.0 / rows.prior_u**2
    heavy = (x * weights[:, None]).T
    normal = np.diag(precision) + heavy @ x
    fitted = np.linalg.solve(normal, precision * rows.prior + heavy @ rows.out)
    left = rows.out - x @ fitted
    turned = x @ np.linalg.inv(np.linalg.cholesky(normal)).T
    days = len(rows)
    seen = Scan(
        change=np.empty((days, 2)),
        covariance=np.empty((days, 2, 2)),
        gain=np.empty(days),
        weight=np.empty(days),
    )
    try_steps(
        given(step),
        given(weights),
        given(left),
        given(turned),
        given(rows.day_first),
        given(STEP_U**-2.0),
        fit.widened,
        np.empty((2, x.shape[1])),
        seen.change,
        seen.covariance,
        seen.gain,
        seen.weight,
    )
    seen.covariance[:] += _floor(rows.drift)
    return seen
