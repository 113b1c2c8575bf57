"""The climate that a design rests on: from the site file, else the coarse table for Great Britain
and Ireland, else none.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from analysis.design import appendix_u, mean_day
from analysis.design.mean_day import MonthlyPlane
from analysis.design.system import DAYS, HOURS
from analysis.record import Floats
from analysis.site import Horizon, Place, Site
from analysis.sources import BURCH_CHRISTENSEN

SOURCES = (*appendix_u.SOURCES, *mean_day.SOURCES, BURCH_CHRISTENSEN)

WHAT_TO_GIVE = (
    "give a [climate] table in the site file; `suntally climate FILE SITE.toml` writes one from a "
    "typical year (EPW, TMY3 layout or PVGIS)"
)

# The table knows no other places; a clock on one of these stands within its reach.
_BRITISH_ZONES = frozenset({
    "Europe/London", "Europe/Belfast", "Europe/Isle_of_Man", "Europe/Jersey", "Europe/Guernsey",
    "GB", "GB-Eire",
})  # fmt: skip
_IRISH_ZONES = frozenset({"Europe/Dublin", "Eire"})
# Western regions of much the same latitudes as the Republic of Ireland, for which there is no row.
_ATLANTIC = (4, 5, 13, 21)
# A clock with a British zone on another continent is a slip; the Channel Islands are still near.
_FARTHEST_DEG = 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignClimate:
    """Monthly climate of a place; sequences of twelve, January first.

    Attributes
    ----------
    words : where it comes from, for people
    coarse : whether it is a region's rather than the place's own
    latitude_deg : of the place
    horizontal_kwh_m2, diffuse_kwh_m2 : on the level, global and diffuse
    air_c, cold_c : outdoor air and water from the mains
    region : the row of Appendix U that it is, None where it is the site's own
    horizon : what stands around the arrays
    """

    words: str
    coarse: bool
    latitude_deg: float
    horizontal_kwh_m2: tuple[float, ...]
    diffuse_kwh_m2: tuple[float, ...]
    air_c: tuple[float, ...]
    cold_c: tuple[float, ...]
    region: appendix_u.Region | None
    horizon: Horizon | None

    def plane(self, *, tilt_deg: float, azimuth_deg: float) -> MonthlyPlane:
        """Give the irradiation on a plane in each month.

        A region of Appendix U has its own formula for planes; the share that is diffuse, and what
        the horizon takes, come from the mean day there, too.
        """
        found = self._on(tilt_deg, azimuth_deg, self.horizon)
        if self.region is None:
            return found
        free = self._on(tilt_deg, azimuth_deg, None).total_kwh_m2
        table = appendix_u.plane_w_m2(
            region=self.region, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg
        )
        scale = table * HOURS / 1000.0 / np.maximum(free, 1e-9)
        return MonthlyPlane(
            beam_kwh_m2=found.beam_kwh_m2 * scale, diffuse_kwh_m2=found.diffuse_kwh_m2 * scale
        )

    def _on(self, tilt_deg: float, azimuth_deg: float, horizon: Horizon | None) -> MonthlyPlane:
        return mean_day.monthly_plane(
            horizontal_kwh_m2=self.horizontal_kwh_m2,
            diffuse_kwh_m2=self.diffuse_kwh_m2,
            latitude_deg=self.latitude_deg,
            tilt_deg=tilt_deg,
            azimuth_deg=azimuth_deg,
            horizon=horizon,
        )


def climate_of(site: Site) -> DesignClimate | None:
    """Give the climate that the design of a site rests on; None where none is known.

    Parameters
    ----------
    site : the facts of one day
    """
    if site.climate is None:
        return _table_climate(site.place, site.horizon)
    given = site.climate
    latitude = site.place.latitude_deg
    diffuse = given.diffuse_kwh_m2
    if diffuse is None:
        share = mean_day.diffuse_frac(
            horizontal_kwh_m2=given.horizontal_kwh_m2, latitude_deg=latitude
        )
        diffuse = _tuple(share * np.array(given.horizontal_kwh_m2))
    return DesignClimate(
        words=given.source,
        coarse=False,
        latitude_deg=latitude,
        horizontal_kwh_m2=given.horizontal_kwh_m2,
        diffuse_kwh_m2=diffuse,
        air_c=given.air_c,
        cold_c=_tuple(mains_c(given.air_c)),
        region=None,
        horizon=site.horizon,
    )


@lru_cache(maxsize=64)
def _table_climate(place: Place, horizon: Horizon | None) -> DesignClimate | None:
    found = region_of(place)
    if found is None:
        return None
    region, words = found
    level = np.array(region.horizontal_w_m2) * HOURS / 1000.0
    share = mean_day.diffuse_frac(horizontal_kwh_m2=level, latitude_deg=region.latitude_deg)
    return DesignClimate(
        words=words,
        coarse=True,
        latitude_deg=region.latitude_deg,
        horizontal_kwh_m2=_tuple(level),
        diffuse_kwh_m2=_tuple(level * share),
        air_c=appendix_u.AIR_C,
        cold_c=appendix_u.MAINS_C,
        region=region,
        horizon=horizon,
    )


def region_of(place: Place) -> tuple[appendix_u.Region, str] | None:
    """Give the region of Appendix U for a place, and words that say how it was chosen."""
    region, far = appendix_u.nearest(
        latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg
    )
    if place.timezone in _BRITISH_ZONES and far <= _FARTHEST_DEG:
        return region, (
            f"the table of SAP 2012, Appendix U, region {region.name} (coarse: the nearest of "
            "twenty-one, air as the UK average)"
        )
    if place.timezone in _IRISH_ZONES and far <= _FARTHEST_DEG + 2.0:
        western = [one for one in appendix_u.REGIONS if one.number in _ATLANTIC]
        region = min(western, key=lambda one: abs(one.latitude_deg - place.latitude_deg))
        return region, (
            f"the table of SAP 2012, Appendix U, region {region.name} (coarse: the table has no "
            "row for the Republic of Ireland; this is the western one of nearest latitude, air as "
            "the UK average)"
        )
    return None


def mains_c(air_c: Sequence[float]) -> Floats:
    """Give the temperature of water from the mains in each month; shape (12,) [°C].

    Parameters
    ----------
    air_c : shape (12,), means of the outdoor air [°C]; its warmest month says the hemisphere

    References
    ----------
    Burch & Christensen, NREL (2007), from memory; fitted to mains of the United States.
    """
    air_f = np.array(air_c) * 1.8 + 32.0
    mean_f = float(np.average(air_f, weights=DAYS))
    half_f = float(air_f.max() - air_f.min()) / 2.0
    ratio = 0.4 + 0.01 * (mean_f - 44.0)
    lag_days = 35.0 - (mean_f - 44.0)
    middle = np.cumsum(DAYS) - DAYS / 2.0
    south_deg = 180.0 if air_f[[11, 0, 1]].mean() > air_f[[5, 6, 7]].mean() else 0.0
    turn = np.radians(0.986 * (middle - 15.0 - lag_days) - 90.0 + south_deg)
    mains_f = mean_f + 6.0 + ratio * half_f * np.sin(turn)
    return np.asarray(np.maximum((mains_f - 32.0) / 1.8, 1.0))


def _tuple(values: Floats) -> tuple[float, ...]:
    return tuple(values.tolist())
