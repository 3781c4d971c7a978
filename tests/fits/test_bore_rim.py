"""The rim of a bore as the first edge from the face, on discs drawn with known rims."""

from dataclasses import replace

import numpy as np
import pytest

from cogloupe.fits.bore import Bore
from cogloupe.fits.bore_rim import rim_of_bore, takes_over

UPPER, LOWER = np.array([130.3, 129.6, 62.0]), np.array([136.1, 127.7, 60.0])
"""Middle and radius of the rims, px."""
ROOT_RADIUS = 120.0
FACE, WALL, GROUND, PRINT = 120.0, 60.0, 150.0, 118.0


def disc(circle, blur=1.2):
    y, x = np.mgrid[:260, :260]
    out = np.hypot(x - circle[0], y - circle[1]) - circle[2]
    return 1 / (1 + np.exp(1.7 * out / blur))


def picture(*, bored=True, step=0.0):
    """A face with turned rings; half of what its bore shows is as bright as that."""
    y, x = np.mgrid[:260, :260]
    plain = FACE + 3 * np.sin(np.hypot(x - 130, y - 130) / 2)
    plain += step * disc([130.0, 130.0, 95.0])
    if bored:
        inside = np.where(y > 140, PRINT, GROUND)
        upper, lower = disc(UPPER), disc(LOWER)
        plain += (WALL - plain) * upper + (inside - WALL) * upper * lower
    plain += np.random.default_rng(2).standard_normal(plain.shape)
    return np.clip(plain, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("step", [0.0, 60.0], ids=["plain", "within a recess"])
def test_a_rim_is_found_where_no_level_parts_the_hole_from_the_face(step):
    rim = rim_of_bore(picture(step=step), np.array([131.0, 129.0]), ROOT_RADIUS, curve=0.0)
    assert rim is not None
    # Where the wall is narrower than the blur its two edges are one, a few tenths further in.
    np.testing.assert_allclose(rim.centre, UPPER[:2], atol=0.3)
    assert rim.radius == pytest.approx(UPPER[2], abs=0.5)


def test_a_bore_found_on_its_lower_rim_leads_to_the_upper_one():
    rim = rim_of_bore(picture(), LOWER[:2], ROOT_RADIUS, LOWER[2], curve=0.0)
    assert rim is not None
    np.testing.assert_allclose(rim.centre, UPPER[:2], atol=0.3)  # as above


@pytest.mark.parametrize("root_radius", [ROOT_RADIUS, 5.0])
def test_a_face_that_is_not_bored_has_no_rim(root_radius):
    """Nor has one of a few pixels."""
    assert rim_of_bore(picture(bored=False), np.array([130.0, 130.0]), root_radius) is None


def bore(x, rms, u_centre):
    return Bore(
        centre=np.array([x, 0.0]), radius=60.0, u_centre=u_centre, u_radius=0.0, rms=rms, share=1.0
    )


@pytest.mark.parametrize(
    ("rim", "takes"),
    [
        (bore(0.5, 0.1, 0.1), True),
        (bore(0.5, 0.9, 0.1), False),
        (bore(0.5, 0.1, 0.9), False),
        (bore(5.0, 0.1, 0.1), False),  # as on a boss, which stands nearer to the lens
    ],
    ids=["rounder", "more scattered", "with lobes", "further off"],
)
def test_a_rim_takes_over_only_as_the_rounder_circle_that_is_borne_out(rim, takes):
    found = bore(2.0, 0.5, 0.5)
    assert takes_over(rim, found, np.zeros((1, 2))) == takes
    assert not takes_over(replace(rim, rms=0.5, u_centre=0.5), found, np.zeros((1, 2)))


@pytest.mark.parametrize(("rms", "takes"), [(0.5, True), (0.7, False)])
def test_a_rim_alone_must_be_round(rms, takes):
    assert takes_over(bore(5.0, rms, 0.1), None, np.zeros((1, 2))) == takes
