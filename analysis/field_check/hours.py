"""Stage one of the field check: the hours of each day that may be compared.

An hour is a clock hour of the local day in which fluid moved throughout and nothing shaded the
array. Two sets of limits are tried: the strict ones of ISO 24194, which few domestic roofs ever
meet, and milder ones for small systems.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.collector import eta0_hemispherical
from analysis.days import Happening
from analysis.field_check.equations import estimated_w
from analysis.grid import BIN_S
from analysis.loop_pipes import around_pipes_c
from analysis.record import Bools, Floats, Ints
from analysis.sky import LEVEL, PLANE
from analysis.sources import ISO_24194
from analysis.sun import horizon_blocks
from analysis.units import SECONDS_PER_HOUR

SOURCES = (ISO_24194.at("clause 5.4, quoted from secondary text"),)

HOUR_KIND = "field_check_hour"

_BINS = round(SECONDS_PER_HOUR / BIN_S)
_MEASURED = ("flow_and_temperatures", "heat_register")


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What an hour must keep to.

    Attributes
    ----------
    least_w_m2 : irradiance in the plane, mean of the hour
    most_incidence_deg : angle of incidence, in every part of the hour
    most_swing_k : between the hottest and the coldest part of the hour, mean fluid
    least_air_c, most_wind_m_s : outdoors
    longest_step_s : of the log
    hours : how many valid hours a check needs
    """

    least_w_m2: float
    most_incidence_deg: float
    most_swing_k: float
    least_air_c: float
    most_wind_m_s: float
    longest_step_s: float
    hours: int


