"""The value that is measured of a pixel."""

import numpy as np
import pytest
from scipy.stats import norm

from cogloupe.optics.contour_following import Crossings
from cogloupe.optics.greys import Greys, clearest_mixture
from cogloupe.optics.response import srgb_light
from cogloupe.optics.sampling import _first_blur

RNG = np.random.default_rng(3)
COLOURS = RNG.integers(0, 256, (40, 50, 3), dtype=np.uint8)
MIXTURE = np.array([0.3, 0.6, 0.1])
ROW, COLUMN = np.array([[0, 4], [3, 0]]), np.array([[1, 0], [0, 1]])


def part(pixels, weights=None, in_light=False):
    return Greys(pixels=pixels, corner=(5, 7), shape=(20, 30), weights=weights, in_light=in_light)


@pytest.mark.parametrize("in_light", [False, True])
def test_profiles_along_rows_and_columns_are_those_of_the_part(in_light):
    offsets = np.arange(6)
    found = part(COLOURS, MIXTURE, in_light).along(ROW, COLUMN, offsets)
    window = COLOURS[7:27, 5:35].astype(float)
    if in_light:
        window = 255 * srgb_light(window / 255)
    mixed = window @ MIXTURE
    # Single precision.
    np.testing.assert_allclose(found, [mixed[4, :6], mixed[:6, 3]], rtol=1e-6)


def test_rows_are_taken_as_they_are_stored():
    stored = part(COLOURS, MIXTURE, in_light=True).rows(2, 5)
    # Single precision.
    np.testing.assert_allclose(stored, COLOURS[9:12, 5:35] @ MIXTURE, rtol=1e-6)


@pytest.mark.parametrize(("kind", "most"), [(np.uint8, 255), (np.uint16, 65535)])
def test_full_light_is_full_scale_at_any_depth(kind, most):
    grey = part(np.full((40, 50), most, kind), in_light=True)
    assert grey.full_scale == most
    assert grey.along(ROW, COLUMN, np.arange(3)) == pytest.approx(most)


def test_a_small_change_of_light_is_that_of_the_stored_value():
    grey = part(COLOURS[..., 0], in_light=True)
    light = 255 * srgb_light(np.array([40.0, 41.0]) / 255)
    # To first order: half of 1.4 times 1 / 40 is left.
    assert grey.stored(light[:1], np.diff(light))[0] == pytest.approx(1, rel=0.02)


def test_contrast_is_that_of_the_stored_values():
    stored, light = part(COLOURS[..., 0]), part(COLOURS[..., 0], in_light=True)
    levels = np.array([200.0, 40.0])
    assert stored.contrast(levels) == pytest.approx(160 / 255)
    # Between 256 entries of a table.
    assert light.contrast(255 * srgb_light(levels / 255)) == pytest.approx(160 / 255, rel=0.001)


def test_a_picture_without_any_step_begins_with_the_least_blur():
    step = np.tile([[1, 0]], (16, 1))
    crossings = Crossings(np.tile([[15, 10]], (16, 1)), step, step.astype(float))
    assert _first_blur(part(np.full((40, 50), 90, np.uint8)), crossings) == 0.4


@pytest.mark.parametrize("reach", [5, 14])
def test_colours_tell_as_far_as_they_are_surer_than_noise_and_rounding(reach):
    # Red differs by 40 in noise of 1; green by one level, which rounding alone can do; blue not.
    rng = np.random.default_rng(2)
    shape = (300, 2 * reach + 1)  # profiles reach from border to border
    pixels = np.full((*shape, 3), 100, np.uint8)
    pixels[:, reach + 1 :] += np.array([40, 1, 0], np.uint8)
    pixels[..., 0] += np.rint(rng.normal(0, 1, shape) + 3).astype(np.uint8)
    greys = Greys(pixels=pixels, corner=(0, 0), shape=shape, weights=None)
    inside = np.stack([np.full(300, reach), np.arange(300)], axis=1)
    red, green, blue = clearest_mixture(greys, inside, np.tile([[1, 0]], (300, 1)), reach)
    assert red > 0.5
    assert 0 <= green < red / 2
    assert blue == pytest.approx(0, abs=0.01)


def test_marks_count_for_a_tenth_of_their_variance_and_noise_for_all_of_it():
    # Red and green differ alike, and are as sure: noise of 10 here, marks of 10 root 10 there.
    rng, rows, reach = np.random.default_rng(4), 6000, 14
    usual = norm.ppf((np.arange(rows) + 0.5) / rows)
    pixels = np.full((rows, 2 * reach + 1, 3), 100.0)
    pixels[:, reach + 1 :, :2] += 40
    pixels[..., 0] += rng.normal(0, 10, pixels.shape[:2])
    pixels[..., 1] += 10 * 10**0.5 * rng.permutation(usual)[:, None]
    stored = np.clip(np.rint(pixels), 0, 255).astype(np.uint8)
    greys = Greys(pixels=stored, corner=(0, 0), shape=stored.shape[:2], weights=None)
    inside = np.stack([np.full(rows, reach), np.arange(rows)], axis=1)
    red, green, _ = clearest_mixture(greys, inside, np.tile([[1, 0]], (rows, 1)), reach)
    # Marks are independent from row to row here and levels follow a hundredth of them.
    assert red / green == pytest.approx(1, abs=0.05)
