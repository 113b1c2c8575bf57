"""Quantiles of many groups at once are those of numpy, one by one."""

import numpy as np
import pytest

from analysis.quantiles import (
    median_of,
    median_of_rows,
    quantile_of,
    quantile_of_groups,
    quantile_of_rows,
    running,
)


@pytest.mark.parametrize("frac", [0.0, 0.2, 0.5, 0.8, 1.0])
def test_rows_are_as_numpy_gives_them_one_by_one(frac):
    values = np.random.default_rng(1).normal(size=(50, 7))
    values[values < -0.8] = np.nan
    values[3] = np.nan
    wanted = [
        np.quantile(row[np.isfinite(row)], frac) if np.isfinite(row).any() else np.nan
        for row in values
    ]
    np.testing.assert_array_equal(quantile_of_rows(values, frac), wanted)


@pytest.mark.parametrize("frac", [0.0, 0.2, 0.5, 0.8, 1.0])
def test_groups_are_as_numpy_gives_them_one_by_one(frac):
    rng = np.random.default_rng(2)
    values, group = rng.normal(size=200), rng.integers(0, 40, 200)
    group[group == 7] = 8
    wanted = [
        np.quantile(values[group == one], frac) if (group == one).any() else np.nan
        for one in range(41)
    ]
    np.testing.assert_array_equal(quantile_of_groups(values, group, 41, frac), wanted)


def test_medians_are_those_of_numpy():
    draw = np.random.default_rng(4)
    for count in (1, 2, 5, 8):
        values = draw.normal(size=(30, count))
        values[draw.random(values.shape) < 0.3] = np.nan
        some = np.isfinite(values).any(axis=1)
        found = median_of_rows(values)
        assert np.isnan(found[~some]).all()
        assert found[some].tolist() == np.nanmedian(values[some], axis=1).tolist()
        for row in values[some]:
            known = row[np.isfinite(row)]
            assert median_of(known) == np.median(known)
    assert np.isnan(median_of(np.empty(0)))


@pytest.mark.parametrize("frac", [0.0, 0.2, 0.5, 0.75, 1.0])
@pytest.mark.parametrize("width", [1, 7, 11])
def test_what_runs_is_as_numpy_gives_each_window(frac, width):
    values = np.random.default_rng(5).integers(0, 9, 60) / 3.0
    values[20:33] = values[::7] = np.nan
    half = width // 2
    windows = [values[max(at - half, 0) : at + half + 1] for at in range(60)]
    known = [window[np.isfinite(window)] for window in windows]
    wanted = [np.quantile(own, frac) if own.size else np.nan for own in known]
    np.testing.assert_array_equal(running(values, frac, width), wanted)
    assert running(np.empty(0), frac, width).size == 0
    assert [quantile_of(own, frac) for own in known if own.size] == [
        one for one in wanted if np.isfinite(one)
    ]
    assert np.isnan(quantile_of(np.empty(0), frac))
