"""Cosine and sine by the tangent of half the angle."""

import numpy as np

from analysis.angles import cosine_and_sine


def test_as_numpy_gives_them_all_the_way_round():
    angle = np.linspace(-2.0 * np.pi, 2.0 * np.pi, 100_001)
    cosine, sine = cosine_and_sine(angle)
    np.testing.assert_allclose(cosine, np.cos(angle), rtol=0.0, atol=5e-16)
    np.testing.assert_allclose(sine, np.sin(angle), rtol=0.0, atol=5e-16)


def test_half_a_turn_is_no_infinity_and_unknown_stays_unknown():
    cosine, sine = cosine_and_sine(np.array([np.pi, -np.pi, np.nan]))
    np.testing.assert_allclose(cosine, [-1.0, -1.0, np.nan])
    np.testing.assert_allclose(sine, [0.0, 0.0, np.nan], atol=2e-16)
