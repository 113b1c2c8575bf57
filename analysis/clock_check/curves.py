"""The curves that a cloudless day and an even sky would draw, to lay over what a collector did."""

from dataclasses import dataclass

import numpy as np

from analysis.cloudless import clear_sky
from analysis.collector import gain_w_m2
from analysis.record import Floats, known_or_zero
from analysis.site import Site
from analysis.sky import Daylight
from analysis.sources import INEICHEN
from analysis.sun import absorber_plane

SOURCES = (INEICHEN,)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curves:
    """What would be seen; arrays of one shape.

    Attributes
    ----------
    beam : optical gain of all collectors from the sun itself on a cloudless day [W]
    even : sine of the sun's height, never negative: light from the whole sky goes with it [-]
    """

    beam: Floats
    even: Floats


def curves(daylight: Daylight) -> Curves:
    """Give the curves of cloudless and of even light on the bins; shape (days, bins)."""
    sky = clear_sky(
        cos_zenith=daylight.toward.up,
        extraterrestrial_w_m2=daylight.outside_w_m2,
        elevation_m=daylight.site.place.elevation_m,
    )
    beam = np.zeros(daylight.grid.shape)
    beam.ravel()[daylight.bins] = sky.dni * _facing_m2(daylight) * ~daylight.blocked
    return Curves(beam=beam, even=np.maximum(daylight.sun.up, 0.0))


def _facing_m2(daylight: Daylight) -> Floats:
    """Give the optical gain of all collectors for a beam of 1 W/m2 [m2]."""
    total = np.zeros(daylight.bins.shape)
    for array, modifier in zip(daylight.site.arrays, daylight.modifiers, strict=True):
        plane = absorber_plane(
            tilt_deg=array.tilt_deg,
            azimuth_deg=array.azimuth_deg,
            tubes_run=array.tubes_run,
            absorber_turn_deg=array.absorber_turn_deg,
            latitude_deg=daylight.site.place.latitude_deg,
        )
        facing = np.maximum(daylight.cos_incidence(*plane), 0.0)
        gain = gain_w_m2(array=array, beam_w_m2=facing, diffuse_w_m2=0.0, modifier=modifier)
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
