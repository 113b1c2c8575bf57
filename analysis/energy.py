"""Delivered and expected heat over any set of days, with 95 % bounds.

What stays the same at a site all year (sensor limits, flow, fluid, method, certificate, pipes) adds
linearly over the days; only sampling is random and adds in quadrature. The independent effects are
then combined in quadrature and widened to 95 % (JCGM 100:2008, 5.1.2 and 6.2).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.day_figures import EXPECTED_PARTS, HEAT_PARTS
from analysis.days import DayTable
from analysis.record import Floats
from analysis.results import Bounded
from analysis.site import Site
from analysis.sitefile import facts_of_days
from analysis.sky import SOURCES_OF_SUN, WEATHER
from analysis.uncertainty import COVERAGE_95

Days = NDArray[np.int64]

# Standard uncertainties of the healthy figure that stay the same all year, as shares of its parts.
# It is that of a collector of this description, so the certificate itself is taken as it is: the
# split of the sky with the modifiers (split checked against measured beam and diffuse, bias up to
# 3 %, of which the gain sees less than half), the place of the temperatures in the collector, pipes
# of usual insulation but unknown make, the heat capacity, and a whole loop worked out where the
# real one stood still (all engineering judgement).
OPTICS_FRAC = 0.015
LOSS_FRAC = 0.08
PIPE_FRAC = 0.25
STORED_FRAC = 0.25
STANDING_FRAC = 0.10
# Where the site file does not say how long the pipes are.
GUESSED_PIPE_FRAC = 0.5
MISSING_FRAC = 0.02
# A horizontal sensor or a weather file says less about the plane (engineering judgement).
SOURCE_FRAC = {"irradiance_plane": 0.0, "irradiance_horizontal": 0.05, "weather_file": 0.08}
_SOURCE_FRACS = np.array([SOURCE_FRAC[name] for name in SOURCES_OF_SUN])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bands:
    """Figures with 95 % bounds of several sets of days; shape (sets,), NaN where not known."""

    value: Floats
    low: Floats
    high: Floats

    def one(self, number: int) -> Bounded | None:
        """Give one figure, None where it is not known."""
        if np.isnan(self.value[number]):
            return None
        value, low, high = (float(part[number]) for part in (self.value, self.low, self.high))
        return Bounded(value=value, low=low, high=high)


def delivered(table: DayTable, days: Days) -> Bounded | None:
    """Give delivered heat over days [kWh], None where no day has any."""
    return delivered_each(table, days[None]).one(0)


def delivered_each(table: DayTable, days: Days) -> Bands:
    """Give delivered heat over several sets of days, shape (sets, days of a set) [kWh]."""
    heat = table.column("heat_kwh")[days]
    total = np.where(np.isfinite(heat).any(axis=1), np.nansum(heat, axis=1), np.nan)
    variance = _sums(table, "heat_random_kwh2", days)
    for part in HEAT_PARTS:
        variance = variance + _sums(table, f"heat_{part}_u_kwh", days) ** 2
    reach = COVERAGE_95 * np.sqrt(variance)
    return Bands(value=total, low=total - reach, high=total + reach)


def expected(table: DayTable, days: Days, site: Site) -> Bounded | None:
    """Give the healthy figure over days [kWh].

    None where the sun is unknown on logged days that hold more than `MISSING_FRAC` of the heat.
    """
    return expected_each(table, days[None], site).one(0)


def expected_each(table: DayTable, days: Days, site: Site) -> Bands:
    """Give the healthy figure over several sets of days, shape (sets, days of a set) [kWh]."""
    wanted, heat = table.column("expected_kwh")[days], table.column("heat_kwh")[days]
    size = np.abs(np.nan_to_num(heat))
    missing = np.where(np.isfinite(wanted), 0.0, size).sum(axis=1)
    known = np.isfinite(wanted).any(axis=1) & ~(missing > MISSING_FRAC * size.sum(axis=1))
    total = np.where(known, np.nansum(wanted, axis=1), np.nan)
    parts = {name: _sums(table, f"expected_{name}_kwh", days) for name in EXPECTED_PARTS}
    effects = (
        _sun_u_kwh(table, days, site),
        OPTICS_FRAC * (parts["gain"] + parts["standing"]),
        LOSS_FRAC * parts["loss"],
        (PIPE_FRAC if site.loop.pipe_length_m else GUESSED_PIPE_FRAC) * parts["pipe"],
        STORED_FRAC * parts["stored"],
        STANDING_FRAC * parts["standing"],
    )
    variance = sum(effect**2 for effect in effects) + _sums(table, "expected_random_kwh2", days)
    reach = COVERAGE_95 * np.sqrt(variance)
    low = np.maximum(total - reach, np.minimum(total, 0.0))
    return Bands(value=total, low=low, high=total + reach)


def _sums(table: DayTable, name: str, days: Days) -> Floats:
    return np.asarray(np.nansum(table.column(name)[days], axis=1))


def _sun_u_kwh(table: DayTable, days: Days, site: Site) -> Floats:
    """Give the standard uncertainty that the irradiance brings, with each day's sensor [kWh]."""
    lit = table.column("expected_gain_kwh")[days] + table.column("expected_standing_kwh")[days]
    return np.asarray(np.nansum(sun_u_frac(table, days, site) * lit, axis=1))


def sun_u_frac(table: DayTable, days: Days, site: Site) -> Floats:
    """Give each day's standard uncertainty of the sun, by its source and sensor [-]."""
    number = np.nan_to_num(table.column("sky_source")).astype(np.int64)
    facts = facts_of_days(site, table.days.dates)
    percent = np.array([one.sensors.irradiance_percent for one in facts])
    percent = np.where(number == WEATHER, 0.0, percent)
    frac = np.hypot(percent / 100.0 / COVERAGE_95, _SOURCE_FRACS[number])
    drift = np.nan_to_num(table.column("sun_drift_u_frac"))
    return np.asarray(np.hypot(frac, drift)[days])
