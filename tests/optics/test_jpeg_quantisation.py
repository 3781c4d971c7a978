"""The coarseness of a JPEG file, told from its picture."""

import numpy as np
import pytest

from cogloupe.optics.jpeg_quantisation import WAVES, quantisation_step

from ..helpers.pictures import as_jpeg, rendered


def everywhere(pixels):
    height, width = pixels.shape[:2]
    return np.stack(np.meshgrid(np.arange(0, width, 8), np.arange(0, height, 8)), -1).reshape(-1, 2)


@pytest.mark.parametrize("quality", [60, 75, 85])
@pytest.mark.parametrize("camera", [{}, {"look": "front-lit"}], ids=["grey", "colour"])
def test_the_step_is_that_of_the_file(quality, camera):
    pixels, table = as_jpeg(rendered(gamma="srgb", **camera).image, quality)
    known = np.mean([table[wave] for wave in WAVES])
    # Of a wave that hardly occurs no step is seen.
    assert quantisation_step(pixels, everywhere(pixels)) == pytest.approx(known, rel=0.15)


@pytest.mark.parametrize("camera", [{}, {"look": "front-lit", "tool_marks": 0.1}, {"noise": 0.0}])
def test_a_picture_that_was_never_jpeg_has_none(camera):
    pixels = rendered(**camera).image
    assert quantisation_step(pixels, everywhere(pixels)) == 0


def test_deep_pictures_have_none():
    pixels = rendered(bits=16).image
    assert quantisation_step(pixels, everywhere(pixels)) == 0
