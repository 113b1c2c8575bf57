"""The collector equation against a published certificate and worked examples."""

from dataclasses import replace

import numpy as np
import pytest
from pvlib import iam

from analysis import collector
from analysis.fluid import boiling_c
from tests.reference._arrays import an_array, certificate_flat_plate
from tests.reference._ref import Ref

CERTIFICATE = "certificate data sheet after ISO 9806:2017 (flat plate, printed power per m2)"
WORKED = "ISO 9806:2017 quasi-dynamic equation (from memory), invented inputs, recomputed apart"


@pytest.mark.parametrize(
    ("over_air_k", "ref"),
    [
        pytest.param(over, Ref(expected=power, atol=0.6, source=CERTIFICATE), id=f"{over} K")
        for over, power in ((0, 729), (10, 692), (30, 608), (50, 511), (70, 400), (83, 321))
    ],
)
def test_certificate_powers_come_out_of_its_coefficients(over_air_k, ref):
    ref.check(
        collector.power_w_m2(
            array=certificate_flat_plate(),
            beam_w_m2=850.0,
            diffuse_w_m2=150.0,
            modifier=1.0,
            t_mean_c=20.0 + over_air_k,
            t_ambient_c=20.0,
        )
    )


def test_hemispherical_efficiency_is_the_certificates_mix_of_beam_and_diffuse():
    ref = Ref(
        expected=0.72902, atol=1e-5, source="ISO 9806:2017, split 850/150 as on a certificate"
    )
    ref.check(collector.eta0_hemispherical(certificate_flat_plate()))


def test_beam_efficiency_is_found_back_from_the_hemispherical_one():
    ref = Ref(expected=0.739, atol=1e-5, source="ISO 9806:2017, split 850/150 as on a certificate")
    ref.check(collector.eta0_beam(an_array(eta0_hem=0.72902, eta0_beam=None, iam_diffuse=0.91)))


@pytest.mark.parametrize(
    ("capacity_kj_m2k", "ref"),
    [
        (9.0, Ref(expected=344.17, atol=0.05, source=WORKED)),
        (0.0, Ref(expected=374.17, atol=0.05, source=WORKED)),
    ],
)
def test_quasi_dynamic_example_with_and_without_capacity(capacity_kj_m2k, ref):
    array = an_array(
        eta0_hem=None,
        eta0_beam=0.45,
        a1_w_m2k=0.80,
        a2_w_m2k2=0.004,
        iam_diffuse=1.05,
        heat_capacity_kj_m2k=capacity_kj_m2k,
    )
    ref.check(
        collector.power_w_m2(
            array=array,
            beam_w_m2=650.0,
            diffuse_w_m2=150.0,
            modifier=1.18 * 0.99,
            t_mean_c=55.0,
            t_ambient_c=15.0,
            dt_mean_k_s=2.0 / 600.0,
        )
    )


@pytest.mark.parametrize(
    ("aperture_value", "ref"),
    [
        (0.70, Ref(expected=0.44333, atol=1e-4, source="power is the same whatever the area")),
        (1.20, Ref(expected=0.7600, atol=1e-4, source="power is the same whatever the area")),
        (0.0050, Ref(expected=0.003167, atol=1e-6, source="power is the same whatever the area")),
    ],
)
def test_coefficients_move_from_aperture_to_gross_area(aperture_value, ref):
    ref.check(collector.to_area(coefficient=aperture_value, from_m2=1.90, to_m2=3.00))


@pytest.mark.parametrize(
    ("gain_w_m2", "ref"),
    [
        (600.0, Ref(expected=237.58, atol=0.05, source="root of the loss curve, recomputed apart")),
        (240.0, Ref(expected=128.34, atol=0.05, source="root of the loss curve, recomputed apart")),
    ],
)
def test_loss_curve_stagnates_where_its_root_lies(gain_w_m2, ref):
    ref.check(collector.steady_stagnation_c(array=an_array(), gain_w_m2=gain_w_m2, t_ambient_c=0.0))


def test_curve_of_the_certificate_stays_far_below_its_certified_stagnation():
    array = certificate_flat_plate()
    ref = Ref(expected=158.15, atol=0.05, source=CERTIFICATE + ", curve at 1000 W/m2 and 30 °C")
    ref.check(collector.standard_stagnation_c(array))
    assert collector.standard_stagnation_c(replace(array, stagnation_c=189.0)) == 189.0


