"""The vectorised edge estimator against the plainest one, sample by sample."""

import numpy as np
import pytest

from cogloupe.finding.segmentation import find_gears
from cogloupe.optics.contour_following import bend
from cogloupe.optics.edges import find_edges

from ..helpers.pictures import CAMERA, rendered
from ..helpers.plain_edges import place_of_edge


def straight_samples(points, count, rng):
    """Samples on the straighter parts, where a straight edge is the right model for both."""
    straight = points.good & (bend(points.normal, 8) > 0.995)
    return rng.choice(np.flatnonzero(straight), count, replace=False)


@pytest.mark.parametrize("blur", [0.7, 1.0, 2.0])
def test_samples_agree_with_fits_made_one_at_a_time(blur):
    camera = {"blur_px": blur, "bits": 16}
    image = rendered(**camera).image
    grey = image / 65535
    points = find_edges(image, find_gears(image)[0]).outer
    # What the simulation mixed: gear and ground as linear light, the pixel's box in the blur.
    material, ground = CAMERA.gear_level, CAMERA.ground_level
    s = np.sqrt(blur**2 + 1 / 12)
    moved, u = [], []
    for k in straight_samples(points, 60, np.random.default_rng(5)):
        xy, normal = points.xy[k], points.normal[k]
        along_x = abs(xy[1] - round(xy[1])) < 1e-9  # a row's sample lies on the row's middle
        component = normal[0] if along_x else normal[1]
        found = place_of_edge(
            grey, xy, along_x, np.sign(component), material, ground, s, abs(component)
        )
        moved.append((xy[0 if along_x else 1] - found) * component)
        u.append(points.u[k])
    moved, u = np.array(moved), np.array(u)
    # Both see the same noise: what is left is what levels and blur shared by some 120 samples
    # cost, a tenth of the sample's own uncertainty each, and the bend of the flank within reach.
    assert np.sqrt(np.mean(moved**2)) < 0.25 * np.median(u)
    assert abs(moved.mean()) < 4 * 0.25 * np.median(u) / np.sqrt(len(moved))
