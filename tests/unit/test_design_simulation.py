"""EN 15316-4-3 against hour by hour simulations of the same system: 15 % over a year.

A small share of `tests.bench.design`, which prints all of it.
"""

import numpy as np
import pytest

from analysis.design.climate import mains_c
from analysis.design.promise import METHOD
from analysis.design.typical_year import parse_climate
from tests.build import a_run, a_site
from tests.build_design import (
    GREENSBORO,
    HEATERS,
    against_library,
    against_own_simulation,
    library_mains_c,
    planes_by_mean_day,
    planes_hour_by_hour,
)

WITHIN_FRAC = 0.15


@pytest.mark.parametrize("heater", HEATERS, ids=[heater.name for heater in HEATERS])
def test_years_of_an_independent_library_are_met(heater):
    years = against_library(heater, GREENSBORO)
    assert years.simulated_kwh > 1000.0
    assert abs(years.off_frac(METHOD)) < WITHIN_FRAC


def test_year_of_our_own_simulation_is_met():
    run = a_run("home", seed=1, start="2025-01-01", days=365, changes=())
    assert abs(against_own_simulation("home", run).off_frac(METHOD)) < WITHIN_FRAC


def test_mains_are_those_of_the_library():
    """The library has an implementation of its own of the same published algorithm."""
    place = {"latitude_deg": 36.1, "longitude_deg": -79.95}
    climate = parse_climate("a", GREENSBORO.read_bytes(), site=a_site(place=place))
    np.testing.assert_allclose(mains_c(climate.air_c), library_mains_c(GREENSBORO), atol=0.3)


@pytest.mark.parametrize(("tilt_deg", "azimuth_deg"), [(38.0, 180.0), (38.0, 90.0), (60.0, 200.0)])
def test_mean_day_brings_about_the_sun_of_the_hours_to_a_plane(tilt_deg, azimuth_deg):
    hourly = planes_hour_by_hour(GREENSBORO, tilt_deg, azimuth_deg)
    found = planes_by_mean_day(GREENSBORO, tilt_deg, azimuth_deg)
    assert found.sum() == pytest.approx(hourly.sum(), rel=0.05)
    np.testing.assert_allclose(found, hourly, rtol=0.12)