@pytest.mark.parametrize(
    ("array", "ref"),
    [
        (
            an_array(),
            Ref(expected=396.7, atol=0.3, source="EuroSun 2008 steam-power paper, formula"),
        ),
        (
            an_array(eta0_hem=0.729, a1_w_m2k=3.51, a2_w_m2k2=0.017),
            Ref(expected=108.1, atol=0.3, source="EuroSun 2008 steam-power paper, formula"),
        ),
    ],
    ids=["evacuated tubes", "flat plate"],
)
def test_steam_power_at_the_published_boiling_point(array, ref):
    ref.check(
        collector.power_w_m2(
            array=array,
            beam_w_m2=850.0,
            diffuse_w_m2=150.0,
            modifier=1.0,
            t_mean_c=143.97,
            t_ambient_c=30.0,
        )
    )


def test_steam_power_hardly_changes_with_our_own_boiling_point():
    boiling = boiling_c(fluid="propylene_glycol", concentration_frac=0.4, pressure_bar_abs=3.5)
    power = collector.power_w_m2(
        array=an_array(),
        beam_w_m2=850.0,
        diffuse_w_m2=150.0,
        modifier=1.0,
        t_mean_c=boiling,
        t_ambient_c=30.0,
    )
    ref = Ref(expected=396.7, atol=1.0, source="EuroSun 2008 steam-power paper, formula")
    ref.check(power)


def test_three_dead_tubes_in_twenty_cost_a_twentieth():
    sound = an_array(eta0_hem=0.6, iam_diffuse=1.0, a1_w_m2k=1.1, a2_w_m2k2=0.006)
    hurt = replace(sound, a1_w_m2k=(17 * 1.1 + 3 * 6.0) / 20)
    conditions = {
        "beam_w_m2": 1000.0,
        "diffuse_w_m2": 0.0,
        "modifier": 1.0,
        "t_mean_c": 60.0,
        "t_ambient_c": 20.0,
    }
    ratio = collector.power_w_m2(array=hurt, **conditions) / collector.power_w_m2(
        array=sound, **conditions
    )
    Ref(expected=1.835, atol=1e-6, source="mean loss of the tubes, invented").check(hurt.a1_w_m2k)
    Ref(expected=0.9462, atol=1e-4, source="loss at 40 K from 600 W/m2, invented").check(ratio)


@pytest.mark.parametrize(
    ("theta_deg", "ref"),
    [
        (
            50.0,
            Ref(expected=0.94443, atol=1e-4, source="ASHRAE 93, K = 1 - b0 (1/cos - 1), b0 0.1"),
        ),
        (60.0, Ref(expected=0.9, atol=1e-6, source="ASHRAE 93, K = 1 - b0 (1/cos - 1), b0 0.1")),
        # Between the 10-degree steps of a certificate the line runs below the curve.
        (55.0, Ref(expected=0.92566, atol=4e-3, source="ASHRAE 93, K at 55 deg, b0 0.1")),
    ],
)
def test_table_of_a_one_parameter_modifier_gives_it_back(theta_deg, ref):
    angles = np.arange(0.0, 61.0, 10.0)
    one_parameter = tuple(1.0 - 0.1 * (1.0 / np.cos(np.radians(angles)) - 1.0))
    array = an_array(
        iam_angles_deg=(*angles, 90.0),
        iam_transversal=(*one_parameter, 0.0),
        iam_longitudinal=(1.0,) * angles.size + (0.0,),
    )
    ref.check(
        collector.incidence_modifier(
            array=array, theta_longitudinal_deg=0.0, theta_transversal_deg=theta_deg
        )
    )


def test_modifier_agrees_with_pvlibs_interpolation_of_the_same_table():
    array = an_array()
    theta = np.linspace(-89.0, 89.0, 357)
    ours = collector.incidence_modifier(
        array=array, theta_longitudinal_deg=0.0, theta_transversal_deg=theta
    )
    theirs = iam.interp(
        np.abs(theta), array.iam_angles_deg, array.iam_transversal, method="linear", normalize=False
    )
    np.testing.assert_allclose(ours, theirs, atol=1e-12)
