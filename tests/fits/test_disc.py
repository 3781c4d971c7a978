"""Round outlines that set a scale, found on the whole picture."""

import cv2
import numpy as np
import pytest

from cogloupe.fits.bore import _lobe, _run_factor
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


def test_noise_of_single_points_is_hardly_ever_taken_for_waves_of_the_edge():
    rng = np.random.default_rng(8)
    factors = [_run_factor(rng.standard_normal(400)) for _ in range(400)]
    # Beyond two standard deviations of a correlation 2.3 of a hundred lie; three of those, more.
    assert np.mean(np.array(factors) > 1) < 0.023 + 3 * (0.023 / 400) ** 0.5


@pytest.mark.parametrize(("lobes", "counts"), [(2, False), (3, True), (5, True)])
def test_lobes_of_a_bore_s_own_form_leave_its_centre_open_and_an_oval_does_not(lobes, counts):
    turn = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    arm = 50 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    found = _lobe(arm, 0.5 * np.cos(lobes * turn))
    assert found == pytest.approx(0.5 / 12**0.5 if counts else 0, abs=1e-9)
