"""The outline of what is darker than its ground."""

import cv2
import numpy as np
import pytest

from cogloupe.finding.region import Region
from cogloupe.optics.contour_following import border_chains, material_mask
from cogloupe.optics.greys import Greys


def test_a_part_of_the_picture_is_divided_by_the_level_of_its_own_place():
    # The level rises along the picture and passes its grey half way; the part lies beyond.
    rising = np.tile(np.linspace(0, 200, 100, dtype=np.float32), (100, 1))
    region = Region(
        weights=None, threshold=rising, bright=False, x=200.0, y=200.0, tip_radius=9.0,
        root_radius=9.0, teeth=0, share=1.0, cut_off=False,
    )  # fmt: skip
    picture = np.full((400, 400), 90, np.uint8)
    for corner, material in (((200, 0), True), ((0, 200), False)):
        part = Greys(pixels=picture, corner=corner, shape=(160, 160), weights=None)
        assert (material_mask(part, region) > 0).all() == material


@pytest.mark.parametrize(
    ("tip_px", "radius_px", "seen"),
    [
        (800, 5, 0),
        (800, 12, 1),
        (100, 2, 0),
        (100, 5, 1),
    ],
)
def test_what_is_small_on_its_gear_is_a_speck_and_no_hole(tip_px, radius_px, seen):
    size = 2 * tip_px + 20
    mask = np.zeros((size, size), np.uint8)
    middle = (size // 2, size // 2)
    cv2.circle(mask, middle, tip_px, 255, cv2.FILLED)
    cv2.circle(mask, middle, radius_px, 0, cv2.FILLED)
    region = Region(
        weights=None, threshold=mask, bright=True, x=middle[0], y=middle[1], tip_radius=tip_px,
        root_radius=tip_px, teeth=0, share=1.0, cut_off=False,
    )  # fmt: skip
    outer, holes = border_chains(mask, region, (0, 0))
    assert len(outer) > 4 * tip_px
    assert len(holes) == seen
