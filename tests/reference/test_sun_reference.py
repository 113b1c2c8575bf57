"""The sun's place against the SPA and textbook examples, angles against both."""

from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest
from pvlib import irradiance as pvlib_irradiance
from pvlib import solarposition

from analysis import sun
from tests.reference._ref import Ref

SPA_REPORT = "NREL/TP-560-34302, worked case of 17 October 2003 (quoted from memory)"
BOOK = "Duffie & Beckman, Solar Engineering of Thermal Processes, example "
VECTORS = "vector form of Theunissen & Beckman, recomputed apart"
GSC_BOOK_OVER_OURS = 1367.0 / 1361.0


def epoch_s(*when: int) -> np.ndarray:
    return np.array([int(datetime(*when, tzinfo=UTC).timestamp())], dtype=np.int64)


def from_angles(*, declination_deg, hour_angle_deg, latitude_deg) -> sun.SunVectors:
    """Give the direction that the textbook's angles mean."""
    d, h, p = np.radians(declination_deg), np.radians(hour_angle_deg), np.radians(latitude_deg)
    return sun.SunVectors(
        east=np.atleast_1d(-np.cos(d) * np.sin(h)),
        north=np.atleast_1d(np.sin(d) * np.cos(p) - np.cos(d) * np.cos(h) * np.sin(p)),
        up=np.atleast_1d(np.sin(d) * np.sin(p) + np.cos(d) * np.cos(h) * np.cos(p)),
    )


def from_horizontal_angles(*, zenith_deg, azimuth_deg) -> sun.SunVectors:
    z, a = np.radians(zenith_deg), np.radians(azimuth_deg)
    return sun.SunVectors(
        east=np.atleast_1d(np.sin(z) * np.sin(a)),
        north=np.atleast_1d(np.sin(z) * np.cos(a)),
        up=np.atleast_1d(np.cos(z)),
    )


@pytest.fixture(scope="module")
def spa_case():
    return sun.sun_vectors(
        time_s=epoch_s(2003, 10, 17, 19, 30, 30),
        latitude_deg=39.742476,
        longitude_deg=-105.1786,
        elevation_m=1830.14,
    )


# The report's 820 mbar and 11 °C bend the light by 0.0002 degrees more than our standard air.
def test_zenith_of_the_spa_case(spa_case):
    Ref(expected=50.11162, atol=1e-3, source=SPA_REPORT).check(sun.zenith_deg(spa_case))


def test_azimuth_of_the_spa_case(spa_case):
    Ref(expected=194.34024, atol=1e-3, source=SPA_REPORT).check(sun.azimuth_deg(spa_case))


def test_incidence_of_the_spa_case(spa_case):
    cosine = sun.incidence(sun=spa_case, tilt_deg=30.0, azimuth_deg=170.0)
    Ref(expected=25.18700, atol=1e-3, source=SPA_REPORT).check(np.degrees(np.arccos(cosine)))


def directions(place, vectors):
    stamps = pd.to_datetime(place["time_s"], unit="s", utc=True)
    theirs = solarposition.get_solarposition(
        stamps, place["latitude_deg"], place["longitude_deg"], place["elevation_m"]
    )
    zenith = np.radians(theirs["apparent_zenith"].to_numpy())
    azimuth = np.radians(theirs["azimuth"].to_numpy())
    expected = np.stack(
        [np.sin(zenith) * np.sin(azimuth), np.sin(zenith) * np.cos(azimuth), np.cos(zenith)]
    )
    return expected, np.stack([vectors.east, vectors.north, vectors.up])


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "elevation_m"),
    [(52.4, -1.5, 95.0), (-33.9, 18.4, 50.0), (64.1, -21.9, 10.0), (0.5, 101.0, 1500.0)],
)
def test_every_minute_of_a_fortnight_in_each_season_equals_the_spa(
    latitude_deg, longitude_deg, elevation_m
):
    starts = [int(datetime(2024, month, 10, tzinfo=UTC).timestamp()) for month in (1, 4, 7, 10)]
    place = {
        "time_s": np.concatenate([np.arange(s, s + 14 * 86400, 60) for s in starts]),
        "latitude_deg": latitude_deg,
        "longitude_deg": longitude_deg,
        "elevation_m": elevation_m,
    }
    expected, found = directions(place, sun.sun_vectors(**place))
    apart_deg = np.degrees(np.linalg.norm(expected - found, axis=0))
    # SPA through pvlib, numpy; 0.01 degrees were asked for.
    assert apart_deg[expected[2] > 0.0].max() < 3e-4


