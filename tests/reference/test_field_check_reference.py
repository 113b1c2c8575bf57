"""The field check's equations against a worked example and the collector equation itself."""

import numpy as np
import pytest

from analysis.collector import eta0_hemispherical, power_w_m2
from analysis.field_check.equations import estimated_w, safety_factor
from tests.build import a_site
from tests.reference._ref import Ref

WORKED = (
    "regression check with invented numbers: ISO 24194:2022 equation 1, form from memory; A 12 m2, "
    "eta0_hem 0.55, a1 1.0, a2 0.005, a5 9000, G 900, mean fluid 60 C, air 20 C, +1 K/h"
)


def test_the_worked_example():
    before = estimated_w(
        optical_w=12.0 * 0.55 * 900.0,
        excess_k=40.0,
        rise_k_h=1.0,
        a1_w_k=12.0,
        a2_w_k2=12.0 * 0.005,
        a5_j_k=12.0 * 9000.0,
    )
    factor = safety_factor(pipes=0.97, uncertainty=0.95, other=0.98)
    Ref(expected=0.90307, atol=1e-5, source=WORKED).check(factor)
    Ref(expected=444.5, atol=0.05, source=WORKED).check(before / 12.0)
    Ref(expected=4817.0, atol=1.0, source=WORKED).check(before * factor)


def test_the_second_equation_is_the_collector_equation_of_iso_9806():
    (array,) = a_site().arrays
    beam, diffuse, modifier = 620.0, 180.0, 1.07
    site = a_site()
    per_m2 = power_w_m2(
        array=array,
        beam_w_m2=beam,
        diffuse_w_m2=diffuse,
        modifier=modifier,
        t_mean_c=58.0,
        t_ambient_c=17.0,
        dt_mean_k_s=3.0 / 3600.0,
    )
    optical = power_w_m2(
        array=array,
        beam_w_m2=beam,
        diffuse_w_m2=diffuse,
        modifier=modifier,
        t_mean_c=17.0,
        t_ambient_c=17.0,
    )
    found = estimated_w(
        optical_w=optical * site.area_m2,
        excess_k=41.0,
        rise_k_h=3.0,
        a1_w_k=array.a1_w_m2k * site.area_m2,
        a2_w_k2=array.a2_w_m2k2 * site.area_m2,
        a5_j_k=array.heat_capacity_kj_m2k * 1000.0 * site.area_m2,
    )
    assert float(found) == pytest.approx(float(per_m2) * site.area_m2)


def test_equation_one_and_two_agree_for_the_standard_sky_straight_on():
    (array,) = a_site().arrays
    two = power_w_m2(
        array=array,
        beam_w_m2=850.0,
        diffuse_w_m2=150.0,
        modifier=1.0,
        t_mean_c=17.0,
        t_ambient_c=17.0,
    )
    np.testing.assert_allclose(two, eta0_hemispherical(array) * 1000.0, rtol=1e-12)
