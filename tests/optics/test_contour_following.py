"""The outline of what is darker than its ground."""

import numpy as np

from cogloupe.finding.region import Region
from cogloupe.optics.contour_following import material_mask
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
