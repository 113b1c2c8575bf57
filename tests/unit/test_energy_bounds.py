"""How bounds add up: constants linearly over the days, chance in quadrature, effects together."""

import numpy as np
import pytest

from analysis.day_figures import EXPECTED_PARTS, HEAT_PARTS
from analysis.energy import (
    LOSS_FRAC,
    MISSING_FRAC,
    OPTICS_FRAC,
    PIPE_FRAC,
    STANDING_FRAC,
    STORED_FRAC,
    delivered,
    expected,
)
from analysis.uncertainty import COVERAGE_95
from tests.build import a_plant, a_site, a_table

ALL = np.arange(100)


def heat_table(*, days=100, heat=4.0, random=0.0, **parts):
    columns = {f"heat_{name}_u_kwh": parts.get(name, 0.0) for name in HEAT_PARTS}
    return a_table(count=days, heat_kwh=heat, heat_random_kwh2=random, **columns)


def width(bounded):
    assert bounded is not None
    assert bounded.high - bounded.value == pytest.approx(bounded.value - bounded.low)
    return bounded.high - bounded.value


@pytest.mark.parametrize("name", HEAT_PARTS)
def test_a_constant_error_adds_linearly_over_the_days(name):
    table = heat_table(**{name: 0.1})
    one = width(delivered(table, ALL[:1]))
    assert one == pytest.approx(COVERAGE_95 * 0.1)
    assert width(delivered(table, ALL)) == pytest.approx(100 * one)


def test_chance_adds_in_quadrature():
    table = heat_table(random=0.04)
    assert width(delivered(table, ALL[:1])) == pytest.approx(COVERAGE_95 * 0.2)
    assert width(delivered(table, ALL)) == pytest.approx(10 * COVERAGE_95 * 0.2)


def test_independent_effects_add_in_quadrature():
    table = heat_table(hot=0.03, cold=0.04)
    assert width(delivered(table, ALL[:1])) == pytest.approx(COVERAGE_95 * 0.05)


def test_a_constant_error_of_changing_sign_cancels_within_one_effect():
    """Reverse days turn the sign of what the flow meter's error does."""
    table = heat_table(days=2, heat=np.array([4.0, -4.0]), flow=np.array([0.1, -0.1]))
    assert width(delivered(table, ALL[:2])) == pytest.approx(0.0, abs=1e-12)


def test_days_without_heat_are_left_out_and_none_is_unknown():
    heat = np.array([4.0, np.nan, 6.0])
    assert delivered(heat_table(days=3, heat=heat), ALL[:3]).value == 10.0
    assert delivered(heat_table(days=3, heat=heat), ALL[1:2]) is None
    assert delivered(a_table(count=3), ALL[:3]) is None


def sun_table(*, days=10, source=0.0, wanted=5.0, heat=4.0, **parts):
    columns = {f"expected_{name}_kwh": parts.get(name, 0.0) for name in EXPECTED_PARTS}
    return a_table(count=days, expected_kwh=wanted, heat_kwh=heat, sky_source=source, **columns)


def expected_width(table, *, site=None, days=10):
    return width(expected(table, ALL[:days], site or a_site()))


@pytest.mark.parametrize(
    ("name", "share"),
    [("loss", LOSS_FRAC), ("pipe", PIPE_FRAC), ("stored", STORED_FRAC)],
)
def test_each_part_of_the_healthy_figure_brings_its_own_width(name, share):
    assert expected_width(sun_table(**{name: 1.0})) == pytest.approx(COVERAGE_95 * share * 10.0)


def test_sun_and_certificate_act_on_the_gain():
    site = a_site(sensors={"irradiance_percent": 8.0})
    sun = 0.08 / COVERAGE_95
    found = expected_width(sun_table(gain=2.0), site=site)
    assert found == pytest.approx(COVERAGE_95 * 20.0 * np.hypot(sun, OPTICS_FRAC))


def test_a_loop_worked_out_where_the_real_one_stood_is_less_certain():
    gain, standing = expected_width(sun_table(gain=2.0)), expected_width(sun_table(standing=2.0))
    assert standing > gain
    assert standing**2 - gain**2 == pytest.approx((COVERAGE_95 * STANDING_FRAC * 20.0) ** 2)


def test_a_poorer_source_of_sun_is_wider():
    plane, horizontal = (expected_width(sun_table(gain=2.0, source=one)) for one in (0.0, 1.0))
    assert horizontal > plane


def test_a_better_sensor_is_narrower():
    good = a_site(sensors={"irradiance_percent": 3.0})
    table = sun_table(gain=2.0)
    assert expected_width(table, site=good) < expected_width(table)


def test_the_lower_bound_of_a_healthy_figure_is_not_below_nothing():
    found = expected(sun_table(wanted=0.1, gain=9.0), ALL[:10], a_site())
    assert found.low == 0.0


def test_a_healthy_figure_for_other_days_than_the_heat_is_none():
    """`expected covers exactly the samples that delivered covers`."""
    heat = np.full(10, 4.0)
    few = np.where(np.arange(10) < 9, 5.0, np.nan)
    assert MISSING_FRAC < 0.1
    assert expected(sun_table(wanted=few, heat=heat), ALL[:10], a_site()) is None
    heat[9] = 0.0
    assert expected(sun_table(wanted=few, heat=heat), ALL[:10], a_site()).value == 45.0


def test_the_year_is_as_wide_as_its_constants_say():
    """Daily widths and the year's width of a plant, constant parts summed by hand."""
    plant = a_plant(days=20, sensors="perfect")
    table = plant.table()
    days = np.arange(len(table.days))
    by_hand = sum(
        np.nansum(table.column(f"heat_{name}_u_kwh")) ** 2 for name in HEAT_PARTS
    ) + np.nansum(table.column("heat_random_kwh2"))
    assert width(delivered(table, days)) == pytest.approx(COVERAGE_95 * np.sqrt(by_hand))
    singles = np.array([width(delivered(table, days[day : day + 1])) for day in days])
    # Linear, but for chance: never above the sum of the days' widths, far above their root sum.
    whole = width(delivered(table, days))
    assert 2.5 * np.sqrt((singles**2).sum()) < whole <= singles.sum() * (1 + 1e-9)


def test_truth_lies_within_the_bounds_of_perfect_sensors():
    plant = a_plant(days=20, sensors="perfect", step_s=60)
    report = plant.report()
    truth = plant.run.daily_truth()
    for day in report.days:
        true = truth[plant.run.first_day.fromisoformat(day.date)]
        assert day.delivered_low_kwh <= true <= day.delivered_high_kwh
    assert report.totals.delivered_kwh == pytest.approx(sum(truth.values()), rel=0.005)
