"""Round outlines that set a scale, found on the whole picture."""

import cv2
import numpy as np
import pytest

from cogloupe.fits.disc import _round_regions


@pytest.mark.parametrize("side", [600, 2400])
def test_a_disc_is_placed_on_the_full_picture(side):
    pixels = np.full((side, side + 100), 220, np.uint8)
    x, y, radius = side // 3, side // 2, side // 5
    cv2.circle(pixels, (x, y), radius, 30, cv2.FILLED)
    (found, *_) = _round_regions(pixels)
    # A fifth of a pixel of the reduced picture, which is up to four of the full one.
    assert (found.x, found.y) == pytest.approx((x, y), abs=0.8)
    assert found.tip_radius == pytest.approx(radius, abs=2)
