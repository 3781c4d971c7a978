"""Levels and places that follow what stretches of an outline say."""

import numpy as np
import pytest

from cogloupe.optics.joint.local_levels import _change, _own_levels


def test_a_level_that_no_pixel_tells_stays_and_holds_nothing_up():
    rng = np.random.default_rng(2)
    columns = rng.normal(0, 1, (9, 400))  # nine pixels across each of 400 profiles
    place = rng.normal(0, 1, (9, 400))
    nothing = np.zeros((9, 400))  # a band that is not as wide as a pixel
    left = 0.5 * columns + rng.normal(0, 0.01, (9, 400))
    values = np.stack([columns, nothing, place, left])
    sums = np.einsum("pkn,qkn->pqn", values, values)
    change, free = _change(sums, 1e-4, np.zeros(3, bool), 40, 3)
    # Noise of 0.01 on 360 values of unit size is 5e-4.
    np.testing.assert_allclose(change[0], 0.5, atol=0.003)
    assert np.all(change[1] == 0)
    assert np.isfinite(free)


def test_a_profile_without_light_between_its_sides_tells_no_place():
    rng = np.random.default_rng(3)
    values = rng.normal(0, 1, (3, 9, 40))  # a level, the place, and what is left
    values[1, :, 7] = 0  # both sides are alike
    sums = np.einsum("pkn,qkn->pqn", values, values)
    found, spread, _ = _own_levels(sums, np.ones(40), np.zeros(2, bool))
    assert np.isfinite(found).all()
    others = np.arange(40) != 7
    assert spread[7] > 1e6 * spread[others].max()


@pytest.mark.filterwarnings("error")
def test_a_level_that_no_profile_tells_stays_where_it_is():
    values = np.random.default_rng(5).normal(0, 1, (4, 9, 40))
    values[1] = 0  # a band that is not as wide as a pixel
    sums = np.einsum("pkn,qkn->pqn", values, values)
    found, spread, _ = _own_levels(sums, np.ones(40), np.zeros(3, bool))
    assert np.all(found[1] == 0)
    assert np.isfinite(found).all()
    assert np.isfinite(spread).all()
