"""Least squares within bounds, beside a library's."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from cogloupe.numerics.bounded_least_squares import fit_within

X = np.linspace(-3.0, 3.0, 61)
SIZES = np.array([0.1, 0.1, 0.1])


def bell_less(values):
    def left(sizes):
        place, width, height = sizes
        return height * np.exp(-0.5 * ((X - place) / width) ** 2) - values

    return left


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("high", [(2.0, 3.0, 5.0), (0.2, 0.7, 5.0)], ids=["inside", "at bounds"])
def test_it_ends_where_a_library_s_does(seed, high):
    rng = np.random.default_rng(seed)
    bell = bell_less(np.zeros_like(X))([rng.uniform(-1, 1), rng.uniform(0.5, 1.5), 2.0])
    left = bell_less(bell + 0.02 * rng.standard_normal(len(X)))
    bounds = np.array([-2.0, 0.2, 0.1]), np.array(high)
    start = np.array([0.0, 0.5, 1.0])
    ours = fit_within(left, start, bounds, SIZES)
    theirs = least_squares(left, start, bounds=bounds, x_scale=SIZES, ftol=1e-12, xtol=1e-12)
    # Both end where a step changes the sum of squares by some 1e-9 of it, and the values by its
    # root.
    assert ours.mean_square == pytest.approx(2 * theirs.cost / len(X), rel=1e-7)
    assert ours.values == pytest.approx(theirs.x, abs=2e-4)


def test_values_stay_within_their_bounds():
    def left(values):
        return values - [5.0, -5.0]

    found = fit_within(left, np.zeros(2), (-np.ones(2), np.ones(2)), np.ones(2))
    assert found.values == pytest.approx([1.0, -1.0])
    assert found.mean_square == pytest.approx(16.0)
