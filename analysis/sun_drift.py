"""Stage two of the sun sensor's check: a slow drift over the years, from its clear days.

A sensor in order reads the same share of a clear sky in every July. Dust and age lower that share
slowly; haze moves it with the season and from week to week. So the share of clear weeks is fitted
with a level, a season, a straight drift, and haze that holds for weeks and for months (a Gaussian
process); the fit's own uncertainty then says whether a drift can be told from haze. Only a drift
that is proven is taken out, and only from the figures that rest on the sensor.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analysis.condition.steady import CLASSES
from analysis.days import DayTable, Happening
from analysis.record import Bools, Floats, Ints
from analysis.site import Site
from analysis.sky import WEATHER
from analysis.sources import GUM
from analysis.uncertainty import COVERAGE_95

SOURCES = (GUM,)

YEAR_DAYS = 365.25

# A day with so many clear hours tells [h] (engineering judgement, as all below).
LEAST_CLEAR_H = 1.0
_LEAST_WEEKS = 20
# Less than that cannot tell a drift from a season.
_LEAST_DAYS = 450
_WEEK_DAYS = 7
# What the share may be before anything is known: level, season (turbidity and the sensor's angles,
# yearly and half-yearly wave), and drift per year, as standard deviations of its logarithm.
_PRIOR_U = np.array([0.3, 0.05, 0.05, 0.03, 0.03, 0.10])
# Haze: the Linke turbidity wanders around its season by so much of itself, for about three weeks
# and for half years: standard deviation of its logarithm, days.
_HAZE = ((0.20, 15.0), (0.07, 150.0))
# What a turbidity of 3.5 takes of the light on one air mass, by the clear sky's formula near the
# sea: the share's change for a change of the turbidity's logarithm.
_HAZE_PER_MASS = 0.147
_LEAST_SCATTER = 0.006
# Beyond so many standard deviations a veil lowered the week; it counts less.
_VEIL = 1.5
_PROVEN_U = 2.5
_LEAST_CHANGE_FRAC = 0.01
_WORST_FIT = 2.0
# A change all at once: how large it may be before anything is known, how many days are tried for
# it, and by how much a drift must be the better explanation (natural logarithm of the odds).
_STEP_PRIOR_U = 0.15
_STEP_PLACES = 40
_CLEARLY = 2.0

# The figures that scale with the reading; the rest of expected heat is loss and stored heat.
_SCALED = (
    "irradiation_kwh_m2",
    "expected_gain_kwh",
    "expected_standing_kwh",
    *(f"steady_{name}_gain_kwh" for name in CLASSES),
)
# What hours of the field check hold: the part that scales, and what it is a part of.
_OPTICAL = {"optical_w": "estimated_w", "optical_hem_w": "estimated_hem_w"}
_NEW_SENSOR = ("sensors.irradiance_percent", "array.1.tilt_deg", "array.1.azimuth_deg")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drift:
    """A sensor's drift over a stretch of days without a change of it.

    Attributes
    ----------
    first, last : the days, rows of the table, `last` excluded
    origin : the day from which on it counts
    clear_days, span_days : what it rests on
    per_year, u_per_year : change of the reading a year and its standard uncertainty [-]
    step_frac : the change all at once that fits about as well or better; None where a straight
        drift fits clearly better
    proven : whether it is told from haze, and from a change all at once
    """

    first: int
    last: int
    origin: int
    clear_days: int
    span_days: int
    per_year: float
    u_per_year: float
    step_frac: float | None
    proven: bool


def drifts(table: DayTable, site: Site) -> tuple[Drift, ...]:
    """Give the drift of each stretch that is long enough to tell one.

    Parameters
    ----------
    table : every observed day
    site : with its changes; a new accuracy of the sensor, or a new plane, begins a new stretch
    """
    return tuple(found for part in _stretches(table, site) if (found := _drift(table, *part)))


def without_drift(table: DayTable, found: tuple[Drift, ...]) -> DayTable:
    """Give the table with what proven drifts took from the readings put back.

    The sensor counts as right at the first clear day of its stretch. `sun_drift_u_frac` is what
    stays open of the correction, as standard uncertainty [-].
    """
    proven = [one for one in found if one.proven]
    if not proven:
        return table
    size = len(table.days)
    factor, u = np.ones(size), np.zeros(size)
    for one in proven:
        years = np.maximum(np.arange(one.first, one.last) - one.origin, 0) / YEAR_DAYS
        factor[one.first : one.last] = np.exp(-one.per_year * years)
        u[one.first : one.last] = one.u_per_year * years
    sensor = _told_by_sensor(table)
    factor, u = np.where(sensor, factor, 1.0), np.where(sensor, u, 0.0)
    columns = dict(table.columns)
    more = np.zeros(size)
    for part in ("gain", "standing"):
        more += np.nan_to_num(table.column(f"expected_{part}_kwh")) * (factor - 1.0)
    for name in _SCALED:
        if name in columns:
            columns[name] = columns[name] * factor
    if "expected_kwh" in columns:
        columns["expected_kwh"] = columns["expected_kwh"] + more
    columns["sun_drift_u_frac"] = u
    changed = np.flatnonzero(factor != 1.0).tolist()
    by_date = {table.days.dates[day]: float(factor[day]) for day in changed}
    happenings = tuple(
        _brightened(item, by_date[item.date]) if item.date in by_date else item
        for item in table.happenings
    )
    return DayTable(days=table.days, columns=columns, happenings=happenings)


def _brightened(item: Happening, factor: float) -> Happening:
    """Scale the sun's part of what a happening holds as estimated power."""
    more = {
        whole: item.values[whole] + (factor - 1.0) * item.values[part]
        for part, whole in _OPTICAL.items()
        if part in item.values
    }
    return item._replace(values={**item.values, **more}) if more else item


