"""Polynomials fitted to many groups at once, against one fit a group."""

import numpy as np
import pytest
from numpy.polynomial import Polynomial

from cogloupe.numerics.grouped import grouped_polynomials

from ..helpers.tolerances import ROUNDING, SOLVED

RNG = np.random.default_rng(7)
GROUP = np.repeat(np.arange(5), [30, 12, 50, 8, 20])
X = RNG.uniform(-1, 1, len(GROUP))
TRUE = RNG.normal(0, 1, (5, 3))
EXACT = (TRUE[GROUP] * X[:, None] ** np.arange(3)).sum(axis=1)


@pytest.mark.parametrize("degree", [0, 1, 2])
def test_each_group_is_fitted_as_by_itself(degree):
    y = EXACT + RNG.normal(0, 0.01, len(GROUP))
    fitted, _ = grouped_polynomials(GROUP, X, y, 5, degree, clip=1e9)
    for group in range(5):
        own = np.equal(GROUP, group)
        alone = Polynomial.fit(X[own], y[own], degree, domain=[-1, 1]).coef
        np.testing.assert_allclose(fitted[group], alone, atol=1e-7)  # the damping is 1e-12


def test_order_of_the_points_does_not_matter():
    mixed = RNG.permutation(len(GROUP))
    one, two = (
        grouped_polynomials(GROUP[order], X[order], EXACT[order], 5, 2)[0]
        for order in (np.arange(len(GROUP)), mixed)
    )
    np.testing.assert_allclose(one, two, atol=ROUNDING)


def test_a_group_of_too_few_points_stays_empty():
    group = np.append(GROUP, [5, 5, 5])
    fitted, u = grouped_polynomials(group, np.append(X, X[:3]), np.append(EXACT, EXACT[:3]), 7, 2)
    assert np.isnan(fitted[5:]).all()
    assert np.isnan(u[5:]).all()
    # The damping is 1e-12.
    np.testing.assert_allclose(fitted[:5], TRUE, atol=SOLVED)


def test_a_point_far_off_is_left_out():
    y = EXACT + RNG.normal(0, 0.01, len(GROUP))
    spoilt = y.copy()
    spoilt[5] += 3.0
    fitted, _ = grouped_polynomials(GROUP, X, spoilt, 5, 1)
    own = (GROUP == 0) & (np.arange(len(GROUP)) != 5)
    without, _ = grouped_polynomials(GROUP[own], X[own], y[own], 1, 1, clip=1e9)
    # What else is clipped at 4 robust deviations of all groups pooled may differ a little.
    assert fitted[0, 0] == pytest.approx(without[0, 0], abs=0.3)
    assert np.abs(fitted[0, 0] - without[0, 0]) < 3.0 / 30


def test_stated_uncertainty_is_what_repeated_noise_scatters():
    group, x = np.repeat([0, 1], [40, 15]), np.tile(np.linspace(-1, 1, 55), 1)
    fits = [
        grouped_polynomials(group, x, RNG.normal(0, 0.2, 55), 2, 1) for _ in range(400)
    ]  # fmt: skip
    scatter = np.std([fitted[:, 0] for fitted, _ in fits], axis=0)
    stated = np.mean([u for _, u in fits], axis=0)
    # 400 repeats tell a standard deviation to 1 / sqrt(800) = 3.5 %.
    np.testing.assert_allclose(stated, scatter, rtol=0.15)


def test_no_points_at_all_give_nothing():
    fitted, u = grouped_polynomials(np.empty(0, int), np.empty(0), np.empty(0), 3, 1)
    assert fitted.shape == (3, 2)
    assert np.isnan(fitted).all()
    assert np.isnan(u).all()


def test_points_that_show_no_scatter_at_all_are_all_used():
    fitted, u = grouped_polynomials(GROUP, X, np.zeros(len(X)), 5, 2)
    assert (fitted == 0).all()
    assert (u == 0).all()