def test_scattered_stamps_over_thirty_years_equal_the_spa():
    rng = np.random.default_rng(7)
    place = {
        "time_s": np.sort(rng.integers(946_684_800, 1_893_456_000, 5000)),
        "latitude_deg": 52.4,
        "longitude_deg": -1.5,
        "elevation_m": 95.0,
    }
    expected, found = directions(place, sun.sun_vectors(**place))
    apart_deg = np.degrees(np.linalg.norm(expected - found, axis=0))
    assert apart_deg[expected[2] > 0.0].max() < 3e-4


def test_extraterrestrial_irradiance_follows_pvlibs_spencer_and_nrel_distances():
    time_s = np.arange(1_704_067_200, 1_704_067_200 + 366 * 86400, 43_200)
    stamps = pd.to_datetime(time_s, unit="s", utc=True)
    for method in ("spencer", "nrel"):
        theirs = pvlib_irradiance.get_extra_radiation(stamps, solar_constant=1361.0, method=method)
        np.testing.assert_allclose(sun.extraterrestrial_w_m2(time_s), theirs, rtol=1.5e-3)


@pytest.mark.parametrize(
    ("angles", "tilt_deg", "azimuth_deg", "ref"),
    [
        (
            {"declination_deg": -13.95, "hour_angle_deg": -22.5, "latitude_deg": 43.0},
            45.0,
            195.0,
            Ref(expected=35.16, atol=0.05, source=BOOK + "1.6.1 (book 35, from memory)"),
        ),
    ],
)
def test_incidence_of_the_textbook(angles, tilt_deg, azimuth_deg, ref):
    cosine = sun.incidence(sun=from_angles(**angles), tilt_deg=tilt_deg, azimuth_deg=azimuth_deg)
    ref.check(np.degrees(np.arccos(cosine)))


@pytest.mark.parametrize(
    ("declination_deg", "hour_angle_deg", "ref"),
    [
        (-14.0, -37.5, Ref(expected=66.55, atol=0.05, source=BOOK + "1.6.2a (book 66.5)")),
        (23.1, 97.5, Ref(expected=79.64, atol=0.05, source=BOOK + "1.6.2b (book 79.6)")),
        (-2.4, 87.76, Ref(expected=90.0, atol=0.05, source=BOOK + "1.6.3, sunset (book 87.8)")),
    ],
)
def test_zenith_of_the_textbook(declination_deg, hour_angle_deg, ref):
    vectors = from_angles(
        declination_deg=declination_deg, hour_angle_deg=hour_angle_deg, latitude_deg=43.0
    )
    ref.check(sun.zenith_deg(vectors))


@pytest.mark.parametrize(
    ("declination_deg", "hour_angle_deg", "ref"),
    [
        (-14.0, -37.5, Ref(expected=-40.08, atol=0.1, source=BOOK + "1.6.2a (book -40.0)")),
        (23.1, 97.5, Ref(expected=112.02, atol=0.1, source=BOOK + "1.6.2b (book 112.0)")),
    ],
)
def test_azimuth_of_the_textbook_counted_from_south(declination_deg, hour_angle_deg, ref):
    vectors = from_angles(
        declination_deg=declination_deg, hour_angle_deg=hour_angle_deg, latitude_deg=43.0
    )
    ref.check(sun.azimuth_deg(vectors) - 180.0)


@pytest.mark.parametrize(
    ("angles", "tilt_deg", "azimuth_deg", "ref"),
    [
        (
            {"declination_deg": -14.0, "hour_angle_deg": -22.5, "latitude_deg": 43.0},
            45.0,
            195.0,
            Ref(expected=1.666, atol=0.005, source=BOOK + "1.8.1 (book 1.66)"),
        ),
        (
            {"declination_deg": -13.0, "hour_angle_deg": -37.5, "latitude_deg": 40.0},
            30.0,
            180.0,
            Ref(expected=1.614, atol=0.005, source=BOOK + "1.8.2 (book 1.61)"),
        ),
    ],
)
def test_ratio_of_beam_on_tilted_and_level_plane(angles, tilt_deg, azimuth_deg, ref):
    vectors = from_angles(**angles)
    cosine = sun.incidence(sun=vectors, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg)
    ref.check(cosine / vectors.up)


