"""Irradiance under a sky without clouds: what a sensor in order reads at most on a clear day."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.record import Floats
from analysis.sources import INEICHEN, KASTEN_YOUNG
from analysis.transposition import air_mass

SOURCES = (INEICHEN, KASTEN_YOUNG)

USUAL_LINKE = 3.0
"""Turbidity of ordinary air in mid latitudes [-]; clean cold air 2, haze 5 (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClearSky:
    """Global and diffuse on the level, beam facing the sun [W/m2]; 0 with the sun down."""

    ghi: Floats
    dni: Floats
    dhi: Floats


def clear_sky(
    *,
    cos_zenith: ArrayLike,
    extraterrestrial_w_m2: ArrayLike,
    elevation_m: float,
    linke: ArrayLike = USUAL_LINKE,
) -> ClearSky:
    """Give the irradiance under a clear sky.

    Parameters
    ----------
    cos_zenith : array_like
        Cosine of the zenith angle [-].
    extraterrestrial_w_m2 : array_like
        Outside the atmosphere, facing the sun [W/m2].
    elevation_m : float
        Height above sea level [m].
    linke : array_like
        Linke turbidity at air mass 2 [-].

    References
    ----------
    Ineichen & Perez (2002), as in pvlib, without the enhancement of its later paper.
    """
    height = np.asarray(cos_zenith, dtype=np.float64)
    outside = np.asarray(extraterrestrial_w_m2, dtype=np.float64)
    linke = np.asarray(linke, dtype=np.float64)
    up = np.maximum(height, 0.0)
    mass = air_mass(height) * (1.0 - 2.25577e-5 * elevation_m) ** 5.25588
    low, high = np.exp(-elevation_m / 8000.0), np.exp(-elevation_m / 1250.0)
    scale = 5.09e-5 * elevation_m + 0.868
    fade = 3.92e-5 * elevation_m + 0.0387
    ghi = scale * outside * up * np.exp(-fade * mass * (low + high * (linke - 1.0)))
    through = (0.664 + 0.163 / low) * np.exp(-0.09 * mass * (linke - 1.0))
    most = 1.0 - (0.1 - 0.2 * np.exp(-linke)) / (0.1 + 0.882 / low)
    level = np.maximum(up, 1e-9)
    dni = np.where(
        height > 0.0, np.minimum(outside * through, ghi * np.maximum(most, 0.0) / level), 0.0
    )
    return ClearSky(ghi=ghi, dni=dni, dhi=ghi - dni * up)