def _told_by_sensor(table: DayTable) -> Bools:
    return np.asarray(table.column("sky_source") < WEATHER)


def _stretches(table: DayTable, site: Site) -> Iterator[tuple[int, int, int]]:
    """Give first and last day of stretches with one sensor, and its number."""
    dates = table.days.dates
    cuts = {one.date.isoformat() for one in site.changes if one.key in _NEW_SENSOR}
    edges = sorted({0, len(dates), *(int(np.searchsorted(dates, cut)) for cut in cuts)})
    number = table.column("sky_source")
    for first, last in pairwise(edges):
        for sensor in range(WEATHER):
            if bool((number[first:last] == sensor).any()):
                yield first, last, sensor


def _drift(table: DayTable, first: int, last: int, sensor: int) -> Drift | None:
    inside = np.arange(len(table.days))
    told = table.column("sensor_clear_h") >= LEAST_CLEAR_H
    told &= np.isfinite(table.column("sensor_clear_ratio"))
    told &= (table.column("sky_source") == sensor) & (inside >= first) & (inside < last)
    days = np.flatnonzero(told)
    if not len(days) or days[-1] - days[0] < _LEAST_DAYS:
        return None
    ratio, mass = table.column("sensor_clear_ratio")[days], table.column("sensor_clear_mass")[days]
    day, share, mass = _weekly(days, np.log(ratio), mass)
    if len(day) < _LEAST_WEEKS:
        return None
    slope, u, misfit, step = _fitted(day, share, mass)
    span = int(days[-1] - days[0])
    proven = (
        step is None
        and abs(slope) > _PROVEN_U * u
        and abs(slope) * span / YEAR_DAYS > _LEAST_CHANGE_FRAC
        and misfit < _WORST_FIT
    )
    return Drift(
        first=first,
        last=last,
        origin=int(days[0]),
        clear_days=len(days),
        span_days=span,
        per_year=slope,
        u_per_year=u,
        step_frac=None if step is None else float(np.expm1(step)),
        proven=proven,
    )


def _weekly(days: Ints, *values: Floats) -> list[Floats]:
    """Give the middle day and the medians of each week that has a clear day."""
    week = days // _WEEK_DAYS
    starts = np.flatnonzero(np.diff(week, prepend=week[0] - 1))
    parts = list(zip(starts, [*starts[1:], len(days)], strict=True))
    middle = np.array([days[a:b].mean() for a, b in parts])
    return [middle, *(np.array([np.median(one[a:b]) for a, b in parts]) for one in values)]


def _fitted(day: Floats, share: Floats, mass: Floats) -> tuple[float, float, float, float | None]:
    """Fit level, season and drift; give drift per year, its uncertainty, the misfit, and a step.

    Generalised least squares with priors; weeks below the fit by more than a veil allows are
    given a larger scatter, a few rounds over.
    """
    years = (day - day.mean()) / YEAR_DAYS
    turn = 2.0 * np.pi * day / YEAR_DAYS
    waves = [np.cos(turn), np.sin(turn), np.cos(2.0 * turn), np.sin(2.0 * turn)]
    rows = np.stack([np.ones(len(day)), *waves, years], axis=1)
    apart = np.abs(day[:, None] - day[None, :])
    felt = _HAZE_PER_MASS * mass
    haze = np.outer(felt, felt) * sum(u**2 * np.exp(-apart / reach) for u, reach in _HAZE)
    between = np.diff(share)
    scatter = max(1.4826 * float(np.median(np.abs(between))) / np.sqrt(2.0), _LEAST_SCATTER)
    spread = np.full(len(day), scatter)
    middle = float(np.median(share))
    share = share - middle
    for _ in range(4):
        solved = np.linalg.solve(haze + np.diag(spread**2), np.column_stack([rows, share]))
        weighed, weighed_share = solved[:, :-1], solved[:, -1]
        prior = np.diag(1.0 / _PRIOR_U**2)
        covariance = np.linalg.inv(prior + rows.T @ weighed)
        fitted = covariance @ (rows.T @ weighed_share)
        off = share - rows @ fitted
        total = np.hypot(scatter, _HAZE[0][0] * felt)
        spread = scatter * np.sqrt(np.maximum(-off / (_VEIL * total), 1.0))
    misfit = float(off @ (weighed_share - weighed @ fitted)) / len(day)
    step = _step_instead(day, share, rows, haze + np.diag(spread**2))
    return float(fitted[-1]), float(np.sqrt(covariance[-1, -1])), misfit, step