# ISO 24194:2022, clause 5.4, for equation 1 (from memory).
STRICT = Limits(
    least_w_m2=800.0,
    most_incidence_deg=30.0,
    most_swing_k=5.0,
    least_air_c=5.0,
    most_wind_m_s=10.0,
    longest_step_s=60.0,
    hours=20,
)
# For small systems: a store of some hundred litres warms by more than 5 K in a good hour, and a
# British summer has few hours of 800 W/m2 (engineering judgement).
INDICATIVE = Limits(
    least_w_m2=500.0,
    most_incidence_deg=50.0,
    most_swing_k=10.0,
    least_air_c=5.0,
    most_wind_m_s=10.0,
    longest_step_s=300.0,
    hours=20,
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Hours:
    """Means and extremes of the clock hours that the loop ran through, shape (n,), in order.

    `day` and `hour` are where they are, `bins` of shape (n, bins of an hour) theirs in the day.
    """

    day: Ints
    hour: Ints
    bins: Ints
    measured_w: Floats
    per_k_w_k: Floats
    optical_w: Floats
    optical_hem_w: Floats
    g_plane_w_m2: Floats
    excess_k: Floats
    rise_k_h: Floats
    swing_k: Floats
    air_c: Floats
    wind_m_s: Floats
    incidence_deg: Floats
    step_s: Floats

    def where(self, chosen: Bools) -> "_Hours":
        """Give some of them."""
        return _Hours(**{name: getattr(self, name)[chosen] for name in _Hours.__slots__})


def field_check_hours(case: Case) -> tuple[Happening, ...]:
    """Give the hours that may be compared, with what was measured and estimated.

    Needs measured heat, a sensor for the sun and one for the outdoor air; without them there are
    none. `values` of a happening: `measured_w` and `per_k_w_k`, what a kelvin between the pipe
    sensors makes of it; `estimated_w` by the equation with modifiers and
    `estimated_hem_w` by the plain one, both before the safety factor, and `optical_w`,
    `optical_hem_w`, the sun's part of them; `pipe_w`, what the pipes
    lost by the site's model; `strict` 1 where the strict limits hold too; `wind_known` 1 where
    wind was measured.
    """
    seen = case.heat.basis in _MEASURED and "ambient" in case.channels
    if not seen:
        return ()
    hours = _hours(case)
    mild, strict = _held(hours, INDICATIVE), _held(hours, STRICT)
    source = case.sky.source[hours.day]
    mild &= (source == PLANE) | (source == LEVEL)
    strict &= source == PLANE
    strict &= len({(one.tilt_deg, one.azimuth_deg) for one in case.site.arrays}) == 1
    # Of each hour, never of the whole record: a day is judged by itself, however many come along.
    mild &= hours.step_s <= INDICATIVE.longest_step_s
    strict &= hours.step_s <= STRICT.longest_step_s
    mild |= strict
    hours, strict = hours.where(mild), strict[mild]
    lit = ~_shaded(case, hours)
    return _happenings(case, hours.where(lit), strict[lit])


def _happenings(case: Case, hours: _Hours, strict: Bools) -> tuple[Happening, ...]:
    """Give each of these hours, with what was measured and what is estimated."""
    modified, plain = estimated_w(
        optical_w=np.stack([hours.optical_w, hours.optical_hem_w]),
        excess_k=hours.excess_k,
        rise_k_h=hours.rise_k_h,
        a1_w_k=case.model.loss_w_k,
        a2_w_k2=case.model.loss_w_k2,
        a5_j_k=case.model.collector_j_k,
    )
    pipe_k = hours.excess_k + hours.air_c - around_pipes_c(hours.air_c)
    values = {
        "measured_w": hours.measured_w,
        "per_k_w_k": hours.per_k_w_k,
        "estimated_w": modified,
        "estimated_hem_w": plain,
        "optical_w": hours.optical_w,
        "optical_hem_w": hours.optical_hem_w,
        "pipe_w": case.model.pipe_w_k * pipe_k,
        "strict": strict.astype(np.float64),
        "wind_known": np.isfinite(hours.wind_m_s).astype(np.float64),
    }
    rows = np.stack(list(values.values()), axis=1).tolist()
    start_s = case.grid.start_s[hours.day, hours.bins[:, 0]].tolist()
    return tuple(
        Happening(
            kind=HOUR_KIND,
            date=case.days.dates[day],
            start_s=start,
            end_s=start + _BINS * BIN_S,
            values=dict(zip(values, row, strict=True)),
        )
        for day, start, row in zip(hours.day.tolist(), start_s, rows, strict=True)
    )


def _hours(case: Case) -> _Hours:
    loop, sky = case.loop, case.sky
    days, bins = case.grid.shape
    whole = bins // _BINS
    running = (loop.moving_frac > 0.95) & (loop.known_s >= 0.99 * BIN_S) & case.expected.carried
    through = running[:, : whole * _BINS].reshape(days, whole, _BINS).all(axis=2)
    day, hour = np.nonzero(through)
    of_hour = hour[:, None] * _BINS + np.arange(_BINS)

    def cut(values: Floats) -> Floats:
        return np.asarray(values[day[:, None], of_hour])

    def mean(values: Floats) -> Floats:
        return np.asarray(cut(values).mean(axis=1))

    fluid, air = cut(loop.t_mean_c), cut(loop.t_ambient_c)
    between_h = (_BINS - 1) * BIN_S / SECONDS_PER_HOUR
    hem = sum(array.area_m2 * eta0_hemispherical(array) for array in case.site.arrays)
    plane = mean(sky.g_plane_w_m2)
    return _Hours(
        day=day,
        hour=hour,
        bins=of_hour,
        measured_w=mean(loop.heat_w),
        per_k_w_k=mean(loop.per_k_w_k),
        optical_w=mean(sky.gain_w),
        optical_hem_w=hem * plane,
        g_plane_w_m2=plane,
        excess_k=(fluid - air).mean(axis=1),
        rise_k_h=(fluid[:, -1] - fluid[:, 0]) / between_h,
        swing_k=fluid.max(axis=1) - fluid.min(axis=1),
        air_c=air.mean(axis=1),
        wind_m_s=mean(case.binned("wind")),
        incidence_deg=np.degrees(np.arccos(np.clip(cut(sky.cos_incidence).min(axis=1), -1, 1))),
        step_s=_longest_s(case, cut, len(day)),
    )


def _longest_s(case: Case, cut: Callable[[Floats], Floats], count: int) -> Floats:
    """Give the longest mean step of each hour's bins, which all have rows; shape (count,)."""
    step_s = case.record.step_s
    if (step_s == step_s[0]).all():
        return np.full(count, step_s[0])
    return np.asarray(cut(case.grid.mean(step_s)).max(axis=1))


def _held(hours: _Hours, limits: Limits) -> Bools:
    """Tell hours that keep to the limits; an unknown wind does not break them."""
    known = np.isfinite(hours.measured_w) & np.isfinite(hours.optical_w + hours.excess_k)
    return np.asarray(
        known
        & (hours.g_plane_w_m2 >= limits.least_w_m2)
        & (hours.incidence_deg <= limits.most_incidence_deg)
        & (hours.swing_k <= limits.most_swing_k)
        & (hours.air_c >= limits.least_air_c)
        & ~(hours.wind_m_s > limits.most_wind_m_s)
    )


def _shaded(case: Case, hours: _Hours) -> Bools:
    """Tell hours of which the site's horizon hides the sun in some part."""
    if case.site.horizon is None or not hours.day.size:
        return np.zeros(hours.day.shape, dtype=np.bool_)
    sun = case.sun.at((hours.day[:, None], hours.bins)).shaped(-1)
    blocked = horizon_blocks(sun=sun, horizon=case.site.horizon)
    return np.asarray(blocked.reshape(hours.bins.shape).any(axis=1))
