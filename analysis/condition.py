"""The collector's condition: steady hours against the test report, day by day.

Within steady bins the collector's output is heat into the store plus what pipes lost and loop and
collectors took up. Summed over a day it is predicted as `a * gain - b * loss - c * hours`: a scales
the optical gain, b the loss, c takes what is lost whatever the sun does. On sound months a, b and c
absorb the constant errors of the sensors; what drops afterwards is the collector.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.case import Case
from analysis.collector import eta0_hemispherical
from analysis.day_figures import usual_sun
from analysis.days import DayTable
from analysis.record import Bools, Floats
from analysis.results import Bounded, Condition
from analysis.runs import long_runs
from analysis.site import Site
from analysis.uncertainty import COVERAGE_95
from analysis.units import SECONDS_PER_HOUR, kwh_from_j

# A tube that lost its vacuum, loss at its own area [W/(m2 K)] (invented, of the right size).
LOSS_WITHOUT_VACUUM_W_M2K = 6.0
# It may be 4 or 8 as well, so the number of tubes is known within this (engineering judgement).
LOSS_SPREAD_FRAC = 0.6
# Tubes that may have lost their vacuum without a drop that is reported: 4 % of the output is about
# four in twenty.
UNSEEN_FRAC = 0.2

_BRIGHT_FRAC = 0.25
_LEAST_STEADY_H = 0.5
# Shorter stretches are warming and cooling for the most part (judgement).
_LEAST_STRETCH_BINS = 8
# What the steady hours are worked out from.
_READ = frozenset(
    {
        "collector",
        "loop_hot",
        "loop_cold",
        "flow",
        "ambient",
        "irradiance_plane",
        "irradiance_horizontal",
    }
)
# Priors of a, b and c (as a share of the brightest output): the test report is about right.
_PRIOR = np.array([1.0, 1.0, 0.0])
_PRIOR_U = np.array([0.15, 0.3, 0.03])
_LEAST_SCATTER = 0.008
# Standard uncertainties of what the fit cannot see (engineering judgement): the sky's split and the
# modifiers in eta0, pipe losses in a1.
MODEL_FRAC = 0.03
PIPE_ALIAS_FRAC = 0.45


def steady_columns(case: Case) -> dict[str, Floats]:
    """Give the sums over each day's steady bins; arrays of shape (days,).

    `steady_h` hours; `steady_out_kwh` collector output, `steady_per_k_kwh` what a kelvin between
    the pipe sensors makes of it; `steady_gain_kwh`, `steady_loss_kwh` as the test report predicts;
    `steady_kh` mean fluid over air, times hours.
    """
    steady = _steady(case)
    loop, expected = case.loop, case.expected
    excess = loop.t_mean_c - loop.t_ambient_c
    out = loop.heat_w + expected.pipe_w + expected.stored_w
    seconds = np.where(steady, loop.known_s, 0.0)
    return {
        "steady_h": seconds.sum(axis=1) / SECONDS_PER_HOUR,
        "steady_out_kwh": _sum_kwh(out, seconds),
        "steady_per_k_kwh": _sum_kwh(loop.per_k_w_k, seconds),
        "steady_gain_kwh": _sum_kwh(expected.gain_w, seconds),
        "steady_loss_kwh": _sum_kwh(expected.loss_w, seconds),
        "steady_kh": np.where(steady, np.nan_to_num(excess) * seconds, 0.0).sum(axis=1)
        / SECONDS_PER_HOUR,
    }


def _sum_kwh(power_w: Floats, seconds: Floats) -> Floats:
    return kwh_from_j((np.nan_to_num(power_w) * seconds).sum(axis=1))


def _steady(case: Case) -> Bools:
    """Tell bins of stretches in which the loop ran through, in good sun on the whole.

    Whole stretches, dull bins between clouds included: bright bins alone would leave out what the
    collectors give back of the heat that they took up in them.
    """
    moving = case.loop.moving_frac > 0.9
    through = moving.copy()
    through[:, 1:] &= moving[:, :-1]
    through[:, :-1] &= moving[:, 1:]
    known = np.isfinite(case.loop.heat_w) & np.isfinite(case.expected.power_w)
    through &= known & case.expected.carried
    through = long_runs(through, _LEAST_STRETCH_BINS)
    # Number the stretches: a new one begins where the bin before it is outside.
    begins = through.copy()
    begins[:, 1:] &= ~through[:, :-1]
    number = np.cumsum(begins.ravel())[through.ravel()]
    gain = np.bincount(number, weights=case.sky.gain_w[through]) / np.maximum(
        np.bincount(number), 1
    )
    steady = np.zeros(through.shape, dtype=np.bool_)
    steady[through] = gain[number] > _BRIGHT_FRAC * case.model.brightest_w
    return steady


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
    """Pick the sunny days with enough steady hours on which loop and sensors were in order."""
    hours = np.nan_to_num(table.column("steady_h"))
    sunny = table.column("irradiation_kwh_m2") >= sunny_kwh_m2
    # Each source of sun is off in its own way: one alone can be followed over time.
    usual = usual_sun(table)
    if usual is not None:
        sunny &= table.column("sky_source") == usual
    doubtful = {item.date for item in table.of_kind("lost_circulation")}
    doubtful |= {item.date for item in table.of_kind("sensor_fault") if item.channel in _READ}
    sound = np.array([date not in doubtful for date in table.days.dates], dtype=np.bool_)
    place = np.flatnonzero((hours >= _LEAST_STEADY_H) & sunny & sound)
    return SteadyDays(
        place=place,
        hours=hours[place],
        out_kwh=table.column("steady_out_kwh")[place],
        gain_kwh=table.column("steady_gain_kwh")[place],
        loss_kwh=table.column("steady_loss_kwh")[place],
        excess_kh=table.column("steady_kh")[place],
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drop:
    """A lasting step in the output, in shares of the sound output.

    `onset` is the first steady day after it, `seen` one past the day on which it was certain;
    `sound` are a, b and c of the plant before it.
    """

    onset: int
    seen: int
    frac: float
    u_frac: float
    sound: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """Steady days as shares of their own optical gain, outlying days left aside.

    `rows` are the regressors (1, -loss, -hours), `out` the output; `scatter` the standard
    deviation from day to day, worked out from neighbours so that slow change does not count.
    """

    days: SteadyDays
    rows: Floats
    out: Floats
    scatter: float
    brightest_kw: float

    def without(self, first: int, last: int) -> "Trace":
        """Give the trace without days `first` to `last` (excluded)."""
        gone = slice(first, last)
        kept = {name: np.delete(getattr(self.days, name), gone) for name in SteadyDays.__slots__}
        return replace(
            self,
            days=SteadyDays(**kept),
            rows=np.delete(self.rows, gone, axis=0),
            out=np.delete(self.out, gone),
        )

    def sound(self, first: int, last: int) -> tuple[Floats, Floats]:
        """Fit a, b and c to days `first` to `last`; give them and their covariance.

        Bayesian linear regression with the test report as prior.
        """
        rows, out = self.rows[first:last] / self.scatter, self.out[first:last] / self.scatter
        prior = np.diag(1.0 / _PRIOR_U**2)
        covariance = np.linalg.inv(prior + rows.T @ rows)
        fitted = covariance @ (prior @ _PRIOR + rows.T @ out)
        return np.asarray(fitted, dtype=np.float64), np.asarray(covariance, dtype=np.float64)

    def drop(self, sound: Floats, first: int, last: int) -> float:
        """Give how far days lie below what the sound plant would have given."""
        predicted = (self.rows[first:last] @ sound) * self.days.gain_kwh[first:last]
        out = self.out[first:last] * self.days.gain_kwh[first:last]
        return 1.0 - float(out.sum() / predicted.sum())

    def latest_step(self, first: int, last: int, *, reach: int, least: int) -> Drop:
        """Give the likeliest step among the last `reach` days before `last`.

        a, b and c are fitted to all days together with the step, so a season that the test report
        describes badly is not taken for one.
        """
        rows, out = self.rows[first:last] / self.scatter, self.out[first:last] / self.scatter
        size = rows.shape[0]
        onsets = np.arange(max(size - reach, least), size - least + 1)
        step = (np.arange(size)[None, :] >= onsets[:, None]) / self.scatter
        full = np.empty((len(onsets), 4, 4))
        full[:, :3, :3] = np.diag(1.0 / _PRIOR_U**2) + rows.T @ rows
        cross = step @ rows
        full[:, :3, 3], full[:, 3, :3] = cross, cross
        full[:, 3, 3] = (step**2).sum(axis=1)
        right = np.empty((len(onsets), 4))
        right[:, :3] = np.diag(1.0 / _PRIOR_U**2) @ _PRIOR + rows.T @ out
        right[:, 3] = step @ out
        covariance = np.linalg.inv(full)
        fitted = np.einsum("nij,nj->ni", covariance, right)
        u = np.sqrt(covariance[:, 3, 3])
        best = int(np.argmin(fitted[:, 3] / u))
        level = float(np.mean(self.rows[first:last] @ fitted[best, :3]))
        return Drop(
            onset=first + int(onsets[best]),
            seen=last,
            frac=-float(fitted[best, 3]) / level,
            u_frac=float(u[best]) / level,
            sound=fitted[best, :3],
        )


def trace_of(days: SteadyDays, site: Site) -> Trace:
    """Prepare steady days for fitting; days far off their neighbours are left aside."""
    brightest_kw = (
        sum(array.area_m2 * eta0_hemispherical(array) * 1000.0 for array in site.arrays) / 1000.0
    )
    size = np.maximum(days.gain_kwh, 1e-9)
    rows = np.stack(
        [np.ones(len(size)), -days.loss_kwh / size, -brightest_kw * days.hours / size], axis=1
    )
    out = days.out_kwh / size
    off = out - _rolling_median(out - rows @ _PRIOR, 11) - rows @ _PRIOR
    scatter = max(1.4826 * float(np.median(np.abs(off))) if len(off) else 0.0, _LEAST_SCATTER)
    kept = np.abs(off) <= 4.0 * scatter
    return Trace(
        days=SteadyDays(**{name: getattr(days, name)[kept] for name in SteadyDays.__slots__}),
        rows=rows[kept],
        out=out[kept],
        scatter=scatter,
        brightest_kw=brightest_kw,
    )


def _rolling_median(values: Floats, width: int) -> Floats:
    """Give the median of the neighbours on both sides; the ends use what there is."""
    if len(values) == 0:
        return values
    half = width // 2
    padded = np.pad(values, half, mode="reflect") if len(values) > half else None
    if padded is None:
        return np.full(len(values), float(np.median(values)))
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1))


def tubes_lost(
    trace: Trace, sound: Floats, first: int, last: int, *, site: Site
) -> tuple[float, float] | None:
    """Give how many tubes the drop would be: the fewer if missing, the more if without vacuum."""
    tubes = site.tubes
    if not tubes:
        return None
    gain = trace.days.gain_kwh[first:last]
    predicted = float(((trace.rows[first:last] @ sound) * gain).sum())
    gap_kwh = predicted - float((trace.out[first:last] * gain).sum())
    missing = tubes * gap_kwh / predicted
    a1 = sum(array.a1_w_m2k * array.area_m2 for array in site.arrays) / site.area_m2
    extra_w_k = (LOSS_WITHOUT_VACUUM_W_M2K - a1) * site.area_m2 / tubes
    each_kwh = extra_w_k * float(trace.days.excess_kh[first:last].sum()) / 1000.0
    without = gap_kwh / each_kwh if each_kwh > 0.0 else float("nan")
    few, many = sorted((missing, without))
    return max(few, 0.0), min(max(many, 0.0), float(tubes))


def condition_of(table: DayTable, site: Site, *, lost: Bounded | None) -> Condition | None:
    """Give eta0 and a1 as the last 60 steady days show them, and how many tubes work.

    Parameters
    ----------
    table : the days with their steady hours
    site : what the test report says
    lost : tubes lost as degraded tubes were judged (value, fewest, most), or None if not judged
    """
    days = steady_days(table, sunny_kwh_m2=0.0)
    if len(days.place) < 15:
        return None
    trace = trace_of(days, site)
    last = len(trace.out)
    fitted, covariance = trace.sound(max(last - 60, 0), last)
    u = np.sqrt(np.diag(covariance))
    sensors = site.sensors
    # Constant errors of flow and sun go into a one to one; the pipes, which lose about as much as
    # the collector and are known less well, cannot be told from b.
    u_scale = float(
        np.hypot(sensors.flow_percent, sensors.irradiance_percent) / 100.0 / COVERAGE_95
    )
    eta0 = sum(eta0_hemispherical(array) * array.area_m2 for array in site.arrays) / site.area_m2
    a1 = sum(array.a1_w_m2k * array.area_m2 for array in site.arrays) / site.area_m2
    u_eta0 = float(np.hypot(np.hypot(u[0], u_scale), MODEL_FRAC))
    u_a1 = float(np.hypot(u[1], PIPE_ALIAS_FRAC))
    tubes = None
    if site.tubes and lost is not None:
        tubes = Bounded(
            value=site.tubes - lost.value,
            low=max(site.tubes - lost.high, 0.0),
            high=float(site.tubes) - lost.low,
        )
    return Condition(
        tubes_working=tubes,
        eta0=_around(eta0 * fitted[0], eta0 * u_eta0),
        a1_w_m2k=_around(a1 * fitted[1], a1 * u_a1),
        as_of=table.days.dates[int(trace.days.place[-1])],
    )


def _around(value: float, u: float) -> Bounded:
    reach = COVERAGE_95 * u
    return Bounded(
        value=float(value), low=float(max(value - reach, 0.0)), high=float(value + reach)
    )
