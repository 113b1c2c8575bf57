"""The collector's condition: steady hours against the test report, day by day.

Within steady bins the collector's output is heat into the store plus what pipes lost and loop and
collectors took up. Summed over a day it is predicted as `a * gain - b * loss - c * hours`: a scales
the optical gain, b the loss, c takes what is lost whatever the sun does. On sound months a, b and c
absorb the constant errors of the sensors; what drops afterwards is the collector.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.case import Case
from analysis.collector import eta0_hemispherical
from analysis.days import DayTable
from analysis.record import Bools, Floats
from analysis.results import Bounded, Condition
from analysis.site import Site
from analysis.uncertainty import COVERAGE_95
from analysis.units import SECONDS_PER_HOUR, kwh_from_j

# A tube that lost its vacuum, loss at its own area [W/(m2 K)] (invented, of the right size).
LOSS_WITHOUT_VACUUM_W_M2K = 6.0

_BRIGHT_FRAC = 0.25
_LEAST_STEADY_H = 0.5
# Priors of a, b and c (as a share of the brightest output): the test report is about right.
_PRIOR = np.array([1.0, 1.0, 0.0])
_PRIOR_U = np.array([0.15, 0.5, 0.03])
_DAY_SCATTER = 0.03


def steady_columns(case: Case) -> dict[str, Floats]:
    """Give the sums over each day's steady bins; arrays of shape (days,).

    `steady_h` hours; `steady_out_kwh` collector output; `steady_gain_kwh`, `steady_loss_kwh` as the
    test report predicts; `steady_kh` mean fluid over air, times hours.
    """
    steady = _steady(case)
    loop, expected = case.loop, case.expected
    excess = loop.t_mean_c - loop.t_ambient_c
    out = loop.heat_w + expected.pipe_w + expected.stored_w
    seconds = np.where(steady, loop.known_s, 0.0)
    return {
        "steady_h": seconds.sum(axis=1) / SECONDS_PER_HOUR,
        "steady_out_kwh": _sum_kwh(out, seconds),
        "steady_gain_kwh": _sum_kwh(expected.gain_w, seconds),
        "steady_loss_kwh": _sum_kwh(expected.loss_w, seconds),
        "steady_kh": np.where(steady, np.nan_to_num(excess) * seconds, 0.0).sum(axis=1)
        / SECONDS_PER_HOUR,
    }


def _sum_kwh(power_w: Floats, seconds: Floats) -> Floats:
    return kwh_from_j((np.nan_to_num(power_w) * seconds).sum(axis=1))


def _steady(case: Case) -> Bools:
    """Tell bins in which the loop ran through, before and after, in good sun."""
    moving = case.loop.moving_frac > 0.9
    steady = moving.copy()
    steady[:, 1:] &= moving[:, :-1]
    steady[:, :-1] &= moving[:, 1:]
    bright = case.sky.gain_w > _BRIGHT_FRAC * case.model.brightest_w
    known = np.isfinite(case.loop.heat_w) & np.isfinite(case.expected.power_w)
    return np.asarray(steady & bright & known & case.expected.carried)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SteadyDays:
    """Days with enough steady sun; arrays of shape (m,), `place` their rows in the table."""

    place: NDArray[np.int64]
    hours: Floats
    out_kwh: Floats
    gain_kwh: Floats
    loss_kwh: Floats
    excess_kh: Floats


def steady_days(table: DayTable, *, sunny_kwh_m2: float) -> SteadyDays:
    """Pick the sunny days with enough steady hours."""
    hours = np.nan_to_num(table.column("steady_h"))
    sunny = table.column("irradiation_kwh_m2") >= sunny_kwh_m2
    place = np.flatnonzero((hours >= _LEAST_STEADY_H) & sunny)
    return SteadyDays(
        place=place,
        hours=hours[place],
        out_kwh=table.column("steady_out_kwh")[place],
        gain_kwh=table.column("steady_gain_kwh")[place],
        loss_kwh=table.column("steady_loss_kwh")[place],
        excess_kh=table.column("steady_kh")[place],
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Baseline:
    """The plant's own sound behaviour: coefficients, their covariance and the daily scatter."""

    coefficients: Floats
    covariance: Floats
    scatter_frac: float
    brightest_kw: float

    def predicted_kwh(self, days: SteadyDays) -> Floats:
        """Give the output that the sound plant would have had [kWh]."""
        return np.asarray(_matrix(days, self.brightest_kw) @ self.coefficients)

    def residual_frac(self, days: SteadyDays) -> Floats:
        """Give output over prediction less one, per day."""
        predicted = self.predicted_kwh(days)
        return np.asarray((days.out_kwh - predicted) / predicted)

    def drop(self, days: SteadyDays, first: int, last: int) -> tuple[float, float]:
        """Give how far days `first` to `last` lie below the baseline, and the standard uncertainty."""
        predicted = self.predicted_kwh(days)[first:last]
        weight = predicted / predicted.sum()
        drop = 1.0 - float(days.out_kwh[first:last].sum() / predicted.sum())
        direction = _matrix(days, self.brightest_kw)[first:last].sum(axis=0) / predicted.sum()
        u_fit = float(np.sqrt(direction @ self.covariance @ direction))
        u_days = self.scatter_frac * float(np.sqrt((weight**2).sum()))
        return drop, float(np.hypot(u_fit, u_days))


