"""The curves that a cloudless day and an even sky would draw, to lay over what a collector did."""

from dataclasses import dataclass

import numpy as np

from analysis.cloudless import clear_sky
from analysis.collector import gain_w_m2, incidence_modifier
from analysis.record import Floats, Ints, known_or_zero
from analysis.site import Site
from analysis.sources import INEICHEN
from analysis.sun import (
    SunVectors,
    absorber_plane,
    extraterrestrial_w_m2,
    horizon_blocks,
    incidence,
    tube_angles,
)

SOURCES = (INEICHEN,)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curves:
    """What would be seen; arrays of the shape of the times.

    Attributes
    ----------
    beam : optical gain of all collectors from the sun itself on a cloudless day [W]
    even : sine of the sun's height, never negative: light from the whole sky goes with it [-]
    """

    beam: Floats
    even: Floats


def curves(*, site: Site, time_s: Ints, sun: SunVectors) -> Curves:
    """Give the curves of cloudless and of even light at instants.

    Parameters
    ----------
    site : place, collectors with their incidence modifiers, horizon
    time_s : instants of any shape, UTC epoch seconds [s]
    sun : where the sun stands at them
    """
    up = sun.up > 0.0
    high = sun.at(up)
    sky = clear_sky(
        cos_zenith=high.up,
        extraterrestrial_w_m2=extraterrestrial_w_m2(time_s[up]),
        elevation_m=site.place.elevation_m,
    )
    seen = ~horizon_blocks(high, site.horizon)
    beam = np.zeros(time_s.shape)
    beam[up] = sky.dni * _facing_m2(site, high) * seen
    return Curves(beam=beam, even=np.maximum(sun.up, 0.0))


def _facing_m2(site: Site, sun: SunVectors) -> Floats:
    """Give the optical gain of all collectors for a beam of 1 W/m2 [m2]."""
    total = np.zeros(sun.up.shape)
    for array in site.arrays:
        tilt_deg, azimuth_deg = absorber_plane(
            tilt_deg=array.tilt_deg,
            azimuth_deg=array.azimuth_deg,
            tubes_run=array.tubes_run,
            absorber_turn_deg=array.absorber_turn_deg,
            latitude_deg=site.place.latitude_deg,
        )
        along, across = tube_angles(
            sun=sun,
            tilt_deg=array.tilt_deg,
            azimuth_deg=array.azimuth_deg,
            tubes_run=array.tubes_run,
            absorber_turn_deg=array.absorber_turn_deg,
            latitude_deg=site.place.latitude_deg,
        )
        cosine = incidence(sun=sun, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg)
        gain = gain_w_m2(
            array=array,
            beam_w_m2=np.maximum(cosine, 0.0),
            diffuse_w_m2=np.zeros(cosine.shape),
            modifier=incidence_modifier(
                array=array, theta_longitudinal_deg=along, theta_transversal_deg=across
            ),
        )
        total += array.area_m2 * known_or_zero(gain)
    return total


def eastward(site: Site, *, arrays: int | None = None) -> float:
    """Give how far collectors are turned away from the meridian, 0 to 1.

    Parameters
    ----------
    site : its arrays
    arrays : how many of the first count; None: all

    Returns
    -------
    float
        East or west part of their mean normal, weighted by area [-].
    """
    counted = site.arrays[:arrays]
    part = sum(
        array.area_m2 * np.sin(np.radians(array.tilt_deg)) * np.sin(np.radians(array.azimuth_deg))
        for array in counted
    )
    return float(abs(part) / sum(array.area_m2 for array in counted))