def _step_instead(day: Floats, share: Floats, rows: Floats, noise: Floats) -> float | None:
    """Give the size (logarithm) of a change all at once, unless a drift explains clearly better.

    A sensor wiped clean or replaced without a record steps; taken for a drift, it would be
    corrected by more than the step itself. The two are weighed by their evidence (Gaussian, with
    the same priors for level and season), the step at its best day.
    """
    inverse = np.linalg.inv(noise)
    drift, _ = _evidence(share, rows, inverse @ rows, _PRIOR_U)
    prior = np.append(_PRIOR_U[:-1], _STEP_PRIOR_U)
    level = inverse @ rows[:, :-1]
    best, found = -np.inf, 0.0
    edge = max(_LEAST_WEEKS // 4, 1)
    for number in range(edge, len(day) - edge, max(len(day) // _STEP_PLACES, 1)):
        after = day >= day[number]
        stepped = np.column_stack([rows[:, :-1], after])
        weighed = np.column_stack([level, inverse[:, after].sum(axis=1)])
        evidence, fitted = _evidence(share, stepped, weighed, prior)
        if evidence > best:
            best, found = evidence, float(fitted[-1])
    return None if drift > best + _CLEARLY else found


def _evidence(
    share: Floats, rows: Floats, weighed: Floats, prior_u: Floats
) -> tuple[float, Floats]:
    """Give the logarithm of the evidence of a linear model with Gaussian priors, and its fit.

    But for what the noise alone makes of it, which all models of the same noise share: `weighed`
    are the rows by the inverse of its covariance (matrix determinant lemma).
    """
    precise = np.diag(1.0 / prior_u**2) + rows.T @ weighed
    towards = weighed.T @ share
    fitted = np.asarray(np.linalg.solve(precise, towards), dtype=np.float64)
    sign, size = np.linalg.slogdet(precise)
    assert sign > 0.0
    return 0.5 * float(towards @ fitted - size) - float(np.log(prior_u).sum()), fitted


def drift_notes(found: tuple[Drift, ...]) -> tuple[str, ...]:
    """Say what was found, how sure it is and what it cannot tell."""
    return tuple(_note(one) for one in found)


def _stepped(one: Drift) -> bool:
    """Tell whether something changed for sure, be it at once or slowly."""
    return abs(one.per_year) > _PROVEN_U * one.u_per_year


def _note(one: Drift) -> str:
    reach = COVERAGE_95 * one.u_per_year
    low, high = sorted((one.per_year - reach, one.per_year + reach))
    rests = f"{one.clear_days} clear days over {one.span_days / YEAR_DAYS:.1f} years"
    if one.step_frac is not None and _stepped(one):
        return (
            f"On clear days the sun sensor's reading changed by about {100 * one.step_frac:+.0f} % "
            f"at once, or drifted ({rests}); the two cannot be told apart here, and nothing is "
            "corrected. If the sensor was cleaned, moved or replaced, record it as a [[change]] of "
            "sensors.irradiance_percent"
        )
    if not one.proven:
        return (
            f"No drift of the sun sensor is proven: {100 * one.per_year:+.1f} % a year, between "
            f"{100 * low:+.1f} and {100 * high:+.1f} % ({rests}); nothing is corrected for it"
        )
    way = "less" if one.per_year < 0.0 else "more"
    least, most = sorted((abs(low), abs(high)))
    return (
        f"On clear days the sun sensor reads {100 * abs(one.per_year):.1f} % {way} each year "
        f"({100 * least:.1f} to {100 * most:.1f} %; {rests}). Irradiation and expected heat are "
        "corrected for it, the sensor counted as right when its clear days began; a lasting change "
        "of the air would look the same. Clean the sensor's glass when somebody is up there safely "
        "anyway, and note a new or cleaned sensor as a [[change]] of sensors.irradiance_percent"
    )