def _matrix(days: SteadyDays, brightest_kw: float) -> Floats:
    return np.stack([days.gain_kwh, -days.loss_kwh, -brightest_kw * days.hours], axis=1)


def fit_baseline(days: SteadyDays, first: int, last: int, *, site: Site) -> Baseline:
    """Fit a, b and c to days `first` to `last`, the test report as prior, outliers cut back.

    Bayesian linear regression with relative scatter; one round of Huber weights keeps days with
    broken cloud from pulling the fit.
    """
    brightest_kw = (
        sum(array.area_m2 * eta0_hemispherical(array) * 1000.0 for array in site.arrays) / 1000.0
    )
    matrix = _matrix(days, brightest_kw)[first:last]
    out = days.out_kwh[first:last]
    size = np.maximum(days.gain_kwh[first:last], 1e-6)
    prior = np.diag(1.0 / _PRIOR_U**2)
    weight = np.ones(len(out))
    scatter = _DAY_SCATTER
    for _ in range(3):
        scaled = matrix / size[:, None] * weight[:, None] / scatter
        target = out / size * weight / scatter
        precision = prior + scaled.T @ scaled
        covariance = np.linalg.inv(precision)
        coefficients = covariance @ (prior @ _PRIOR + scaled.T @ target)
        residual = (out - matrix @ coefficients) / size
        spread = 1.4826 * float(np.median(np.abs(residual - np.median(residual))))
        scatter = max(spread, 0.008)
        weight = np.sqrt(np.minimum(1.0, 2.0 * scatter / np.maximum(np.abs(residual), 1e-9)))
    return Baseline(
        coefficients=coefficients,
        covariance=covariance,
        scatter_frac=float(max(np.std(residual), scatter)),
        brightest_kw=brightest_kw,
    )


def tubes_lost(
    days: SteadyDays, baseline: Baseline, first: int, last: int, *, site: Site
) -> tuple[float, float] | None:
    """Give how many tubes the drop would be if missing, and if without vacuum."""
    tubes = site.tubes
    if not tubes:
        return None
    predicted = baseline.predicted_kwh(days)[first:last]
    gap_kwh = float(predicted.sum() - days.out_kwh[first:last].sum())
    missing = tubes * gap_kwh / float(predicted.sum())
    a1 = sum(array.a1_w_m2k * array.area_m2 for array in site.arrays) / site.area_m2
    extra_w_k = (LOSS_WITHOUT_VACUUM_W_M2K - a1) * site.area_m2 / tubes
    each_kwh = extra_w_k * float(days.excess_kh[first:last].sum()) / 1000.0
    without = gap_kwh / each_kwh if each_kwh > 0.0 else float("nan")
    few, many = sorted((missing, without))
    return max(few, 0.0), min(max(many, 0.0), float(tubes))


def condition_of(table: DayTable, site: Site, *, lost: Bounded | None) -> Condition | None:
    """Give eta0 and a1 as the last 60 steady days show them, and how many tubes work.

    Parameters
    ----------
    lost : tubes lost as degraded tubes were judged (value, fewest, most), or None if not judged
    """
    days = steady_days(table, sunny_kwh_m2=0.0)
    if len(days.place) < 15:
        return None
    first = max(len(days.place) - 60, 0)
    fit = fit_baseline(days, first, len(days.place), site=site)
    u = np.sqrt(np.diag(fit.covariance))
    sensors = site.sensors
    # Constant errors of flow and sun go into a one to one; the pair's error into a and c.
    u_scale = np.hypot(sensors.flow_percent, sensors.irradiance_percent) / 100.0 / COVERAGE_95
    eta0 = sum(eta0_hemispherical(array) * array.area_m2 for array in site.arrays) / site.area_m2
    a1 = sum(array.a1_w_m2k * array.area_m2 for array in site.arrays) / site.area_m2
    tubes = None
    if site.tubes and lost is not None:
        tubes = Bounded(
            value=site.tubes - lost.value,
            low=max(site.tubes - lost.high, 0.0),
            high=float(site.tubes) - lost.low,
        )
    return Condition(
        tubes_working=tubes,
        eta0=_around(eta0 * fit.coefficients[0], eta0 * float(np.hypot(u[0], u_scale))),
        a1_w_m2k=_around(a1 * fit.coefficients[1], a1 * float(np.hypot(u[1], u_scale))),
        as_of=table.days.dates[int(days.place[-1])],
    )


def _around(value: float, u: float) -> Bounded:
    reach = COVERAGE_95 * u
    return Bounded(value=float(value), low=float(max(value - reach, 0.0)), high=float(value + reach))
