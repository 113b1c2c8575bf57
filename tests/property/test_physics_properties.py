"""What must hold for the physics whatever the numbers are."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis import collector, fluid, irradiance, sun, units
from analysis.uncertainty import combine, temperature_standard_uncertainty_k
from tests.reference._arrays import an_array

FLUIDS = st.one_of(
    st.just(("water", 0.0)),
    st.tuples(st.sampled_from(["propylene_glycol", "ethylene_glycol"]), st.floats(0.0, 0.6)),
)
LOOP_C = st.floats(1.0, 124.0)
SOME = settings(max_examples=60, deadline=None)


@given(value=st.floats(-1e9, 1e9))
@SOME
def test_units_come_back(value):
    assert units.j_from_kwh(units.kwh_from_j(value)) == pytest.approx(value)
    assert units.l_min_from_m3_s(units.m3_s_from_l_min(value)) == pytest.approx(value)


@given(kind=FLUIDS, t_c=LOOP_C, warmer_k=st.floats(0.5, 20.0))
@SOME
def test_loop_fluids_thin_out_as_they_warm(kind, t_c, warmer_k):
    # Water is densest at 4 °C.
    hot = min(max(t_c, 5.0) + warmer_k, 125.0)
    of = {"fluid": kind[0], "concentration_frac": kind[1]}
    cold = min(max(t_c, 5.0), hot - 0.4)
    density = fluid.density_kg_m3(**of, t_c=[cold, hot])
    assert density[1] < density[0]


@given(kind=FLUIDS, hot_c=LOOP_C, cold_c=LOOP_C)
@SOME
def test_mean_specific_heat_lies_between_the_extremes_and_has_no_direction(kind, hot_c, cold_c):
    of = {"fluid": kind[0], "concentration_frac": kind[1]}
    mean = fluid.mean_specific_heat_j_kgk(**of, t_hot_c=hot_c, t_cold_c=cold_c)
    back = fluid.mean_specific_heat_j_kgk(**of, t_hot_c=cold_c, t_cold_c=hot_c)
    between = fluid.specific_heat_j_kgk(**of, t_c=np.linspace(cold_c, hot_c, 50))
    assert mean == pytest.approx(back)
    assert between.min() - 0.5 <= mean <= between.max() + 0.5


@given(kind=FLUIDS, ends_c=st.tuples(LOOP_C, LOOP_C, LOOP_C))
@SOME
def test_heat_of_two_steps_is_the_heat_of_both(kind, ends_c):
    low, middle, high = sorted(ends_c)

    def heat(cold_c, hot_c):
        mean = fluid.mean_specific_heat_j_kgk(
            fluid=kind[0], concentration_frac=kind[1], t_hot_c=hot_c, t_cold_c=cold_c
        )
        return mean * (hot_c - cold_c)

    # Pipes within a hundredth of a kelvin are taken for one.
    whole = heat(low, high)
    assert heat(low, middle) + heat(middle, high) == pytest.approx(whole, rel=1e-9, abs=0.1)


@given(frac=st.floats(0.02, 0.58), more=st.floats(0.005, 0.02))
@SOME
def test_more_glycol_freezes_later_and_carries_less_heat(frac, more):
    for name in ("propylene_glycol", "ethylene_glycol"):
        weak = {"fluid": name, "concentration_frac": frac}
        strong = {"fluid": name, "concentration_frac": min(frac + more, 0.6)}
        assert fluid.ice_point_c(**strong) < fluid.ice_point_c(**weak)
        assert fluid.specific_heat_j_kgk(**strong, t_c=50.0) < fluid.specific_heat_j_kgk(
            **weak, t_c=50.0
        )


@given(kind=FLUIDS, bars=st.tuples(st.floats(0.5, 6.0), st.floats(0.05, 2.0)))
@SOME
def test_pressure_holds_off_boiling(kind, bars):
    low, high = fluid.boiling_c(
        fluid=kind[0], concentration_frac=kind[1], pressure_bar_abs=[bars[0], sum(bars)]
    )
    assert low < high


@given(
    beam=st.floats(0.0, 1100.0),
    diffuse=st.floats(0.0, 500.0),
    mean_c=st.floats(10.0, 150.0),
    a1=st.floats(0.3, 6.0),
    more=st.floats(0.01, 3.0),
)
@SOME
def test_power_falls_when_losses_rise(beam, diffuse, mean_c, a1, more):
    conditions = {
        "beam_w_m2": beam,
        "diffuse_w_m2": diffuse,
        "modifier": 1.0,
        "t_mean_c": mean_c,
        "t_ambient_c": 5.0,
    }
    sound = collector.power_w_m2(array=an_array(a1_w_m2k=a1), **conditions)
    leaky = collector.power_w_m2(array=an_array(a1_w_m2k=a1 + more), **conditions)
    assert leaky < sound


@given(beam=st.floats(0.0, 1100.0), diffuse=st.floats(0.0, 500.0), share=st.floats(0.0, 1.0))
@SOME
def test_gain_of_two_parts_is_the_gain_of_the_whole(beam, diffuse, share):
    def gain(part):
        return collector.gain_w_m2(
            array=an_array(), beam_w_m2=beam * part, diffuse_w_m2=diffuse * part, modifier=1.1
        )

    assert gain(share) + gain(1.0 - share) == pytest.approx(gain(1.0), abs=1e-9)


@given(along=st.floats(-180.0, 180.0), across=st.floats(-180.0, 180.0))
@SOME
def test_modifier_stays_within_its_tables_and_ignores_the_side(along, across):
    array = an_array()
    k = collector.incidence_modifier(
        array=array, theta_longitudinal_deg=along, theta_transversal_deg=across
    )
    mirrored = collector.incidence_modifier(
        array=array, theta_longitudinal_deg=-along, theta_transversal_deg=-across
    )
    assert 0.0 <= k <= max(array.iam_transversal) * max(array.iam_longitudinal)
    assert k == mirrored
    if max(abs(along), abs(across)) >= 90.0:
        assert k == 0.0


@given(area=st.floats(0.5, 50.0), ratio=st.floats(0.4, 2.5), value=st.floats(0.001, 20.0))
@SOME
def test_coefficients_come_back_from_another_area(area, ratio, value):
    there = collector.to_area(coefficient=value, from_m2=area, to_m2=area * ratio)
    back = collector.to_area(coefficient=there, from_m2=area * ratio, to_m2=area)
    assert back == pytest.approx(value)
    assert there * area * ratio == pytest.approx(value * area)


@given(gain=st.floats(1.0, 900.0), a1=st.floats(0.3, 6.0), a2=st.floats(0.0, 0.05))
@SOME
def test_standing_collector_loses_what_it_gains(gain, a1, a2):
    array = an_array(a1_w_m2k=a1, a2_w_m2k2=a2)
    standing = collector.steady_stagnation_c(array=array, gain_w_m2=gain, t_ambient_c=20.0)
    loss = collector.loss_w_m2(array=array, t_mean_c=standing, t_ambient_c=20.0)
    assert loss == pytest.approx(gain, rel=1e-9)


SCENES = {
    "g": st.floats(-20.0, 1600.0),
    "facing": st.floats(-1.0, 1.0),
    "height": st.floats(-0.3, 1.0),
    "tilt_deg": st.sampled_from([0.0, 20.0, 38.0, 60.0, 90.0]),
}


@given(**SCENES)
@SOME
def test_beam_and_diffuse_make_up_the_reading_and_are_never_negative(g, facing, height, tilt_deg):
    plane = irradiance.split_plane(
        g_plane_w_m2=g,
        cos_incidence=facing,
        cos_zenith=height,
        extraterrestrial_w_m2=1361.0,
        tilt_deg=tilt_deg,
    )
    assert plane.total_w_m2 == pytest.approx(max(g, 0.0))
    assert 0.0 <= plane.beam_w_m2 <= max(g, 0.0)
    assert plane.diffuse_w_m2 >= 0.0
    assert plane.beam_w_m2 <= 1361.0 * max(facing, 0.0)


@given(**SCENES)
@SOME
def test_plane_from_the_level_is_never_negative(g, facing, height, tilt_deg):
    plane = irradiance.from_horizontal(
        g_horizontal_w_m2=g,
        cos_incidence=facing,
        cos_zenith=height,
        extraterrestrial_w_m2=1361.0,
        tilt_deg=tilt_deg,
    )
    assert plane.beam_w_m2 >= 0.0
    assert plane.diffuse_w_m2 >= 0.0


@given(kt=st.floats(0.0, 1.2))
@SOME
def test_diffuse_share_is_a_share(kt):
    assert 0.0 < irradiance.erbs_diffuse_frac(kt) <= 1.0


@given(
    time_s=st.lists(st.integers(0, 2_500_000_000), min_size=1, max_size=20),
    latitude=st.floats(-66.0, 66.0),
    longitude=st.floats(-180.0, 180.0),
)
@SOME
def test_directions_to_the_sun_have_length_one_and_do_not_depend_on_company(
    time_s, latitude, longitude
):
    place = {"latitude_deg": latitude, "longitude_deg": longitude, "elevation_m": 100.0}
    stamps = np.array(time_s, dtype=np.int64)
    together = sun.sun_vectors(time_s=stamps, **place)
    length = together.east**2 + together.north**2 + together.up**2
    np.testing.assert_allclose(length, 1.0, atol=1e-6)
    alone = sun.sun_vectors(time_s=stamps[-1:], **place)
    assert alone.up[0] == pytest.approx(together.up[-1], abs=1e-9)
    assert alone.east[0] == pytest.approx(together.east[-1], abs=1e-9)


@given(
    zenith=st.floats(0.5, 88.0),
    azimuth=st.floats(0.0, 360.0),
    tilt=st.floats(0.0, 90.0),
    facing=st.floats(0.0, 360.0),
    turn=st.floats(-45.0, 45.0),
    run=st.sampled_from(["up", "across"]),
)
@SOME
def test_projected_angles_make_up_the_angle_of_incidence(zenith, azimuth, tilt, facing, turn, run):
    z, a = np.radians(zenith), np.radians(azimuth)
    vectors = sun.SunVectors(
        east=np.atleast_1d(np.sin(z) * np.sin(a)),
        north=np.atleast_1d(np.sin(z) * np.cos(a)),
        up=np.atleast_1d(np.cos(z)),
    )
    plane = {
        "tilt_deg": tilt,
        "azimuth_deg": facing,
        "tubes_run": run,
        "absorber_turn_deg": turn,
        "latitude_deg": 50.0,
    }
    turned_tilt, turned_azimuth = sun.absorber_plane(**plane)
    cosine = sun.incidence(sun=vectors, tilt_deg=turned_tilt, azimuth_deg=turned_azimuth)[0]
    along, across = (np.radians(angle[0]) for angle in sun.tube_angles(sun=vectors, **plane))
    if cosine > 0.05:
        squares = np.tan(along) ** 2 + np.tan(across) ** 2
        assert squares == pytest.approx(1.0 / cosine**2 - 1.0, rel=1e-6, abs=1e-6)
    elif cosine < -0.05:
        assert max(abs(along), abs(across)) > np.pi / 2


# Squares of less than 1e-150 vanish in double precision; no uncertainty is that small.
@given(parts=st.lists(st.floats(1e-6, 1e3), min_size=1, max_size=6))
@SOME
def test_combined_uncertainty_is_at_least_the_largest_and_at_most_the_sum(parts):
    total = float(combine(*parts))
    assert max(parts) <= total * (1.0 + 1e-12)
    assert total <= sum(parts) * (1.0 + 1e-12)


def test_unknown_stays_unknown_in_every_formula():
    nan = np.array([np.nan, 20.0])
    mix = {"fluid": "propylene_glycol", "concentration_frac": 0.4}
    scene = {"cos_incidence": 0.8, "cos_zenith": 0.7, "extraterrestrial_w_m2": 1361.0}
    array = an_array()
    results = {
        "density": fluid.density_kg_m3(**mix, t_c=nan),
        "specific heat": fluid.specific_heat_j_kgk(**mix, t_c=nan),
        "mean specific heat": fluid.mean_specific_heat_j_kgk(**mix, t_hot_c=60.0, t_cold_c=nan),
        "volumetric heat": fluid.volumetric_heat_j_m3k(**mix, t_flow_c=nan, t_mean_c=30.0),
        "boiling": fluid.boiling_c(**mix, pressure_bar_abs=nan / 10.0),
        "sensor": temperature_standard_uncertainty_k(temperature_class="B", t_c=nan),
        "modifier": collector.incidence_modifier(
            array=array, theta_longitudinal_deg=nan, theta_transversal_deg=0.0
        ),
        "gain": collector.gain_w_m2(array=array, beam_w_m2=nan, diffuse_w_m2=10.0, modifier=1.0),
        "loss": collector.loss_w_m2(array=array, t_mean_c=60.0, t_ambient_c=nan),
        "stagnation": collector.steady_stagnation_c(array=array, gain_w_m2=nan, t_ambient_c=0.0),
        "erbs": irradiance.erbs_diffuse_frac(nan / 40.0),
        "clear sky": irradiance.clear_sky_horizontal_w_m2(nan / 40.0),
        "split beam": irradiance.split_plane(g_plane_w_m2=nan, tilt_deg=38.0, **scene).beam_w_m2,
        "split diffuse": irradiance.split_plane(
            g_plane_w_m2=nan, tilt_deg=38.0, **scene
        ).diffuse_w_m2,
        "from the level": irradiance.from_horizontal(
            g_horizontal_w_m2=nan, tilt_deg=38.0, **scene
        ).total_w_m2,
    }
    for name, values in results.items():
        assert np.isnan(values[0]), name
        assert np.isfinite(values[1]), name
