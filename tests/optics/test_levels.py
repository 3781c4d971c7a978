"""Grey levels shared along an outline."""

import numpy as np

from cogloupe.optics.levels import common_levels
from cogloupe.optics.response import UnitStep


def test_slow_changes_of_light_are_followed_beside_stretches_that_tell_nothing():
    rng, n = np.random.default_rng(6), 4000
    step = np.repeat((np.arange(-10, 11) > 0)[None], n, axis=0).astype(float)
    light = np.sin(2 * np.pi * np.arange(n) / 800)[:, None]
    profiles = 80 + 60 * step + light + rng.standard_normal(step.shape)
    plain = np.arange(n) < n / 2
    found = common_levels(
        profiles, UnitStep(step=step, material=None, ground=None), plain
    ).levels - [[80], [140]]
    seen = slice(200, n // 2 - 200)
    # A wave as high as the noise of a pixel: over 120 samples of ten pixels that is a 35th, and
    # they flatten it by 4 %.
    assert np.sqrt(np.mean((found[:, seen] - light[seen, 0]) ** 2)) < 0.1
