"""Levels and places that follow what stretches of an outline say."""

import numpy as np

from cogloupe.optics.joint.local_levels import _change


def test_a_level_that_no_pixel_tells_stays_and_holds_nothing_up():
    rng = np.random.default_rng(2)
    columns = rng.normal(0, 1, (9, 400))  # nine pixels across each of 400 profiles
    place = rng.normal(0, 1, (9, 400))
    nothing = np.zeros((9, 400))  # a band that is not as wide as a pixel
    left = 0.5 * columns + rng.normal(0, 0.01, (9, 400))
    values = np.stack([columns, nothing, place, left])
    sums = np.einsum("pkn,qkn->pqn", values, values)
    change, free = _change(sums, 1e-4, np.zeros(3, bool), 40, 3)
    np.testing.assert_allclose(change[0], 0.5, atol=0.01)
    assert np.all(change[1] == 0)
    assert np.isfinite(free)
