"""Irradiance in the plane of the collector: from horizontal readings, and split into its parts.

`Plane.diffuse_w_m2` is all that is not beam: sky, circumsolar and ground. The bright ring around
the sun counts as diffuse because the tests behind the collector coefficients measure beam in a
narrow cone, so that the same split meets the same coefficients. A reading in the plane is always
split by Hay & Davies, whatever model of the sky a site names: its inverse needs two numbers, and
the total is measured anyway.

Erbs, and with it every split here, was fitted to hourly means. On one-minute data the average is
right while single minutes scatter, most under broken cloud.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.site import SkyModel
from analysis.sources import DUFFIE_BECKMAN, ERBS, HAURWITZ, HAY_DAVIES
from analysis.transposition import GROUND_ALBEDO, Plane, transpose, views

SOURCES = (ERBS, HAY_DAVIES, HAURWITZ, DUFFIE_BECKMAN)

# Below 3.7 degrees of sun a clearness index says nothing about beam (bound as in pvlib's erbs).
_LOWEST_SPLIT_COS_ZENITH = 0.065


def _array(values: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(values, dtype=np.float64)


def erbs_diffuse_frac(kt: ArrayLike) -> NDArray[np.float64]:
    """Give the diffuse share of the horizontal irradiance from the clearness index.

    Parameters
    ----------
    kt : array_like
        Horizontal irradiance over extraterrestrial on the level [-]; NaN gives NaN.

    Returns
    -------
    ndarray
        Diffuse share [-], 1 in the dark and 0.165 above kt = 0.8.

    References
    ----------
    Erbs, Klein & Duffie (1982); Duffie & Beckman, eq. 2.10.1.
    """
    k = _array(kt)
    middle = 0.9511 + k * (-0.1604 + k * (4.388 + k * (-16.638 + k * 12.336)))
    return np.where(k <= 0.22, 1.0 - 0.09 * k, np.where(k <= 0.8, middle, 0.165 + 0.0 * k))


def from_horizontal(
    *,
    g_horizontal_w_m2: ArrayLike,
    cos_incidence: ArrayLike,
    cos_zenith: ArrayLike,
    extraterrestrial_w_m2: ArrayLike,
    tilt_deg: float,
    albedo: float = GROUND_ALBEDO,
    model: SkyModel = "hay_davies",
) -> Plane:
    """Give the irradiance on a tilted plane from the global reading on the level.

    Parameters
    ----------
    g_horizontal_w_m2 : array_like
        Global horizontal irradiance [W/m2]; NaN gives NaN, below 0 counts as 0.
    cos_incidence, cos_zenith : array_like
        Cosines of the angles to the plane's normal and to the zenith [-].
    extraterrestrial_w_m2 : array_like
        Outside the atmosphere, facing the sun [W/m2].
    tilt_deg : float
        From horizontal [°].
    albedo : float
        Share that the ground reflects [-].
    model : {"isotropic", "hay_davies", "reindl", "perez"}
        Of the sky, see `analysis.transposition`.

    Returns
    -------
    Plane
        Beam and diffuse [W/m2]. With the sun below 3.7 degrees everything is diffuse.

    References
    ----------
    Erbs, Klein & Duffie (1982), then the model of the sky.
    """
    ghi = np.maximum(_array(g_horizontal_w_m2), 0.0)
    height = _array(cos_zenith)
    outside = _array(extraterrestrial_w_m2)
    level = np.maximum(height, _LOWEST_SPLIT_COS_ZENITH)
    kt = np.minimum(ghi / (outside * level), 1.0)
    share = np.where(height < _LOWEST_SPLIT_COS_ZENITH, 1.0 + 0.0 * kt, erbs_diffuse_frac(kt))
    diffuse = ghi * share
    return transpose(
        ghi=ghi,
        dhi=diffuse,
        dni=np.minimum((ghi - diffuse) / level, outside),
        cos_incidence=cos_incidence,
        cos_zenith=height,
        extraterrestrial_w_m2=outside,
        tilt_deg=tilt_deg,
        albedo=albedo,
        model=model,
    )


# Grid of the inverse: where the sun stands to the plane, r = cos(incidence)/cos(zenith) as an
# angle, and how bright the plane is, y = g/(extraterrestrial cos(zenith)) over 1 + r.
_RATIO_STEPS = 180
_LEVELS = 240
_HIGHEST_LEVEL = 1.2
# Clearness above this is the edge of a cloud, not a sky: it decides only where nothing else fits.
_CLEAREST_SKY = 0.8
_RARE = 1e-3


@lru_cache(maxsize=32)
def _beam_shares(tilt_deg: float, albedo: float) -> NDArray[np.float64]:
    """Tabulate the share of beam in the plane over (r, y) for one tilt, by Erbs and Hay-Davies.

    With GHI = kt cos(zenith) in units of the extraterrestrial irradiance the plane sees
    y (1 + r) = r a (1 + b) + b (1 - a) F_sky + kt albedo F_ground, a = kt (1 - d), b = kt d; so
    two numbers and the tilt hold the whole problem. Each cell is the mean over all clearness
    indices that give its brightness: one where the plane faces the sun, but cloudy and clear
    skies alike where the sun grazes it.
    """
    kt = np.linspace(0.0, 1.15, 2301)
    share = erbs_diffuse_frac(kt)
    a, b = kt * (1.0 - share), kt * share
    sky_view, ground_view = views(tilt_deg)
    angle = np.linspace(0.0, 0.5 * np.pi, _RATIO_STEPS + 1)[:, np.newaxis]
    # r and 1 as sine and cosine of one angle: no row runs to infinity.
    facing, level = np.sin(angle), np.cos(angle)
    beam = facing * a
    seen = beam * (1.0 + b) + level * (b * (1.0 - a) * sky_view + kt * albedo * ground_view)
    part = np.divide(beam, seen, out=np.zeros_like(seen), where=seen > 0.0)
    bright = seen / (facing + level) * (_LEVELS / _HIGHEST_LEVEL)
    cell = np.minimum(bright.astype(np.intp), _LEVELS - 1)
    cell += np.arange(_RATIO_STEPS + 1)[:, np.newaxis] * _LEVELS
    weight = np.broadcast_to(np.where(kt <= _CLEAREST_SKY, 1.0, _RARE), seen.shape)
    size = (_RATIO_STEPS + 1) * _LEVELS
    counted = np.bincount(cell.ravel(), weight.ravel(), size)
    summed = np.bincount(cell.ravel(), (weight * part).ravel(), size)
    mean = np.divide(summed, counted, out=np.zeros(size), where=counted > 0.0)
    filled = counted.reshape(-1, _LEVELS) > 0.0
    # Brighter than anything the model gives: as at its brightest.
    last = np.maximum.accumulate(np.where(filled, np.arange(_LEVELS), 0), axis=1)
    table = np.take_along_axis(mean.reshape(-1, _LEVELS), last, axis=1)
    table.setflags(write=False)
    return table


def split_plane(
    *,
    g_plane_w_m2: ArrayLike,
    cos_incidence: ArrayLike,
    cos_zenith: ArrayLike,
    extraterrestrial_w_m2: ArrayLike,
    tilt_deg: float,
    albedo: float = GROUND_ALBEDO,
) -> Plane:
    """Split a hemispherical reading in the collector plane into beam and diffuse.

    The inverse of `from_horizontal`, read from a table: the clearness index whose Erbs split and
    Hay-Davies transposition give the reading.

    Parameters
    ----------
    g_plane_w_m2 : array_like
        Reading in the plane [W/m2]; NaN gives NaN, below 0 counts as 0.
    cos_incidence, cos_zenith : array_like
        Cosines of the angles to the plane's normal and to the zenith [-].
    extraterrestrial_w_m2 : array_like
        Outside the atmosphere, facing the sun [W/m2].
    tilt_deg : float
        From horizontal [°].
    albedo : float
        Share that the ground reflects [-].

    Returns
    -------
    Plane
        Beam and diffuse [W/m2], neither negative, together the reading. All is diffuse where the
        sun is behind the plane or below 3.7 degrees; beam never passes what there is outside the
        atmosphere.

    References
    ----------
    Erbs, Klein & Duffie (1982); Hay & Davies (1980).
    """
    g = np.maximum(_array(g_plane_w_m2), 0.0)
    facing, height = _array(cos_incidence), _array(cos_zenith)
    outside = _array(extraterrestrial_w_m2)
    g, facing, height, outside = np.broadcast_arrays(g, facing, height, outside)
    beam = np.where(np.isnan(g + facing + height + outside), np.nan, 0.0)
    lit = (g > 0.0) & (facing > 0.0) & (height >= _LOWEST_SPLIT_COS_ZENITH)
    if lit.any():
        toward, most = facing[lit], outside[lit]
        # y (1 + r) = g/(outside cos z), so y needs no division by a small cosine.
        level = g[lit] / (most * (height[lit] + toward))
        angle = np.arctan2(toward, height[lit])
        found = _between(_beam_shares(tilt_deg, albedo), angle, level)
        beam[lit] = np.minimum(g[lit] * found, most * toward)
    return Plane(beam_w_m2=beam, diffuse_w_m2=g - beam)


def _between(
    table: NDArray[np.float64], angle: NDArray[np.float64], level: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Interpolate the table of shares in both directions; levels stand at the middle of cells."""
    row = angle * (_RATIO_STEPS / (0.5 * np.pi))
    column = np.clip(level * (_LEVELS / _HIGHEST_LEVEL) - 0.5, 0.0, _LEVELS - 1.001)
    i, j = np.minimum(row.astype(np.intp), _RATIO_STEPS - 1), column.astype(np.intp)
    u, v = row - i, column - j
    flat = table.ravel()
    corner = i * _LEVELS + j
    near = flat[corner] * (1.0 - v) + flat[corner + 1] * v
    corner = corner + _LEVELS
    far = flat[corner] * (1.0 - v) + flat[corner + 1] * v
    return np.asarray(near * (1.0 - u) + far * u)


def clear_sky_horizontal_w_m2(cos_zenith: ArrayLike) -> NDArray[np.float64]:
    """Give the global irradiance on the level under a clear sky.

    Parameters
    ----------
    cos_zenith : array_like
        Cosine of the zenith angle [-]; NaN gives NaN.

    Returns
    -------
    ndarray
        Irradiance [W/m2], 0 with the sun down. Clear days differ by about 5 to 10 %.

    References
    ----------
    Haurwitz (1945, 1946), constants as in pvlib.
    """
    height = _array(cos_zenith)
    up = np.where(height > 0.0, height, np.nan)
    clear = 1098.0 * up * np.exp(-0.059 / up)
    return np.where(height <= 0.0, 0.0, clear)
