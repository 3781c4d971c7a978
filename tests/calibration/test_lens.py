"""The lens model: exact identities with the usual polynomial and with perspective, derivatives."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.lens import (
    MORE_TERMS,
    TERMS,
    TERMS_IN_WORDS,
    frame_middle,
    ideal_points,
    make_lens,
    point_modes,
    term_effects,
    unmeasured_lens,
)

from ..helpers.tolerances import ROUNDING

WIDTH, HEIGHT = 640, 480
CENTRE, RADIUS = frame_middle(WIDTH, HEIGHT)
Y, X = np.mgrid[0 : HEIGHT - 1 : 7j, 0 : WIDTH - 1 : 9j]
POINTS = np.stack([X, Y], axis=-1)
CAMERA = np.array([[RADIUS, 0, CENTRE[0]], [0, RADIUS, CENTRE[1]], [0, 0, 1]])
small = st.floats(-0.02, 0.02)


def lens_of(covariance=None, **terms):
    values = [terms.get(name, 0.0) for name in TERMS]
    return make_lens(CENTRE, RADIUS, values, np.zeros((8, 8)) if covariance is None else covariance)


def polynomial(lens):
    k1, k2, p1, p2 = lens.terms[:4]
    return np.array([k1, k2, p1, p2])


def test_no_terms_leave_every_place_as_it_is():
    np.testing.assert_allclose(ideal_points(lens_of(), POINTS), POINTS, rtol=0, atol=ROUNDING)


@given(k1=small, k2=small, p1=small, p2=small)
def test_radial_and_tangential_terms_agree_with_the_usual_polynomial(k1, k2, p1, p2):
    """Exact identity: the general-purpose library applies the same polynomial the other way."""
    lens = lens_of(k1=k1, k2=k2, p1=p1, p2=p2)
    rays = np.concatenate([(POINTS.reshape(-1, 2) - CENTRE) / RADIUS, np.ones((63, 1))], axis=1)
    other, _ = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), CAMERA, polynomial(lens))
    # Offsets of up to 1e5 px.
    np.testing.assert_allclose(
        ideal_points(lens, POINTS).reshape(-1, 2), other[:, 0], rtol=0, atol=1e-11
    )


def test_round_trip_through_another_program_comes_back():
    """It takes five fixed-point steps, each of which leaves about a twentieth of the error."""
    lens = lens_of(k1=0.02, k2=-0.005, p1=0.002, p2=-0.001)
    flat = ideal_points(lens, POINTS).reshape(-1, 1, 2)
    back = cv2.undistortPoints(flat, CAMERA, polynomial(lens), R=np.eye(3), P=CAMERA)
    np.testing.assert_allclose(back.reshape(POINTS.shape), POINTS, rtol=0, atol=1e-5)


@given(e1=small, e2=small, g1=small, g2=small)
def test_aspect_skew_and_perspective_keep_straight_lines_straight(e1, e2, g1, g2):
    flat = ideal_points(lens_of(e1=e1, e2=e2, g1=g1, g2=g2), POINTS)
    for lines in (flat, flat.swapaxes(0, 1)):
        along = lines[:, -1:] - lines[:, :1]
        arm = lines - lines[:, :1]
        off = along[..., 0] * arm[..., 1] - along[..., 1] * arm[..., 0]
        # Coordinates of up to a thousand px and products of two.
        assert np.max(np.abs(off) / np.hypot(*along.T).max()) < 1e-11


@given(terms=st.lists(small, min_size=8, max_size=8))
def test_scale_at_the_centre_is_kept(terms):
    """The area is, to the second order of aspect and skew."""
    lens = make_lens(CENTRE, RADIUS, terms, np.zeros((8, 8)))
    step = 1e-3
    corners = np.array(CENTRE) + step * np.array([[0, 0], [1, 0], [0, 1]])
    origin, right, down = ideal_points(lens, corners)
    area = np.linalg.det(np.stack([right - origin, down - origin])) / step**2
    # Third order in terms of a hundredth.
    assert area == pytest.approx(1 - terms[4] ** 2 - terms[5] ** 2, abs=1e-6)


def test_derivatives_agree_with_differences():
    terms = np.array([0.02, -0.01, 0.003, -0.002, 0.004, 0.001, 0.01, -0.02])
    terms = np.append(terms, [0.01, 0.003, -0.002, 0.005, -0.003, 0.002])
    step, axes = 1e-6, np.eye(len(terms))
    effects = term_effects(terms, CENTRE, RADIUS, POINTS)
    for index in range(len(terms)):
        ends = [
            ideal_points(make_lens(CENTRE, RADIUS, terms + s * axes[index], axes), POINTS)
            for s in (-step, step)
        ]
        # Differences of numbers near 1000 px lose digits: 1e-13 * 1000 / 1e-6.
        np.testing.assert_allclose(
            effects[..., index], (ends[1] - ends[0]) / (2 * step), rtol=0, atol=1e-3
        )


def test_modes_carry_the_whole_covariance():
    """Their squares add up to J C J^T, the first-order propagation."""
    rng = np.random.default_rng(3)
    root = rng.normal(0, 1e-3, (8, 8))
    terms = rng.normal(0, 0.01, 8)
    lens = make_lens(CENTRE, RADIUS, terms, root @ root.T)
    modes = point_modes(lens, POINTS)
    effects = term_effects(terms, CENTRE, RADIUS, POINTS)
    expected = np.einsum("...ik,kl,...jl->...ij", effects, root @ root.T, effects)
    assert modes.shape == (8, *POINTS.shape)
    np.testing.assert_allclose(
        np.einsum("m...i,m...j->...ij", modes, modes), expected, atol=ROUNDING
    )


def test_one_point_is_as_good_as_many():
    lens = lens_of(np.eye(8) * 1e-6, k1=0.01)
    assert ideal_points(lens, (10.0, 20.0)).shape == (2,)
    assert point_modes(lens, [10.0, 20.0]).shape == (8, 2)


def test_more_terms_agree_with_the_usual_polynomial_about_another_centre():
    """k1 and k2 about a centre d off are p = -k1 d and q = -k2 d, to the first order of d."""
    k1, k2, off = 0.05, 0.03, 1e-4
    about = make_lens((CENTRE[0] + off * RADIUS, CENTRE[1]), RADIUS, [k1, k2] + 6 * [0], np.eye(8))
    terms = [k1, k2, 0, -k1 * off, 0, 0, 0, 0, 0, 0, -k2 * off]
    here = make_lens(CENTRE, RADIUS, terms, np.eye(11))
    # The second order leaves 1000 px times 20 k off^2.
    np.testing.assert_allclose(
        ideal_points(here, POINTS), ideal_points(about, POINTS), rtol=0, atol=2e-5
    )


@pytest.mark.parametrize(
    ("terms", "rows", "columns"), [(7, 8, 8), (8, 7, 8), (8, 8, 7), (15, 15, 15), (0, 0, 0)]
)
def test_lens_of_another_size_is_refused(terms, rows, columns):
    with pytest.raises(ValidationError, match="8 rows and columns"):
        Lens(
            centre_px=CENTRE,
            radius_px=RADIUS,
            terms=(0.0,) * terms,
            covariance=((0.0,) * columns,) * rows,
        )


def test_every_term_has_words():
    assert tuple(TERMS_IN_WORDS) == TERMS + MORE_TERMS


def test_unmeasured_lens_moves_nothing_and_allows_for_the_usual_lens():
    """1 % at the corner by distortion; a lean of 1 degree ten half diagonals away stretches the
    side of the frame by its share of 0.00175, and shortens one direction by 0.00015."""
    lens = unmeasured_lens(WIDTH, HEIGHT)
    np.testing.assert_allclose(ideal_points(lens, POINTS), POINTS, rtol=0, atol=ROUNDING)
    corner = np.hypot(*point_modes(lens, [0.0, 0.0]).T)
    side = np.hypot(*point_modes(lens, [CENTRE[0], 0.0]).T)
    share = CENTRE[1] / RADIUS
    assert corner.max() == pytest.approx(0.01 * RADIUS, rel=ROUNDING)
    assert side[1] == pytest.approx(np.radians(1) / 10 * share * CENTRE[1], rel=ROUNDING)
    assert side[3] == pytest.approx(np.radians(1) ** 2 / 2 * CENTRE[1], rel=ROUNDING)