def at_greenwich_noon_on_the_equator(*day):
    return sun.sun_vectors(
        time_s=epoch_s(*day, 12), latitude_deg=0.0, longitude_deg=0.0, elevation_m=0.0
    )


def test_equation_of_time_in_early_february():
    vectors = at_greenwich_noon_on_the_equator(2010, 2, 3)
    minutes = np.degrees(np.arctan2(-vectors.east, vectors.up)) * 4.0
    # The book's series is good to half a minute, years differ by a quarter.
    Ref(expected=-13.49, atol=0.5, source=BOOK + "1.5.1 (book -13.5)").check(minutes)


def test_declination_in_mid_february():
    vectors = at_greenwich_noon_on_the_equator(2010, 2, 13)
    # The book's one-term formula is up to 0.7 degrees off the true declination.
    ref = Ref(expected=-13.95, atol=0.7, source=BOOK + "1.6.1, eq. 1.6.1a")
    ref.check(np.degrees(np.arcsin(vectors.north)))


def test_daily_extraterrestrial_irradiation():
    time_s = epoch_s(2010, 4, 15, 0)[0] + np.arange(0, 86_400, 60)
    vectors = sun.sun_vectors(time_s=time_s, latitude_deg=43.0, longitude_deg=0.0, elevation_m=0.0)
    level = sun.extraterrestrial_w_m2(time_s) * np.maximum(vectors.up, 0.0)
    # True declination is 0.3 degrees above the book's formula that day.
    ref = Ref(expected=33.8, rtol=0.01, source=BOOK + "1.10.1, solar constant 1367 W/m2")
    ref.check(level.sum() * 60.0 / 1e6 * GSC_BOOK_OVER_OURS)


def test_hourly_extraterrestrial_irradiation():
    hour = from_angles(
        declination_deg=9.41, hour_angle_deg=np.linspace(-30.0, -15.0, 61), latitude_deg=43.0
    )
    outside = sun.extraterrestrial_w_m2(epoch_s(2010, 4, 15, 12))
    ref = Ref(expected=3.79, atol=0.01, source=BOOK + "1.10.2, solar constant 1367 W/m2")
    ref.check(np.trapezoid(hour.up, dx=60.0) * outside / 1e6 * GSC_BOOK_OVER_OURS)


def test_tube_angles_of_the_worked_example():
    vectors = from_horizontal_angles(zenith_deg=60.0, azimuth_deg=225.0)
    along, across = sun.tube_angles(sun=vectors, tilt_deg=35.0, azimuth_deg=180.0, tubes_run="up")
    cosine = sun.incidence(sun=vectors, tilt_deg=35.0, azimuth_deg=180.0)
    Ref(expected=40.464, atol=0.01, source=VECTORS).check(np.degrees(np.arccos(cosine)))
    Ref(expected=-15.768, atol=0.01, source=VECTORS).check(along)
    Ref(expected=38.830, atol=0.01, source=VECTORS).check(across)
    squares = np.tan(np.radians(along)) ** 2 + np.tan(np.radians(across)) ** 2
    Ref(expected=0.72758, atol=1e-4, source=VECTORS).check(squares)


def test_tube_angles_at_noon_on_the_equinox():
    vectors = from_angles(declination_deg=0.0, hour_angle_deg=0.0, latitude_deg=52.0)
    along, across = sun.tube_angles(sun=vectors, tilt_deg=37.0, azimuth_deg=180.0, tubes_run="up")
    Ref(expected=-15.0, atol=1e-6, source=VECTORS).check(along)
    Ref(expected=0.0, atol=1e-6, source=VECTORS).check(across)


def test_incidence_equals_pvlib_for_many_planes():
    rng = np.random.default_rng(3)
    zenith, azimuth = rng.uniform(0, 89, 400), rng.uniform(0, 360, 400)
    vectors = from_horizontal_angles(zenith_deg=zenith, azimuth_deg=azimuth)
    for tilt_deg, plane_deg in ((0.0, 180.0), (38.0, 170.0), (90.0, 271.0), (60.0, 3.0)):
        ours = sun.incidence(sun=vectors, tilt_deg=tilt_deg, azimuth_deg=plane_deg)
        theirs = pvlib_irradiance.aoi_projection(tilt_deg, plane_deg, zenith, azimuth)
        np.testing.assert_allclose(ours, theirs, atol=1e-12)
