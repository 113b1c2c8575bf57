"""Delivered and expected heat over any set of days, with 95 % bounds.

What stays the same at a site all year (sensor limits, flow, fluid, method, certificate, pipes) adds
linearly over the days; only sampling is random and adds in quadrature. The independent effects are
then combined in quadrature and widened to 95 % (JCGM 100:2008, 5.1.2 and 6.2).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from analysis.day_figures import EXPECTED_PARTS, HEAT_PARTS
from analysis.day_sums import sums_over
from analysis.days import DayTable
from analysis.record import Floats, known_or_zero
from analysis.results import Bounded
from analysis.site import Site
from analysis.sitefile import facts_of_spans
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


def padded(sets: Sequence[Days]) -> Days:
    """Give sets of days of any length as one array; shape (sets, longest), -1 where none is left.

    Parameters
    ----------
    sets : of each its days, rows of the table; at least one set
    """
    found = np.full((len(sets), max(len(days) for days in sets)), -1, dtype=np.int64)
    for row, days in zip(found, sets, strict=True):
        row[: len(days)] = days
    return found


def delivered(table: DayTable, days: Days) -> Bounded | None:
    """Give delivered heat over days [kWh], None where no day has any."""
    return delivered_each(table, days[None]).one(0)


def delivered_each(table: DayTable, days: Days) -> Bands:
    """Give delivered heat over several sets of days [kWh].

    Parameters
    ----------
    table : every day
    days : shape (sets, days of a set), rows of the table; -1 as in `padded`
    """
    known, total, random, *each = sums_over(days, _heat_rows(table))
    reach = COVERAGE_95 * np.sqrt(random + np.square(each).sum(axis=0))
    total = np.where(known > 0.0, total, np.nan)
    return Bands(value=total, low=total - reach, high=total + reach)


def expected(table: DayTable, days: Days, site: Site) -> Bounded | None:
    """Give the healthy figure over days [kWh].

    None where the sun is unknown on logged days that hold more than `MISSING_FRAC` of the heat.
    """
    return expected_each(table, days[None], site).one(0)


def expected_each(table: DayTable, days: Days, site: Site) -> Bands:
    """Give the healthy figure over several sets of days [kWh].

    Parameters
    ----------
    table : every day
    days : shape (sets, days of a set), rows of the table; -1 as in `padded`
    site : the site as its file states it
    """
    known, missing, whole, total, random, sun, *each = sums_over(days, _healthy_rows(table, site))
    sums = dict(zip(EXPECTED_PARTS, each, strict=True))
    total = np.where((known > 0.0) & ~(missing > MISSING_FRAC * whole), total, np.nan)
    effects = (
        sun,
        OPTICS_FRAC * (sums["gain"] + sums["standing"]),
        LOSS_FRAC * sums["loss"],
        (PIPE_FRAC if site.loop.pipe_length_m else GUESSED_PIPE_FRAC) * sums["pipe"],
        STORED_FRAC * sums["stored"],
        STANDING_FRAC * sums["standing"],
    )
    reach = COVERAGE_95 * np.sqrt(random + np.square(effects).sum(axis=0))
    low = np.maximum(total - reach, np.minimum(total, 0.0))
    return Bands(value=total, low=low, high=total + reach)


# Days, months, years and each finding ask for sums of one table in turn; no older one is held.
@lru_cache(maxsize=1)
def _heat_rows(table: DayTable) -> Floats:
    """Give what delivered heat is summed from, of each day; shape (figures, days)."""
    heat, random = table.column("heat_kwh"), table.column("heat_random_kwh2")
    parts = [table.column(f"heat_{part}_u_kwh") for part in HEAT_PARTS]
    return np.array([np.isfinite(heat), heat, random, *parts], order="F")


@lru_cache(maxsize=1)
def _healthy_rows(table: DayTable, site: Site) -> Floats:
    """Give what the healthy figure is summed from, of each day; shape (figures, days)."""
    wanted, random = table.column("expected_kwh"), table.column("expected_random_kwh2")
    size, told = np.abs(table.column("heat_kwh")), np.isfinite(wanted)
    parts = {name: table.column(f"expected_{name}_kwh") for name in EXPECTED_PARTS}
    sun = sun_u_frac(table, site) * (parts["gain"] + parts["standing"])
    missing = np.where(told, 0.0, size)
    return np.array([told, missing, size, wanted, random, sun, *parts.values()], order="F")


@lru_cache(maxsize=1)
def sun_u_frac(table: DayTable, site: Site) -> Floats:
    """Give each day's standard uncertainty of the sun, by its source and sensor; shape (n,) [-]."""
    number = known_or_zero(table.column("sky_source")).astype(np.int64)
    facts = facts_of_spans(site, table.days.dates)
    percent = np.repeat(
        [one.sensors.irradiance_percent for one, _ in facts], [days for _, days in facts]
    )
    percent = np.where(number == WEATHER, 0.0, percent)
    frac = np.hypot(percent / 100.0 / COVERAGE_95, _SOURCE_FRACS[number])
    return np.asarray(np.hypot(frac, known_or_zero(table.column("sun_drift_u_frac"))))
