"""Levels and places that follow what stretches of an outline say."""

from dataclasses import replace

import numpy as np
import pytest

from cogloupe.finding.segmentation import find_gears
from cogloupe.optics.joint.crossings import crossings_of
from cogloupe.optics.joint.explanation import Fit, look
from cogloupe.optics.joint.from_prediction import FIRST_BLUR_PX
from cogloupe.optics.joint.local_levels import _change, _own_levels, place
from cogloupe.optics.joint.profiles import in_sight
from cogloupe.optics.joint.shared_terms import Frame
from cogloupe.optics.joint.wide_greys import WideGreys

from ...helpers.pictures import rendered


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


def test_an_edge_is_placed_where_its_own_profile_has_it():
    image = rendered().image
    region = find_gears(image)[0]
    greys = WideGreys.of(image, None)
    crossings = in_sight(greys, crossings_of(region.outline))
    few = crossings.take(np.arange(0, len(crossings), 4))
    spread = np.array([FIRST_BLUR_PX, 0, 0, 0, 0, 0])
    fit = Fit(greys=greys, frame=Frame.about(region.outline), reach=8, spread=spread)
    found = look(fit, few)
    off = replace(found.state, out=found.state.out + 0.1)
    again = place(found.profiles, found.shared, off, own=False).out - found.placed.out
    # One step from a tenth of a pixel away, on edges that bend by a hundredth of that.
    assert np.median(np.abs(again)) < 0.01
