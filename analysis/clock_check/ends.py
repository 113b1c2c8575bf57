"""The first and the last light of a day stand as far from the sun's noon on either side."""

import math

import numpy as np

from analysis.record import Bools, Floats, Ints
from analysis.site import Site
from analysis.sun import sun_vectors
from analysis.units import SECONDS_PER_DAY

# Light in which the sky counts more than the sun itself, so that the plane matters little [W/m2].
_FIRST_LIGHT_W_M2 = 15.0


def light_ends(time_s: Ints, light_w_m2: Floats, *, step_s: float) -> tuple[Floats, Floats]:
    """Give the first and the last light of each day that shows both, with dark beside them.

    Parameters
    ----------
    time_s : shape (n,), rising instants [s]
    light_w_m2 : shape (n,), of a sensor in any plane; no NaN [W/m2]
    step_s : usual step between instants [s]

    Returns
    -------
    tuple of ndarray
        Halfway between the two rows of each end, shape (days that show both,) [s].
    """
    bright: Bools = light_w_m2 > _FIRST_LIGHT_W_M2
    if not bright.any() or bright.all():
        return np.zeros(0), np.zeros(0)
    # Days run from the middle of one dark to the next, whatever the clock says.
    angle = 2.0 * math.pi * (time_s[bright] % SECONDS_PER_DAY) / SECONDS_PER_DAY
    noon_frac = math.atan2(np.sin(angle).mean(), np.cos(angle).mean()) / (2.0 * math.pi)
    rows = np.flatnonzero(bright)
    day = np.floor(time_s[rows] / SECONDS_PER_DAY - noon_frac + 0.5).astype(np.int64)
    turn = np.diff(day) > 0
    first, last = rows[np.append(True, turn)], rows[np.append(turn, True)]
    good = (last > first) & (first > 0) & (last < len(time_s) - 1)
    first, last = first[good], last[good]
    near = (time_s[first] - time_s[first - 1] <= 2.0 * step_s) & (
        time_s[last + 1] - time_s[last] <= 2.0 * step_s
    )
    first, last = first[near], last[near]
    return (
        0.5 * (time_s[first] + time_s[first - 1]).astype(np.float64),
        0.5 * (time_s[last] + time_s[last + 1]).astype(np.float64),
    )


def after_noon_s(time_s: Floats, site: Site) -> Floats:
    """Give how long after the sun's noon instants are [s], half a day at most either way."""
    sun = sun_vectors(
        time_s=time_s.astype(np.int64),
        latitude_deg=site.place.latitude_deg,
        longitude_deg=site.place.longitude_deg,
        elevation_m=site.place.elevation_m,
    )
    latitude = math.radians(site.place.latitude_deg)
    along = sun.up * math.cos(latitude) - sun.north * math.sin(latitude)
    return np.asarray(np.arctan2(-sun.east, along) / (2.0 * math.pi) * SECONDS_PER_DAY)
