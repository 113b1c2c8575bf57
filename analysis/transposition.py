"""Irradiance on a tilted plane from its parts on the level: four published models of the sky.

They differ in where the diffuse light of the sky comes from: evenly from everywhere (isotropic),
more from around the sun (Hay & Davies), from the horizon too (Reindl, in the book HDKR), or by
measured bins of clearness and brightness (Perez). Beam and ground are the same in all.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.site import SkyModel
from analysis.sources import DUFFIE_BECKMAN, HAY_DAVIES, KASTEN_YOUNG, PEREZ, REINDL

SOURCES = (DUFFIE_BECKMAN, HAY_DAVIES, REINDL, PEREZ, KASTEN_YOUNG)

GROUND_ALBEDO = 0.2
"""Usual for grass and roofs [-] (Duffie & Beckman, ch. 2); snow reaches 0.7."""

# The ratio of beam on the tilted plane to beam on the level grows without bound at sunrise; pvlib
# stops at a sun 1 degree high, and so do we.
_LOWEST_COS_ZENITH = 0.01745
# The same for the circumsolar part of Perez: 85 degrees, as published.
_LOWEST_COS_PEREZ = 0.0871557427
_PEREZ_KAPPA = 1.041
# Upper ends of the bins of clearness, and F11 F12 F13 F21 F22 F23 of each (Perez et al. 1990).
_PEREZ_EDGES = (1.065, 1.23, 1.5, 1.95, 2.8, 4.5, 6.2)
_PEREZ = np.array(
    [
        [-0.008, 0.588, -0.062, -0.06, 0.072, -0.022],
        [0.13, 0.683, -0.151, -0.019, 0.066, -0.029],
        [0.33, 0.487, -0.221, 0.055, -0.064, -0.026],
        [0.568, 0.187, -0.295, 0.109, -0.152, -0.014],
        [0.873, -0.392, -0.362, 0.226, -0.462, 0.001],
        [1.132, -1.237, -0.412, 0.288, -0.823, 0.056],
        [1.06, -1.6, -0.359, 0.264, -1.127, 0.131],
        [0.678, -0.327, -0.25, 0.156, -1.377, 0.251],
    ]
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plane:
    """Irradiance on a plane [W/m2]: beam, and everything else."""

    beam_w_m2: NDArray[np.float64]
    diffuse_w_m2: NDArray[np.float64]

    @property
    def total_w_m2(self) -> NDArray[np.float64]:
        """The hemispherical irradiance [W/m2]."""
        return self.beam_w_m2 + self.diffuse_w_m2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Scene:
    """One moment: parts on the level, the sun's place, and the plane's tilt."""

    ghi: NDArray[np.float64]
    dhi: NDArray[np.float64]
    dni: NDArray[np.float64]
    facing: NDArray[np.float64]
    height: NDArray[np.float64]
    outside: NDArray[np.float64]
    tilt_deg: float

    @property
    def sky_view(self) -> float:
        return views(self.tilt_deg)[0]

    @property
    def ratio(self) -> NDArray[np.float64]:
        """Beam on the plane over beam on the level."""
        return self.facing / np.maximum(self.height, _LOWEST_COS_ZENITH)


def transpose(
    *,
    ghi: ArrayLike,
    dhi: ArrayLike,
    dni: ArrayLike,
    cos_incidence: ArrayLike,
    cos_zenith: ArrayLike,
    extraterrestrial_w_m2: ArrayLike,
    tilt_deg: float,
    albedo: float = GROUND_ALBEDO,
    model: SkyModel = "hay_davies",
) -> Plane:
    """Give the irradiance on a tilted plane from its parts on the level.

    Parameters
    ----------
    ghi, dhi : array_like
        Global and diffuse on the level [W/m2]; NaN gives NaN.
    dni : array_like
        Beam on a plane that faces the sun [W/m2].
    cos_incidence : array_like
        Cosine of the angle between the sun and the plane's normal [-].
    cos_zenith : array_like
        Cosine of the zenith angle [-].
    extraterrestrial_w_m2 : array_like
        Outside the atmosphere, facing the sun [W/m2].
    tilt_deg : float
        From horizontal [°].
    albedo : float
        Share that the ground reflects [-].
    model : {"isotropic", "hay_davies", "reindl", "perez"}
        Of the sky.

    Returns
    -------
    Plane
        Beam and diffuse (sky, circumsolar, horizon, ground) [W/m2].

    References
    ----------
    Duffie & Beckman, eq. 2.15.1 (Liu & Jordan), 2.16.4 (Hay & Davies 1980), 2.16.7 (Reindl et al.
    1990); Perez et al. (1990) with the coefficients of all sites.
    """
    scene = _Scene(
        ghi=_array(ghi),
        dhi=_array(dhi),
        dni=_array(dni),
        facing=np.maximum(_array(cos_incidence), 0.0),
        height=_array(cos_zenith),
        outside=_array(extraterrestrial_w_m2),
        tilt_deg=tilt_deg,
    )
    ground = scene.ghi * albedo * views(tilt_deg)[1]
    return Plane(
        beam_w_m2=scene.dni * scene.facing,
        diffuse_w_m2=np.maximum(_SKIES[model](scene), 0.0) + ground,
    )


def _isotropic(scene: _Scene) -> NDArray[np.float64]:
    return scene.dhi * scene.sky_view


def _hay_davies(scene: _Scene) -> NDArray[np.float64]:
    clear = scene.dni / scene.outside
    return scene.dhi * (clear * scene.ratio + (1.0 - clear) * scene.sky_view)


def _reindl(scene: _Scene) -> NDArray[np.float64]:
    clear = scene.dni / scene.outside
    level = scene.dni * np.maximum(scene.height, _LOWEST_COS_ZENITH)
    # Nothing from the sky at all: nothing from its rim either, whatever the share.
    share = np.divide(level, scene.ghi, out=np.zeros_like(level), where=scene.ghi > 0.0)
    rim = 1.0 + np.sqrt(np.maximum(share, 0.0)) * np.sin(np.radians(scene.tilt_deg / 2.0)) ** 3
    return np.asarray(scene.dhi * (clear * scene.ratio + (1.0 - clear) * scene.sky_view * rim))


def _perez(scene: _Scene) -> NDArray[np.float64]:
    zenith = np.arccos(np.clip(scene.height, -1.0, 1.0))
    bright = scene.dhi * air_mass(scene.height) / scene.outside
    cubed = _PEREZ_KAPPA * zenith**3
    beam = np.divide(scene.dni, scene.dhi, out=np.zeros_like(zenith), where=scene.dhi > 0.0)
    clear = (1.0 + beam + cubed) / (1.0 + cubed)
    row = _PEREZ[np.digitize(clear, _PEREZ_EDGES)]
    around = np.maximum(row[..., 0] + row[..., 1] * bright + row[..., 2] * zenith, 0.0)
    rim = row[..., 3] + row[..., 4] * bright + row[..., 5] * zenith
    seen = (
        (1.0 - around) * scene.sky_view
        + around * scene.facing / np.maximum(scene.height, _LOWEST_COS_PEREZ)
        + rim * np.sin(np.radians(scene.tilt_deg))
    )
    return np.asarray(scene.dhi * seen)


_SKIES: Mapping[SkyModel, Callable[[_Scene], NDArray[np.float64]]] = {
    "isotropic": _isotropic,
    "hay_davies": _hay_davies,
    "reindl": _reindl,
    "perez": _perez,
}


def air_mass(cos_zenith: ArrayLike) -> NDArray[np.float64]:
    """Give the way of the light through the air, 1 with the sun overhead.

    Parameters
    ----------
    cos_zenith : array_like
        Cosine of the zenith angle [-]; a sun below the horizon counts as on it.

    Returns
    -------
    ndarray
        Relative optical air mass [-], 1 to 38.

    References
    ----------
    Kasten & Young (1989).
    """
    height = np.clip(_array(cos_zenith), 0.0, 1.0)
    elevation_deg = np.degrees(np.arcsin(height))
    return np.asarray(1.0 / (height + 0.50572 * (elevation_deg + 6.07995) ** -1.6364))


def views(tilt_deg: float) -> tuple[float, float]:
    """Give the shares of the hemisphere that sky and ground fill for a plane [-]."""
    cosine = float(np.cos(np.radians(tilt_deg)))
    return 0.5 * (1.0 + cosine), 0.5 * (1.0 - cosine)


def _array(values: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(values, dtype=np.float64)
