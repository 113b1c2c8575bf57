"""The error of a logger's clock, told by the sun.

Daylight begins and ends as far from noon on either side. The middle between the first and the last
light that an irradiance sensor sees on a day, against the sun's own noon at the place, is the error
of the clock. A plane that does not face the equator sees one end a little earlier than the other,
and clouds move single days: the first is an uncertainty that stays, the second one that days even
out.
"""

import math
from dataclasses import dataclass

import numpy as np

from analysis.record import Bools, Floats, Ints
from analysis.site import Site
from analysis.sun import SunVectors, sun_vectors
from analysis.units import SECONDS_PER_DAY

# Light in which the sky counts more than the sun itself, so that the plane matters little [W/m2].
_FIRST_LIGHT_W_M2 = 15.0
_FEWEST_DAYS = 3
# What stays however many days there are: haze, hills, the plane (engineering judgement, measured
# by tests/unit/test_meaning_clock.py) [s], and for each degree away from the equator [s].
_STAYS_S, _PER_DEGREE_S = 150.0, 6.0
_COVER_95 = 1.96
# A clock that is off by less than this is good enough for every figure (engineering judgement).
_WORTH_S = 600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockError:
    """By how much a clock is wrong.

    Attributes
    ----------
    error_s : positive where the clock is ahead; subtract it from the stamps to correct them [s]
    u_s : standard uncertainty [s]
    days : days that it was read off
    """

    error_s: float
    u_s: float
    days: int

    @property
    def is_wrong(self) -> bool:
        """Whether it is wrong by more than its uncertainty and by enough to matter."""
        return abs(self.error_s) > max(_COVER_95 * self.u_s, _WORTH_S)

    @property
    def says(self) -> str:
        """One sentence for people."""
        minutes, give = abs(self.error_s) / 60.0, _COVER_95 * self.u_s / 60.0
        seen = f"by the first and last light of {self.days} days"
        if not self.is_wrong:
            return f"the clock fits the sun, {seen}, within {max(give, minutes):.0f} minutes"
        way = "ahead" if self.error_s > 0.0 else "behind"
        return (
            f"the clock is about {minutes:.0f} minutes {way} of the sun (give or take {give:.0f}), "
            f"{seen}: check the logger's clock and zone, or set timezone in the [log] table"
        ).replace("behind of", "behind")


def clock_error(*, stamp_s: Ints, irradiance_w_m2: Floats, site: Site) -> ClockError | None:
    """Estimate the error of a clock from an irradiance sensor.

    Parameters
    ----------
    stamp_s : ndarray of int64, shape (n,)
        Rising stamps as logged, taken for UTC after the stated zone [s].
    irradiance_w_m2 : ndarray, shape (n,)
        In the plane or horizontal; NaN where unknown [W/m²].
    site : Site
        Place and planes.

    Returns
    -------
    ClockError or None
        None where fewer than three days show both ends of the light.
    """
    known = np.isfinite(irradiance_w_m2)
    stamps, light = stamp_s[known], irradiance_w_m2[known]
    if stamps.size < 2:
        return None
    step_s = float(np.median(np.diff(stamps)))
    firsts, lasts = _ends(stamps, light, site.place.longitude_deg, step_s)
    if firsts.size < _FEWEST_DAYS:
        return None
    angles = [_hour_angle(_sun(site, ends), site.place.latitude_deg) for ends in (firsts, lasts)]
    middle_s = 0.5 * (angles[0] + angles[1]) / (2.0 * math.pi) * SECONDS_PER_DAY
    # A stamp marks the end of a step as a rule; half a step is within the uncertainty.
    centre = float(np.median(middle_s))
    spread = 1.4826 * float(np.median(np.abs(middle_s - centre)))
    aside = max(
        abs((array.azimuth_deg - _facing(site) + 180.0) % 360.0 - 180.0) for array in site.arrays
    )
    u_s = math.sqrt(
        _STAYS_S**2
        + (_PER_DEGREE_S * min(aside, 90.0)) ** 2
        + (1.2533 * spread) ** 2 / firsts.size
        + step_s**2 / 12.0
    )
    return ClockError(error_s=centre, u_s=u_s, days=int(firsts.size))


def _facing(site: Site) -> float:
    return 180.0 if site.place.latitude_deg >= 0.0 else 0.0


def _sun(site: Site, time_s: Floats) -> SunVectors:
    return sun_vectors(
        time_s=time_s.astype(np.int64),
        latitude_deg=site.place.latitude_deg,
        longitude_deg=site.place.longitude_deg,
        elevation_m=site.place.elevation_m,
    )


def _hour_angle(sun: SunVectors, latitude_deg: float) -> Floats:
    """Give the hour angle, negative before noon [rad]."""
    latitude = math.radians(latitude_deg)
    along = sun.up * math.cos(latitude) - sun.north * math.sin(latitude)
    return np.arctan2(-sun.east, along)


def _ends(
    stamps: Ints, light: Floats, longitude_deg: float, step_s: float
) -> tuple[Floats, Floats]:
    """Give the first and the last light of each day that shows both, between two rows each."""
    bright: Bools = light > _FIRST_LIGHT_W_M2
    # Days run from the middle of one dark to the next, whatever the clock says.
    if not bright.any() or bright.all():
        return np.zeros(0), np.zeros(0)
    angle = 2.0 * math.pi * (stamps[bright] % SECONDS_PER_DAY) / SECONDS_PER_DAY
    noon_s = math.atan2(np.sin(angle).mean(), np.cos(angle).mean()) / (2.0 * math.pi)
    day = np.floor((stamps - noon_s * SECONDS_PER_DAY) / SECONDS_PER_DAY + 0.5).astype(np.int64)
    day -= day.min()
    rows = np.flatnonzero(bright)
    count = int(day.max()) + 1
    first, last = np.full(count, len(stamps)), np.full(count, -1)
    np.minimum.at(first, day[rows], rows)
    np.maximum.at(last, day[rows], rows)
    good = (last > first) & (first > 0) & (last < len(stamps) - 1)
    first, last = first[good], last[good]
    # Dark must be seen right before and right after.
    near = (stamps[first] - stamps[first - 1] <= 2.0 * step_s) & (
        stamps[last + 1] - stamps[last] <= 2.0 * step_s
    )
    first, last = first[near], last[near]
    return (
        0.5 * (stamps[first] + stamps[first - 1]).astype(np.float64),
        0.5 * (stamps[last] + stamps[last + 1]).astype(np.float64),
    )
