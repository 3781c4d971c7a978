"""Whether a bore's wall is in sight, on discs drawn with known rims."""

import numpy as np
import pytest

from cogloupe.fits.bore import Bore
from cogloupe.fits.bore_uncertainty import RIM_DOUBT, RIMS_APART_PX, with_wall
from cogloupe.fits.bore_wall import Wall, see_wall

UPPER, LOWER = np.array([100.3, 99.6, 62.0]), np.array([102.1, 98.7, 59.0])
"""Middle and radius of the rims, px."""
LAMP, WALL, FACE = 235.0, 120.0, 40.0


def disc(circle, blur=1.2):
    y, x = np.mgrid[:200, :200]
    out = np.hypot(x - circle[0], y - circle[1]) - circle[2]
    return 1 / (1 + np.exp(1.7 * out / blur))


def picture(hole=LAMP, wall=WALL, face=FACE, noise=1.5):
    plain = face + (wall - face) * disc(UPPER) + (hole - wall) * disc(LOWER)
    return plain + noise * np.random.default_rng(2).standard_normal(plain.shape)


def test_the_upper_rim_is_found_where_a_lamp_lights_the_wall():
    seen = see_wall(picture(), LOWER[:2], LOWER[2])
    assert seen.in_sight
    # Profiles of some 200 pixels each way, with a hundredth of noise, tell it to some hundredths.
    np.testing.assert_allclose(LOWER[:2] + seen.upper[1:], UPPER[:2], atol=0.1)
    assert LOWER[2] + seen.upper[0] == pytest.approx(UPPER[2], abs=0.15)
    np.testing.assert_allclose(seen.apart, (UPPER - LOWER)[:2], atol=0.1)


@pytest.mark.parametrize("colours", [(LAMP, FACE, FACE), (60.0, 200.0, 200.0)])
def test_a_single_rim_shows_no_wall(colours):
    assert see_wall(picture(*colours), LOWER[:2] + 0.4, LOWER[2] + 0.5).in_sight is False


def test_a_wall_in_front_light_is_left_open():
    """It may be as bright as the face on one side and dark on the other."""
    assert (
        see_wall(picture(hole=60.0, wall=150.0, face=200.0), LOWER[:2], LOWER[2]).in_sight is None
    )


def bore():
    return Bore(centre=LOWER[:2], radius=59.0, u_centre=0.03, u_radius=0.02, rms=0.1, share=1.0)


def test_a_bore_goes_to_its_upper_rim():
    seen = see_wall(picture(), LOWER[:2], LOWER[2])
    found = with_wall(bore(), seen, UPPER[None, :2])
    np.testing.assert_allclose(found.centre, UPPER[:2], atol=0.1)  # as above
    assert found.u_place == pytest.approx(np.hypot(0.03, RIM_DOUBT * found.rims_apart))
    np.testing.assert_allclose(found.rims_apart * found.rims_way, seen.apart)


def test_a_rim_further_from_tips_and_teeth_is_that_of_a_boss():
    seen = see_wall(picture(), LOWER[:2], LOWER[2])
    kept = with_wall(bore(), seen, LOWER[None, :2])
    assert (kept.centre == LOWER[:2]).all()
    assert kept.rims_apart is None


def test_a_bore_without_a_wall_in_sight_has_its_rims_together():
    seen = Wall(in_sight=False, upper=np.zeros(3), apart=np.zeros(2))
    assert with_wall(bore(), seen, UPPER[None, :2]).rims_apart == RIMS_APART_PX
