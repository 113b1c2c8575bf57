"""Edges of the collector equation and of the sensor limits."""

import numpy as np
import pytest

from analysis import collector
from analysis.uncertainty import combine, heat_meter_limit_percent, temperature_limit_k
from tests.reference._arrays import an_array


def test_an_array_without_any_peak_efficiency_is_refused():
    with pytest.raises(ValueError, match="neither eta0"):
        collector.eta0_beam(an_array(eta0_hem=None, eta0_beam=None))


def test_hemispherical_efficiency_is_taken_as_stated():
    assert collector.eta0_hemispherical(an_array(eta0_hem=0.61)) == 0.61


def test_a_collector_colder_than_air_gains_from_it():
    loss = collector.loss_w_m2(array=an_array(), t_mean_c=[0.0, 20.0, 40.0], t_ambient_c=20.0)
    assert loss[0] == pytest.approx(-loss[2])
    assert loss[1] == 0.0


def test_an_empty_modifier_table_counts_as_one_up_to_ninety_degrees():
    array = an_array(iam_angles_deg=(), iam_transversal=(), iam_longitudinal=())
    k = collector.incidence_modifier(
        array=array,
        theta_longitudinal_deg=[0.0, 89.0, 90.0, np.nan],
        theta_transversal_deg=0.0,
    )
    np.testing.assert_array_equal(k, [1.0, 1.0, 0.0, np.nan])


def test_a_table_that_ends_early_falls_straight_to_zero():
    array = an_array(
        iam_angles_deg=(0.0, 60.0), iam_transversal=(1.0, 0.9), iam_longitudinal=(1.0, 1.0)
    )
    k = collector.incidence_modifier(
        array=array, theta_longitudinal_deg=0.0, theta_transversal_deg=75.0
    )
    assert k == pytest.approx(0.45)


def test_a_lossless_collector_has_no_stagnation_and_the_estimate_is_capped():
    lossless = an_array(a1_w_m2k=0.0, a2_w_m2k2=0.0)
    assert np.isinf(
        collector.steady_stagnation_c(array=lossless, gain_w_m2=100.0, t_ambient_c=20.0)
    )
    assert collector.steady_stagnation_c(array=lossless, gain_w_m2=0.0, t_ambient_c=20.0) == 20.0
    assert collector.standard_stagnation_c(lossless) == collector.HOTTEST_STAGNATION_C


@pytest.mark.parametrize(("from_m2", "to_m2"), [(0.0, 1.0), (1.0, -2.0)])
def test_areas_must_be_positive(from_m2, to_m2):
    with pytest.raises(ValueError, match="areas must be positive"):
        collector.to_area(coefficient=0.7, from_m2=from_m2, to_m2=to_m2)


def test_an_unknown_sensor_class_is_refused():
    with pytest.raises(ValueError, match="none of AA, A, B"):
        temperature_limit_k(temperature_class="C", t_c=20.0)


def test_no_limit_is_stated_where_a_heat_meter_is_not_approved():
    limits = heat_meter_limit_percent(
        flow_m3_h=[0.0, 0.12, np.nan, 0.001],
        nominal_flow_m3_h=1.5,
        spread_k=[20.0, 2.0, 20.0, 20.0],
    )
    assert np.isnan(limits[:3]).all()
    # At a trickle the flow part stays at its ceiling of 5 %.
    assert limits[3] == pytest.approx(5.0 + 0.95 + 0.65)


def test_nothing_combined_is_nothing():
    assert combine() == 0.0
