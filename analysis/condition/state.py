"""The condition that the report shows: coefficients of late, and the tubes as they were judged."""

import numpy as np

from analysis.collector import eta0_hemispherical
from analysis.condition.regression import first_look, fit_with_step, rows_of
from analysis.condition.steady import steady_rows
from analysis.condition.tubes import TubesState
from analysis.condition.words import change_words, detectable_words, trend_words
from analysis.days import DayTable
from analysis.results import Bounded, Condition
from analysis.site import Site
from analysis.uncertainty import COVERAGE_95

# Standard uncertainties of what the fit cannot see (engineering judgement): the sky's split and the
# modifiers in eta0, pipe losses in a1.
_MODEL_FRAC = 0.03
_PIPE_ALIAS_FRAC = 0.45
_LEAST_DAYS = 15
_RECENT_DAYS = 60
_DRIFT = 0.006


def condition_of(table: DayTable, site: Site, *, tubes: TubesState | None) -> Condition | None:
    """Give eta0 and a1 as the last 60 steady days show them, and how many tubes work.

    Parameters
    ----------
    table : the days with their steady hours
    site : what the test report says
    tubes : the tubes as degraded tubes were judged, None if not judged
    """
    days = steady_rows(table)
    recent = np.unique(days.place)[-_RECENT_DAYS:]
    if len(recent) < _LEAST_DAYS:
        return None
    rows = rows_of(days.picked(days.place >= recent[0]), table, site, drift=_DRIFT)
    fit = fit_with_step(rows, None, start=first_look(rows))
    a, b = fit.parameters[:2]
    u_a, u_b = np.sqrt(np.diag(fit.covariance)[:2])
    sensors = site.sensors
    # Constant errors of flow and sun go into a one to one; the pipes, which lose about as much as
    # the collector and are known less well, cannot be told from b.
    u_scale = float(
        np.hypot(sensors.flow_percent, sensors.irradiance_percent) / 100.0 / COVERAGE_95
    )
    eta0 = sum(eta0_hemispherical(array) * array.area_m2 for array in site.arrays) / site.area_m2
    a1 = sum(array.a1_w_m2k * array.area_m2 for array in site.arrays) / site.area_m2
    working = None
    if site.tubes and tubes is not None and tubes.lost is not None:
        working = Bounded(
            value=site.tubes - tubes.lost.value,
            low=site.tubes - tubes.lost.high,
            high=site.tubes - tubes.lost.low,
        )
    return Condition(
        tubes_working=working,
        eta0=_around(eta0 * a, eta0 * float(np.hypot(np.hypot(u_a, u_scale), _MODEL_FRAC))),
        a1_w_m2k=_around(a1 * b, a1 * float(np.hypot(u_b, _PIPE_ALIAS_FRAC))),
        as_of=table.days.dates[int(recent[-1])],
        change=None if tubes is None else tubes.change,
        detectable=None if tubes is None else tubes.detectable,
        trend_percent_a=None if tubes is None else tubes.trend_percent_a,
        says=() if tubes is None else _says(tubes, site),
    )


def _says(tubes: TubesState, site: Site) -> tuple[str, ...]:
    said: list[str] = []
    if tubes.change is not None:
        said.extend(change_words(tubes.change))
    if tubes.trend_percent_a is not None:
        said.append(trend_words(tubes.trend_percent_a))
    if tubes.detectable is not None and site.tubes:
        words = detectable_words(tubes.detectable, site.tubes)
        said.extend([words] if words else [])
    return tuple(said)


def _around(value: float, u: float) -> Bounded:
    reach = COVERAGE_95 * u
    return Bounded(
        value=float(value), low=float(max(value - reach, 0.0)), high=float(value + reach)
    )
