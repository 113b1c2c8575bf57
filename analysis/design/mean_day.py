"""From monthly sums on the level to monthly sums on a plane, through one mean day of each month.

Each month stands for its mean day: the sums are spread over it by the sun's height, brought to the
plane after Hay & Davies, and added up again. Against hour by hour transposition of typical years
the twelve sums differ by a few per cent (see `tests.bench.design`).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.design.system import DAYS, HOURS_PER_DAY
from analysis.record import Floats
from analysis.site import Horizon
from analysis.sources import DUFFIE_BECKMAN
from analysis.sun import SunVectors, horizon_blocks, incidence
from analysis.transposition import transpose

SOURCES = (DUFFIE_BECKMAN.at("tables 1.6.1 and eqs. 1.4.1a, 1.6.1a, 2.12.1, 2.13.1-2.13.2, 2.16"),)

# Day of the year whose extraterrestrial day is nearest the month's mean (Klein 1977).
_DAY_OF_YEAR = np.array([17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344], dtype=float)
_STEPS = 96
_SUN_W_M2 = 1367.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MonthlyPlane:
    """Irradiation on a plane in each month; shape (12,) [kWh/m2].

    Attributes
    ----------
    beam_kwh_m2, diffuse_kwh_m2 : straight from the sun, and from sky and ground
    """

    beam_kwh_m2: Floats
    diffuse_kwh_m2: Floats

    @property
    def total_kwh_m2(self) -> Floats:
        """Both together [kWh/m2]."""
        return self.beam_kwh_m2 + self.diffuse_kwh_m2

    @property
    def diffuse_frac(self) -> Floats:
        """Share of diffuse in each month, 1 where there is no sun at all [-]."""
        total = self.total_kwh_m2
        return np.asarray(
            np.divide(self.diffuse_kwh_m2, total, out=np.ones(len(total)), where=total > 0.0)
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Days:
    """The twelve mean days; arrays of shape (12, steps), or (12, 1)."""

    hour_deg: Floats
    sunset_deg: Floats
    outside_w_m2: Floats
    sun: SunVectors


def _days(latitude_deg: float) -> _Days:
    declination = np.radians(23.45 * np.sin(np.radians(360.0 * (284.0 + _DAY_OF_YEAR) / 365.0)))[
        :, None
    ]
    # Nearer the pole the sun may not set on the mean day; the limits hold there too.
    latitude = np.radians(np.clip(latitude_deg, -89.9, 89.9))
    hour_deg = ((np.arange(_STEPS) + 0.5) / _STEPS - 0.5)[None, :] * 360.0
    hour = np.radians(hour_deg)
    sunset = np.arccos(np.clip(-np.tan(latitude) * np.tan(declination), -1.0, 1.0))
    sun = SunVectors(
        east=-np.cos(declination) * np.sin(hour),
        north=np.sin(declination) * np.cos(latitude)
        - np.cos(declination) * np.cos(hour) * np.sin(latitude),
        up=np.sin(declination) * np.sin(latitude)
        + np.cos(declination) * np.cos(hour) * np.cos(latitude),
    )
    outside = _SUN_W_M2 * (1.0 + 0.033 * np.cos(np.radians(360.0 * _DAY_OF_YEAR / 365.0)))
    return _Days(
        hour_deg=hour_deg,
        sunset_deg=np.degrees(sunset),
        outside_w_m2=outside[:, None],
        sun=sun,
    )


def outside_kwh_m2(latitude_deg: float) -> Floats:
    """Give the extraterrestrial irradiation on the level in each month; shape (12,) [kWh/m2]."""
    days = _days(latitude_deg)
    mean_w_m2 = (np.clip(days.sun.up, 0.0, None) * days.outside_w_m2).mean(axis=1)
    return np.asarray(mean_w_m2 * HOURS_PER_DAY * DAYS / 1000.0)


def diffuse_frac(*, horizontal_kwh_m2: ArrayLike, latitude_deg: float) -> Floats:
    """Give the diffuse share of each month's sum on the level; shape (12,) [-].

    Parameters
    ----------
    horizontal_kwh_m2 : array_like, shape (12,)
        Global irradiation of the month [kWh/m2].
    latitude_deg : float
        Degrees north [°].

    References
    ----------
    Erbs, Klein & Duffie (1982); Duffie & Beckman, eq. 2.12.1 (from memory), for a clearness index
    of 0.3 to 0.8, held there.
    """
    outside = outside_kwh_m2(latitude_deg)
    given = np.asarray(horizontal_kwh_m2, dtype=np.float64)
    k = np.divide(given, outside, out=np.full(len(given), 0.3), where=outside > 0.0)
    k = np.clip(k, 0.3, 0.8)
    winter = 1.391 + k * (-3.560 + k * (4.189 - k * 2.137))
    rest = 1.311 + k * (-3.022 + k * (3.427 - k * 1.821))
    return np.asarray(np.where(_days(latitude_deg).sunset_deg[:, 0] <= 81.4, winter, rest))


def monthly_plane(
    *,
    horizontal_kwh_m2: ArrayLike,
    diffuse_kwh_m2: ArrayLike,
    latitude_deg: float,
    tilt_deg: float,
    azimuth_deg: float,
    horizon: Horizon | None = None,
) -> MonthlyPlane:
    """Bring monthly sums on the level to a plane.

    Parameters
    ----------
    horizontal_kwh_m2, diffuse_kwh_m2 : array_like, shape (12,)
        Global and diffuse irradiation of the month on the level [kWh/m2].
    latitude_deg : float
        Degrees north [°].
    tilt_deg, azimuth_deg : float
        The plane [°], azimuth clockwise from north.
    horizon : Horizon or None
        What stands around it and hides the sun.

    References
    ----------
    Duffie & Beckman: r_t of Collares-Pereira & Rabl (eq. 2.13.2), r_d of Liu & Jordan (eq. 2.13.4),
    both from memory; Hay & Davies (1980).
    """
    days = _days(latitude_deg)
    up = np.clip(days.sun.up, 0.0, None)
    late = np.radians(days.sunset_deg - 60.0)
    a, b = 0.409 + 0.5016 * np.sin(late), 0.6609 - 0.4767 * np.sin(late)
    whole = _spread(np.clip(a + b * np.cos(np.radians(days.hour_deg)), 0.0, None) * up)
    scattered = _spread(up)
    to_w_m2 = 1000.0 / (HOURS_PER_DAY * DAYS)
    ghi = np.asarray(horizontal_kwh_m2, dtype=np.float64)[:, None] * to_w_m2[:, None] * whole
    dhi = np.asarray(diffuse_kwh_m2, dtype=np.float64)[:, None] * to_w_m2[:, None] * scattered
    dhi = np.minimum(dhi, ghi)
    # Beam near the horizon is not known this finely; the outside bounds it.
    dni = np.divide(ghi - dhi, up, out=np.zeros_like(ghi), where=up > 0.0)
    flat = SunVectors(
        east=days.sun.east.ravel(), north=days.sun.north.ravel(), up=days.sun.up.ravel()
    )
    plane = transpose(
        ghi=ghi,
        dhi=dhi,
        dni=np.minimum(dni, days.outside_w_m2),
        cos_incidence=incidence(sun=flat, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg).reshape(
            ghi.shape
        ),
        cos_zenith=days.sun.up,
        extraterrestrial_w_m2=np.broadcast_to(days.outside_w_m2, ghi.shape),
        tilt_deg=tilt_deg,
    )
    seen = ~horizon_blocks(sun=flat, horizon=horizon).reshape(ghi.shape)
    return MonthlyPlane(
        beam_kwh_m2=(plane.beam_w_m2 * seen).mean(axis=1) / to_w_m2,
        diffuse_kwh_m2=plane.diffuse_w_m2.mean(axis=1) / to_w_m2,
    )


def _spread(weight: Floats) -> Floats:
    """Turn weights over the steps of a day into factors with a mean of 1; none where no sun is."""
    mean = weight.mean(axis=1, keepdims=True)
    return np.asarray(np.divide(weight, mean, out=np.zeros_like(weight), where=mean > 0.0))
