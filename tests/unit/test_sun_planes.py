"""Planes of tubes, turned absorbers, horizons and odd inputs of the sun."""

import sys

import numpy as np
import pytest

from analysis import sun
from analysis.site import Horizon


def towards(*, zenith_deg, azimuth_deg):
    z, a = np.radians(zenith_deg), np.radians(azimuth_deg)
    return sun.SunVectors(
        east=np.atleast_1d(np.sin(z) * np.sin(a)),
        north=np.atleast_1d(np.sin(z) * np.cos(a)),
        up=np.atleast_1d(np.cos(z)),
    )


def test_turning_tubes_laid_across_is_tilting_them():
    plane = sun.absorber_plane(
        tilt_deg=5.0,
        azimuth_deg=180.0,
        tubes_run="across",
        absorber_turn_deg=25.0,
        latitude_deg=52.0,
    )
    assert plane == pytest.approx((30.0, 180.0))


def test_turned_absorbers_lean_to_the_equator_on_both_hemispheres():
    flat = {
        "tilt_deg": 0.0,
        "azimuth_deg": 90.0,
        "tubes_run": "up",
        "absorber_turn_deg": 20.0,
    }
    assert sun.absorber_plane(**flat, latitude_deg=52.0) == pytest.approx((20.0, 180.0))
    tilt, azimuth = sun.absorber_plane(**flat, latitude_deg=-33.0)
    assert tilt == pytest.approx(20.0)
    assert azimuth % 360.0 == pytest.approx(0.0, abs=1e-9) or azimuth == pytest.approx(360.0)


def test_plane_that_looks_away_from_the_equator_is_flattened_by_a_positive_turn():
    plane = sun.absorber_plane(
        tilt_deg=30.0,
        azimuth_deg=0.0,
        tubes_run="across",
        absorber_turn_deg=10.0,
        latitude_deg=52.0,
    )
    assert plane == pytest.approx((20.0, 0.0))


def test_tubes_running_straight_to_the_equator_turn_to_the_west():
    _, azimuth = sun.absorber_plane(
        tilt_deg=0.0,
        azimuth_deg=180.0,
        tubes_run="up",
        absorber_turn_deg=30.0,
        latitude_deg=52.0,
    )
    assert azimuth == pytest.approx(270.0)


def test_without_a_turn_the_plane_is_that_of_the_tubes():
    assert sun.absorber_plane(
        tilt_deg=38.0,
        azimuth_deg=170.0,
        tubes_run="up",
        absorber_turn_deg=0.0,
        latitude_deg=52.0,
    ) == (38.0, 170.0)


def test_angles_swap_when_the_tubes_lie_across():
    vectors = towards(zenith_deg=50.0, azimuth_deg=215.0)
    plane = {"sun": vectors, "tilt_deg": 35.0, "azimuth_deg": 180.0}
    along, across = sun.tube_angles(**plane, tubes_run="up")
    along_laid, across_laid = sun.tube_angles(**plane, tubes_run="across")
    assert along == pytest.approx(across_laid)
    assert across == pytest.approx(along_laid)


def test_a_turn_shifts_the_transversal_angle_and_nothing_else_in_the_cross_plane():
    # Flat roof, tubes east to west, sun due south: the whole angle lies across the tubes.
    vectors = towards(zenith_deg=60.0, azimuth_deg=180.0)
    plane = {"sun": vectors, "tilt_deg": 0.0, "azimuth_deg": 180.0, "tubes_run": "across"}
    _, flat = sun.tube_angles(**plane)
    along, turned = sun.tube_angles(**plane, absorber_turn_deg=25.0, latitude_deg=52.0)
    assert abs(flat) == pytest.approx(60.0)
    assert abs(turned) == pytest.approx(35.0)
    assert along == pytest.approx(0.0, abs=1e-9)


def test_sun_behind_the_plane_is_beyond_ninety_degrees():
    vectors = towards(zenith_deg=80.0, azimuth_deg=0.0)
    along, _ = sun.tube_angles(sun=vectors, tilt_deg=60.0, azimuth_deg=180.0, tubes_run="up")
    assert abs(along) > 90.0
    assert sun.incidence(sun=vectors, tilt_deg=60.0, azimuth_deg=180.0) < 0.0


def test_no_stamps_give_no_directions():
    none = np.zeros(0, dtype=np.int64)
    vectors = sun.sun_vectors(time_s=none, latitude_deg=52.0, longitude_deg=0.0, elevation_m=0.0)
    assert vectors.up.shape == (0,)


def test_stamps_in_any_order_give_the_same_directions():
    stamps = np.array([1_750_000_000, 1_600_000_000, 1_750_000_060, 1_500_000_000])
    place = {"latitude_deg": 52.0, "longitude_deg": 0.0, "elevation_m": 0.0}
    mixed = sun.sun_vectors(time_s=stamps, **place)
    rising = sun.sun_vectors(time_s=np.sort(stamps), **place)
    np.testing.assert_allclose(mixed.up[np.argsort(stamps)], rising.up, atol=1e-9)


HORIZON = Horizon(azimuth_deg=(90.0, 120.0, 150.0), elevation_deg=(10.0, 20.0, 0.0))


@pytest.mark.parametrize(
    ("elevation_deg", "azimuth_deg", "blocked"),
    [
        (14.0, 105.0, True),  # halfway between 10 and 20
        (16.0, 105.0, False),
        (5.0, 89.0, False),  # outside the points the line is 0
        (5.0, 200.0, False),
        (-1.0, 200.0, True),
        (19.5, 120.0, True),
        (25.0, 120.0, False),
    ],
)
def test_horizon_hides_the_sun_below_its_line(elevation_deg, azimuth_deg, blocked):
    vectors = towards(zenith_deg=90.0 - elevation_deg, azimuth_deg=azimuth_deg)
    assert sun.horizon_blocks(vectors, HORIZON)[0] == blocked


def test_free_horizon_hides_only_the_night():
    vectors = towards(zenith_deg=np.array([89.0, 91.0]), azimuth_deg=np.array([180.0, 180.0]))
    np.testing.assert_array_equal(sun.horizon_blocks(vectors, None), [False, True])


def test_series_come_from_pvlibs_own_file_with_and_without_its_package(monkeypatch):
    alone = [name for name in sys.modules if name == "pvlib" or name.startswith("pvlib.")]
    for name in alone:
        monkeypatch.delitem(sys.modules, name)
    sun._spa.cache_clear()
    place = {"latitude_deg": 52.0, "longitude_deg": 0.0, "elevation_m": 0.0}
    stamps = np.arange(1_750_000_000, 1_750_100_000, 600)
    lean = sun.sun_vectors(time_s=stamps, **place)
    assert "pvlib" not in sys.modules
    monkeypatch.undo()
    import pvlib  # noqa: F401 - the package itself is what this half is about

    sun._spa.cache_clear()
    whole = sun.sun_vectors(time_s=stamps, **place)
    sun._spa.cache_clear()
    np.testing.assert_array_equal(lean.up, whole.up)
