"""What edges look like by the wrong camera curve, foreseen and found."""

import cv2
import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.special import ndtr
from shapely import Polygon

from cogloupe.finding.segmentation import find_gears
from cogloupe.optics import response_selection as response_candidates
from cogloupe.optics.contour_following import border_chains, crossings_of, material_mask
from cogloupe.optics.edge_model_selection import select_edge_model
from cogloupe.optics.edges import find_edges
from cogloupe.optics.greys import Greys, greys_of
from cogloupe.optics.outlines import edge_shift
from cogloupe.optics.response_mismatch import Z, mismatch_of
from cogloupe.optics.response_selection import curve_doubt
from cogloupe.optics.sampling import Fit

from ..helpers.pictures import rendered

LIGHT = Greys(
    pixels=np.zeros((1, 1), np.uint8), corner=(0, 0), shape=(1, 1), weights=None, in_light=True
)


def looks_at(image):
    (region,) = find_gears(image)
    greys = greys_of(image, region)
    mask = material_mask(greys, region)
    outer, _ = border_chains(mask, region, greys.corner)
    return select_edge_model(greys, crossings_of(mask, outer), False, Fit(room_px=20.0))


def test_a_faint_step_hardly_changes():
    wrong = mismatch_of(np.array([120.0, 122.0]), LIGHT)
    # An exponent of 2.4 bends a step of 2 in 120 by an eighth of 1.4 times that: 0.3 % of it, or
    # 0.007 blurs.
    assert wrong.move == pytest.approx(0, abs=0.01)
    # The same, before the step is moved to take most of it up.
    assert np.abs(wrong.left).max() < 0.002


@pytest.mark.parametrize("levels", [(20.0, 230.0), (230.0, 20.0), (90.0, 140.0)])
def test_a_step_moves_into_the_brighter_side(levels):
    wrong = mismatch_of(np.array(levels), LIGHT)
    z = np.linspace(-6, 6, 241)
    stored = (levels[0] + (levels[1] - levels[0]) * ndtr(z)) / 255
    light = ((stored + 0.055) / 1.055) ** 2.4  # IEC 61966-2-1, above 0.04
    share = (light - light[0]) / (light[-1] - light[0])
    (place, blur), _ = curve_fit(lambda z, place, blur: ndtr((z - place) / blur), z, share, (0, 1))
    # Values half way apart are little light by the sRGB curve, so half of it lies further on.
    assert np.sign(place) == np.sign(levels[1] - levels[0])
    # The table of light has 256 entries.
    assert wrong.move == pytest.approx(place, abs=0.002)
    spread = np.diff(wrong.distance[[0, -1]]) / np.diff(Z[[0, -1]])
    assert 1 / spread == pytest.approx(blur, rel=0.002)


def test_what_is_foreseen_is_what_would_be_found(monkeypatch):
    image = rendered().image
    best, other = looks_at(image)
    monkeypatch.setattr(response_candidates, "CURVE_SURE", np.inf)
    found_best, found = looks_at(image)
    assert best.curve == found_best.curve == 0
    assert other.curve == found.curve == 1
    # Only how much worse it is counts, by the sixth root: half as much or twice is as good.
    assert 0.5 < other.misfit.overall / found.misfit.overall < 2
    assert 0.8 < curve_doubt(best, [other]) / curve_doubt(found_best, [found]) < 1.25


def test_a_picture_stored_by_the_curve_is_looked_at_both_ways():
    best, other = looks_at(rendered(gamma="srgb").image)
    assert (best.curve, other.curve) == (1, 0)
    assert other.misfit.overall > 10 * best.misfit.overall


@pytest.mark.parametrize("blur_px", [1.0, 2.0])
def test_what_was_blurred_after_it_was_stored_lies_within_its_doubt(blur_px):
    image = rendered(gamma="srgb", blur_px=1.5).image
    copy = cv2.GaussianBlur(image, (0, 0), blur_px)
    sharp, blurred = (find_edges(pixels, find_gears(pixels)[0]) for pixels in (image, copy))
    whole, smaller = (Polygon(found.outer.xy) for found in (sharp, blurred))
    moved = (whole.area - smaller.area) / whole.length
    # Half way between two stored greys lies half a blur inside half the light.
    assert moved > 0.2
    assert moved < 2 * edge_shift(blurred.blur_px, blurred.u_level_px)
