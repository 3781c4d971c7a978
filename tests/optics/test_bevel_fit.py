"""How a band along the edge is fitted: where it begins, and how soon it ends."""

import numpy as np
import pytest

from cogloupe.optics.bevel import Frame
from cogloupe.optics.bevel_fit import _limits, _starts
from cogloupe.optics.bevel_gauss_newton import SETTLED, settle

from ..helpers.pictures import CAMERA
from ..helpers.single_edges import looks_of

BRASS = {"look": "front-lit", "gamma": "srgb"}
ONE_SIDE = {"look": "light-on-dark", "blur_px": 0.9, "ground_level": 0.16, "gear_level": 0.78}


@pytest.mark.parametrize(("light", "width_px"), [(BRASS, 3.0), (ONE_SIDE, 5.0)])
def test_a_band_that_averaged_profiles_show_begins_near_its_edge_and_settles_soon(light, width_px):
    profiles = looks_of(bevel_mm=width_px * CAMERA.mm_per_px, **light)[0].profiles
    limits = _limits(profiles)
    shown = list(_starts(profiles, Frame.about(profiles.xy), limits))[2:]
    ends = [settle(profiles, start, limits, 12) for start in shown]
    best, left = min(ends, key=lambda end: end[1])
    # Single steps lie half a band off it.
    assert np.mean(np.abs(shown[0].place - best.place)) < 0.15 * width_px
    for start in shown:
        # Three turns that are held back, and three that are hardly.
        assert settle(profiles, start, limits, 6)[1] < (1 + SETTLED) * left
