"""Whether a sensor of light lies in the plane of the collector or level.

Under a clear sky both are known from the sun's course, tilt and azimuth. Clouds only take away, so
the upper edge of the readings through the day follows the one of both that the sensor sees.
"""

import math
from dataclasses import dataclass

import numpy as np

from analysis.irradiance import clear_sky_horizontal_w_m2
from analysis.meaning.looks import Look
from analysis.meaning.times import Times
from analysis.record import Bools, Floats
from analysis.site import Site
from analysis.sun import incidence, sun_vectors

# Diffuse part of a clear sky (engineering judgement) [-].
_DIFFUSE = 0.15
# Lower suns say more of haze and hills than of planes; a plane that gets next to nothing says
# nothing either.
_LOWEST_SINE, _LEAST_W_M2 = 0.17, 40.0
_HOURS = 24
_FEWEST = 4
# What they say of plane and level: fitted once on drawn plants; no bench prints it. Engineering
# judgement.
_SIDES = {"irradiance_plane": 0.5, "irradiance_horizontal": -0.5}
_OVER, _NEAR, _BEND = 0.91, 0.19, 0.44
# Of a sensor of light: nights at nought, and nothing much below it.
_DARK, _BELOW = 0.9, -0.05


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClearSky:
    """Clear-sky irradiance over the rows.

    Attributes
    ----------
    plane, level : in the collector plane and on the level [W/m²], shape (m,)
    usable : rows with enough sun for both, shape (m,)
    """

    plane: Floats
    level: Floats
    usable: Bools


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """How readings fit plane and level, as natural logarithms; NaN where unknown.

    Attributes
    ----------
    over_plane, over_level : upper edge of the readings over the clear sky's
    bend_plane, bend_level : spread of that over the hours of the day
    """

    over_plane: float = math.nan
    over_level: float = math.nan
    bend_plane: float = math.nan
    bend_level: float = math.nan


def clear_sky_of(times: Times, site: Site, *, shift_s: float) -> ClearSky | None:
    """Work out the clear sky over the rows.

    Parameters
    ----------
    times : Times
        The rows.
    site : Site
        Its place, and the plane of its largest array.
    shift_s : float
        Added to the stamps to bring them to the sun [s].

    Returns
    -------
    ClearSky or None
        None where the site has no array.
    """
    if not site.arrays:
        return None
    sun = sun_vectors(
        time_s=(times.stamp_s + shift_s).astype(np.int64),
        latitude_deg=site.place.latitude_deg,
        longitude_deg=site.place.longitude_deg,
        elevation_m=0.0,
    )
    largest = max(site.arrays, key=lambda one: one.area_m2)
    tilt, azimuth = largest.tilt_deg, largest.azimuth_deg
    up = np.maximum(sun.up, 0.0)
    level = clear_sky_horizontal_w_m2(up)
    facing = np.maximum(incidence(sun=sun, tilt_deg=tilt, azimuth_deg=azimuth), 0.0)
    beam = (1.0 - _DIFFUSE) * level / np.maximum(up, 0.05)
    plane = beam * facing + _DIFFUSE * level * 0.5 * (1.0 + math.cos(math.radians(tilt)))
    usable = (sun.up > _LOWEST_SINE) & (plane > _LEAST_W_M2) & (level > _LEAST_W_M2)
    return ClearSky(plane=plane, level=level, usable=usable)


def plane_nats(channel: str, fit: Fit, factor: float) -> float:
    """Say how much the clear sky speaks for a sensor in the plane, or a level one [nats]."""
    if channel not in _SIDES or math.isnan(fit.over_plane):
        return 0.0
    plane, level = fit.over_plane + math.log(factor), fit.over_level + math.log(factor)
    nats = _OVER * (_too_much(level) - _too_much(plane))
    nats += _NEAR * min(max(abs(level) - abs(plane), -1.0), 1.0)
    bend = fit.bend_level - fit.bend_plane
    if not math.isnan(bend):
        nats += _BEND * min(max(bend, -0.5), 0.5)
    return _SIDES[channel] * nats


def _too_much(over: float) -> float:
    """Count by how many tenths readings are above what the clear sky can give."""
    return min(max(over - 0.08, 0.0) / 0.1, 6.0)


def fit_of(values: Floats, look: Look, sky: ClearSky | None, times: Times) -> Fit:
    """Hold readings against both, if they may be light.

    Parameters
    ----------
    values : ndarray, shape (m,)
        Values at the sampled rows [as written].
    look : Look
        How they look.
    sky : ClearSky or None
        None where the place is not known.
    times : Times
        The rows.

    Returns
    -------
    Fit
        NaN where nothing tells.
    """
    if sky is None or not look.dark_zero >= _DARK or look.low < _BELOW * look.high:
        return Fit()
    rows = sky.usable & np.isfinite(values) & (values > 0.0)
    if int(rows.sum()) < 2 * _FEWEST:
        return Fit()
    hour = np.floor(times.hour[rows]).astype(np.int64) % _HOURS
    found = {}
    for name, clear in (("plane", sky.plane), ("level", sky.level)):
        ratio = np.log(values[rows] / clear[rows])
        edges = [
            float(np.quantile(ratio[hour == one], 0.9))
            for one in range(_HOURS)
            if int((hour == one).sum()) >= _FEWEST
        ]
        found[f"over_{name}"] = float(np.quantile(ratio, 0.9))
        found[f"bend_{name}"] = float(np.std(edges)) if len(edges) >= 3 else math.nan
    return Fit(**found)
