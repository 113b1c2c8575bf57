"""Sensor limits, meter limits and GUM examples against published values."""

import numpy as np
import pytest
from uncertainties import ufloat

from analysis.uncertainty import (
    COVERAGE_95,
    RECTANGLE,
    combine,
    heat_meter_limit_percent,
    temperature_limit_k,
    temperature_standard_uncertainty_k,
)
from analysis.units import m3_s_from_l_min
from tests.reference._ref import Ref

IEC = "IEC 60751:2022, tolerance classes (from memory)"
MID = "Directive 2014/32/EU Annex VI; EN 1434-1 class 2 (flow part read in a meter manual)"
GUM_EXAMPLE = "JCGM 100:2008 eq. 10, invented inputs, recomputed apart"


@pytest.mark.parametrize(
    ("temperature_class", "t_c", "ref"),
    [
        ("A", 100, Ref(expected=0.35, atol=1e-9, source=IEC)),
        ("B", 100, Ref(expected=0.80, atol=1e-9, source=IEC)),
        ("A", -20, Ref(expected=0.19, atol=1e-9, source=IEC)),
        ("B", -20, Ref(expected=0.40, atol=1e-9, source=IEC)),
        ("A", 250, Ref(expected=0.65, atol=1e-9, source=IEC)),
        ("B", 150, Ref(expected=1.05, atol=1e-9, source=IEC)),
        ("AA", 100, Ref(expected=0.27, atol=1e-9, source=IEC)),
        ("B", 60, Ref(expected=0.60, atol=1e-9, source=IEC)),
    ],
)
def test_limits_of_platinum_thermometers(temperature_class, t_c, ref):
    ref.check(temperature_limit_k(temperature_class=temperature_class, t_c=t_c))


@pytest.mark.parametrize(
    ("spread_k", "ref"),
    [
        (3.0, Ref(expected=7.25, atol=1e-6, source=MID)),
        (5.0, Ref(expected=5.65, atol=1e-6, source=MID)),
        (10.0, Ref(expected=4.45, atol=1e-6, source=MID)),
        (20.0, Ref(expected=3.85, atol=1e-6, source=MID)),
    ],
)
def test_error_limits_of_a_class_2_heat_meter(spread_k, ref):
    ref.check(heat_meter_limit_percent(flow_m3_h=0.12, nominal_flow_m3_h=1.5, spread_k=spread_k))


def pair_u_k(temperature_class):
    return combine(
        *(
            temperature_standard_uncertainty_k(temperature_class=temperature_class, t_c=t)
            for t in (60.0, 48.0)
        )
    )


def test_power_example_carries_its_published_uncertainty():
    power = m3_s_from_l_min(2.0) * 1016.7 * 3810.0 * 12.0
    relative = combine(0.03 / RECTANGLE, pair_u_k("A") / 12.0, 0.02 / RECTANGLE)
    Ref(expected=1549.5, atol=0.1, source=GUM_EXAMPLE).check(power)
    Ref(expected=5.449, atol=0.01, source=GUM_EXAMPLE + ", k = 2").check(200.0 * relative)


@pytest.mark.parametrize(
    ("temperature_class", "spread_k", "ref"),
    [
        ("B", 4.0, Ref(expected=11.65, atol=0.02, source=IEC)),
        ("B", 12.0, Ref(expected=3.88, atol=0.01, source=IEC)),
        ("A", 4.0, Ref(expected=5.27, atol=0.01, source=IEC)),
    ],
)
def test_unmatched_pair_at_small_spreads(temperature_class, spread_k, ref):
    ref.check(100.0 * pair_u_k(temperature_class) / spread_k)


def test_ratio_of_two_uncertain_heats():
    Ref(expected=7.211, atol=1e-3, source=GUM_EXAMPLE).check(100.0 * combine(0.04, 0.06))


def test_combination_agrees_with_the_uncertainties_library():
    volume, density, spread = ufloat(1000, 20), ufloat(1.0, 0.002), ufloat(20, 0.3)
    heat = volume * density * 4180.0 * spread / 3.6e6
    relative = combine(0.02, 0.002, 0.3 / 20.0)
    Ref(expected=0.5824, atol=1e-4, source="uncertainties 3.2, printed figure").check(heat.std_dev)
    Ref(expected=heat.std_dev / heat.nominal_value, rtol=1e-9, source="uncertainties").check(
        relative
    )


def test_stated_95_percent_limits_are_divided_by_1_96():
    u = temperature_standard_uncertainty_k(temperature_class=0.5, t_c=np.array([20.0, np.nan]))
    Ref(expected=0.5 / 1.96, rtol=1e-12, source="JCGM 100:2008, 4.3.4").check(u[0])
    assert np.isnan(u[1])
    Ref(expected=1.95996, atol=1e-4, source="normal distribution, 97.5 % quantile").check(
        COVERAGE_95
    )


@pytest.mark.parametrize("words", [{"source": " ", "atol": 1.0}, {"source": "a book"}])
def test_a_check_value_needs_a_source_and_a_tolerance(words):
    with pytest.raises(ValueError, match="check value"):
        Ref(expected=1.0, **words)
