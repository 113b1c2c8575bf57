"""The light on a plane, taken apart and put together again, against pvlib's Hay & Davies."""

import numpy as np
import pytest
from pvlib import irradiance as pvlib_irradiance

from analysis.sky_parts import parts_of, with_ring
from analysis.transposition import GROUND_ALBEDO, Plane

TILT_DEG, OTHER_DEG = 38.0, 12.0
N = 3000


@pytest.fixture(scope="module")
def scene():
    """Suns well above horizon and plane, skies of all kinds; drawn at random, invented."""
    rng = np.random.default_rng(3)
    zenith, azimuth = rng.uniform(5.0, 80.0, N), rng.uniform(110.0, 250.0, N)
    dni, dhi = rng.uniform(0.0, 950.0, N), rng.uniform(10.0, 350.0, N)
    outside = np.full(N, 1361.0)
    return zenith, azimuth, dni, dhi, outside


def by_pvlib(scene, tilt_deg):
    zenith, azimuth, dni, dhi, outside = scene
    sky = pvlib_irradiance.haydavies(
        tilt_deg, 180.0, dhi, dni, outside, zenith, azimuth, return_components=True
    )
    ghi = dhi + dni * np.cos(np.radians(zenith))
    ground = pvlib_irradiance.get_ground_diffuse(tilt_deg, ghi, albedo=GROUND_ALBEDO)
    facing = pvlib_irradiance.aoi_projection(tilt_deg, 180.0, zenith, azimuth)
    beam = dni * np.maximum(facing, 0.0)
    return (
        facing,
        beam,
        np.asarray(sky["poa_circumsolar"]),
        np.asarray(sky["poa_isotropic"]),
        ground,
    )


def taken_apart(scene):
    facing, beam, ring, rest, ground = by_pvlib(scene, TILT_DEG)
    plane = Plane(beam_w_m2=beam, diffuse_w_m2=ring + rest + ground)
    parts = parts_of(
        plane,
        cos_incidence=facing,
        cos_zenith=np.cos(np.radians(scene[0])),
        outside_w_m2=scene[4],
        tilt_deg=TILT_DEG,
    )
    return plane, parts, facing


def test_beam_and_diffuse_on_the_level_are_found_again(scene):
    _, parts, facing = taken_apart(scene)
    seen = facing > 0.2
    np.testing.assert_allclose(parts.beam_w_m2[seen], scene[2][seen], rtol=1e-9)
    np.testing.assert_allclose(parts.diffuse_w_m2[seen], scene[3][seen], rtol=1e-9)


def test_the_ring_around_the_sun_is_pvlibs_circumsolar_part_and_the_total_stays(scene):
    plane, parts, facing = taken_apart(scene)
    counted = with_ring(plane, parts, cos_incidence=facing)
    seen = facing > 0.2
    _, beam, ring, _, _ = by_pvlib(scene, TILT_DEG)
    np.testing.assert_allclose(counted.beam_w_m2[seen], (beam + ring)[seen], rtol=1e-9)
    np.testing.assert_allclose(counted.total_w_m2, plane.total_w_m2, rtol=1e-12)


def test_another_plane_gets_what_pvlib_gives_it(scene):
    _, parts, facing = taken_apart(scene)
    other, beam, ring, rest, ground = by_pvlib(scene, OTHER_DEG)
    moved = parts.on(cos_incidence=other, tilt_deg=OTHER_DEG)
    seen = facing > 0.2
    np.testing.assert_allclose(moved.beam_w_m2[seen], (beam + ring)[seen], rtol=1e-9)
    np.testing.assert_allclose(moved.diffuse_w_m2[seen], (rest + ground)[seen], rtol=1e-9)


def test_a_grazing_sun_stays_bounded():
    graze = np.array([0.001])
    parts = parts_of(
        Plane(beam_w_m2=np.array([30.0]), diffuse_w_m2=np.array([50.0])),
        cos_incidence=graze,
        cos_zenith=np.array([0.2]),
        outside_w_m2=np.array([1361.0]),
        tilt_deg=TILT_DEG,
    )
    assert parts.beam_w_m2[0] == pytest.approx(150.0)
