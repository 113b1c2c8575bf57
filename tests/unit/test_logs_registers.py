"""Registers: increments through resets, rollovers, glitches and gaps. All numbers invented."""

import math

import numpy as np
import pytest

from analysis.logs.registers import increments

NAN = math.nan


def counted(*values: float) -> list[float]:
    return increments(np.array(values, dtype=np.float64)).tolist()


def same(got: list[float], wanted: list[float]) -> None:
    np.testing.assert_allclose(got, wanted, atol=1e-9)


def test_a_sound_register_gives_its_differences():
    same(counted(10, 10, 10.5, 12), [NAN, 0, 0.5, 1.5])


def test_missing_readings_leave_the_increment_to_the_next_one():
    same(counted(10, NAN, NAN, 13, 14), [NAN, NAN, NAN, 3, 1])


def test_over_a_reset_the_increment_is_unknown():
    same(counted(500, 501, 0, 1, 2), [NAN, 1, NAN, 1, 1])


def test_another_meter_with_a_higher_count_makes_no_heat():
    readings = np.concatenate([100 + np.arange(40) * 0.5, 5000 + np.arange(40) * 0.5])
    steps = increments(readings)
    assert math.isnan(steps[40])
    assert np.nansum(steps) == pytest.approx(39.0)


@pytest.mark.parametrize("length", [1, 2, 3])
@pytest.mark.parametrize("value", [0.0, 3.0, 99_999.0, -50.0])
def test_a_glitch_of_a_few_readings_makes_no_heat(length, value):
    readings = 1000 + np.arange(60) * 0.5
    readings[30 : 30 + length] = value
    steps = increments(readings)
    assert np.nansum(steps) == pytest.approx(29.5)
    assert np.isnan(steps[30 : 30 + length]).all()
    assert steps[30 + length] == pytest.approx(0.5 * (length + 1))


@pytest.mark.parametrize("top", [1_000, 10_000, 100_000])
def test_a_rollover_at_a_power_of_ten_is_counted_through(top):
    truth = top - 15 + np.arange(60) * 0.5
    steps = increments(np.where(truth >= top, truth - top, truth))
    assert np.nansum(steps) == pytest.approx(29.5)
    assert np.isnan(steps).sum() == 1


def test_a_reset_just_below_a_power_of_ten_is_no_rollover():
    readings = np.concatenate([920 + np.arange(60) * 0.5, np.arange(60) * 0.5])
    steps = increments(readings)
    assert math.isnan(steps[60])
    assert np.nansum(steps) == pytest.approx(59.0)


def test_jitter_by_one_digit_makes_no_heat():
    readings = 1000 + np.repeat(np.arange(30), 4) * 0.1
    readings[50] -= 0.1
    readings[70] += 0.1
    assert np.nansum(increments(readings)) == pytest.approx(2.9)


def test_a_long_gap_is_no_jump_where_stamps_tell_its_length():
    readings = 100 + np.concatenate([np.arange(40), 5000 + np.arange(40)]) * 0.01
    stamps = 60 * np.concatenate([np.arange(40), 5000 + np.arange(40)])
    steps = increments(readings, stamp_s=stamps)
    assert np.nansum(steps) == pytest.approx(50.39)


def test_a_rate_is_unknown_over_a_gap_where_that_is_asked():
    readings = np.array([10, 11, NAN, 13, 14, 20, 21])
    stamps = 60 * np.array([0, 1, 2, 3, 4, 10, 11])
    steps = increments(readings, stamp_s=stamps, across_gaps=False)
    same(steps.tolist(), [NAN, 1, NAN, NAN, 1, NAN, 1])


def test_nothing_and_a_single_reading_have_no_increment():
    assert counted() == []
    assert all(math.isnan(step) for step in counted(5))
    assert all(math.isnan(step) for step in counted(NAN, NAN))


def test_random_walks_of_faults_never_make_negative_or_endless_heat():
    rng = np.random.default_rng(7)
    for _ in range(40):
        readings = 900 + np.cumsum(rng.uniform(0, 0.2, 400))
        bad = rng.random(400) < 0.02
        readings[bad] = rng.choice([0.0, NAN, 65535.0, -1.0], bad.sum())
        steps = increments(readings)
        assert np.nanmin(steps) >= 0
        assert np.nansum(steps) <= 80.0


def test_a_display_that_goes_over_to_megawatt_hours_counts_on():
    kwh = 990.0 + 0.1 * np.arange(400)
    shown = np.where(kwh < 1000.0, np.round(kwh, 1), np.round(kwh / 1000.0, 4))
    assert np.nansum(increments(shown)) == pytest.approx(kwh[-1] - kwh[0], abs=0.2)


def test_a_meter_that_is_replaced_at_a_thousandth_and_counts_as_fast_is_another():
    shown = np.concatenate([990.0 + 0.1 * np.arange(100), 1.0 + 0.1 * np.arange(300)])
    counted = np.nansum(increments(shown))
    assert counted == pytest.approx(0.1 * 399, abs=1.2)
