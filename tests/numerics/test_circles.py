"""Circles through points, some of which may not belong."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cogloupe.numerics.circles import _through_three, fit_circle, robust_circle

from ..helpers.tolerances import ROUNDING


def on_circle(x, y, radius, angles):
    return np.stack([x + radius * np.cos(angles), y + radius * np.sin(angles)], axis=1)


ROUND = np.linspace(0, 2 * np.pi, 90, endpoint=False)


@given(
    st.floats(-500, 500), st.floats(-500, 500), st.floats(1, 300), st.floats(0, 6),
    st.floats(1.0, 6.2),
)  # fmt: skip
def test_exact_points_give_their_circle_from_an_arc_of_a_radian_up(x, y, radius, start, arc):
    xy = on_circle(x, y, radius, start + np.linspace(0, arc, 40))
    # An arc of a radian tells the centre 24 times worse than its points, which are rounded at
    # 1e-13 of 800.
    assert fit_circle(xy) == pytest.approx((x, y, radius), abs=1e-8)


def test_noise_averages_out_over_the_points():
    rng = np.random.default_rng(1)
    xy = on_circle(10.0, -4.0, 50.0, np.linspace(0, 2 * np.pi, 400)) + rng.normal(0, 0.1, (400, 2))
    x, y, radius = fit_circle(xy)
    # u(centre) = s sqrt(2 / n) = 0.007, u(radius) = s / sqrt(n) = 0.005; four of each.
    assert (x, y) == pytest.approx((10, -4), abs=0.028)
    assert radius == pytest.approx(50, abs=0.02)


def test_distances_are_least_squares_not_areas():
    # The algebraic fit alone is drawn inwards by noise on a short arc; the true one is not.
    rng = np.random.default_rng(2)
    radii = [
        fit_circle(on_circle(0, 0, 100, np.linspace(0, 0.8, 60)) + rng.normal(0, 0.05, (60, 2)))[2]
        for _ in range(200)
    ]
    # One radius scatters by s sqrt(180 / n) / 0.4^2 * 2 ~ 1; 200 average to a tenth of it.
    assert np.mean(radii) == pytest.approx(100, abs=4 * np.std(radii) / np.sqrt(200))


def test_strays_do_not_move_a_robust_circle():
    rng = np.random.default_rng(4)
    strays = rng.uniform(-60, 60, (60, 2))
    circle = robust_circle(np.vstack([on_circle(3, -2, 40, ROUND), strays]), 0.5)
    # A stray within the tolerance of the circle counts, and pulls by 0.5 / 90.
    assert (circle.x, circle.y, circle.radius) == pytest.approx((3, -2, 40), abs=0.05)
    assert circle.used[:90].all()
    # A stray in fifty lies within 0.5 of the circle by chance: of 60 more than six hardly ever do.
    assert circle.share == pytest.approx(0.6, abs=0.04)


def test_a_robust_circle_is_the_same_every_time():
    xy = on_circle(3, -2, 40, ROUND) + np.random.default_rng(5).normal(0, 0.2, (90, 2))
    first, second = robust_circle(xy, 0.5), robust_circle(xy, 0.5)
    assert (first.x, first.y, first.radius) == (second.x, second.y, second.radius)


def test_its_rms_is_the_distance_of_the_used_points():
    xy = on_circle(0, 0, 40, ROUND) * np.where(np.arange(90) % 2, 1.005, 0.995)[:, None]
    assert robust_circle(xy, 1.0).rms == pytest.approx(0.2, rel=ROUNDING)


@pytest.mark.parametrize("xy", [np.zeros((4, 2)), np.empty((0, 2)), on_circle(0, 0, 1, ROUND[:3])])
def test_too_few_points_give_none(xy):
    assert robust_circle(xy, 1.0) is None


def test_scattered_points_give_none_or_few():
    xy = np.random.default_rng(6).uniform(0, 1000, (50, 2))
    circle = robust_circle(xy, 0.5)
    assert circle is None or circle.share < 0.3


def test_the_circle_through_three_points_is_theirs():
    corners = on_circle(3.0, -2.0, 40.0, np.array([0.3, 1.9, 4.0]))
    centre, radius = _through_three(corners[None])
    np.testing.assert_allclose(centre, [[3, -2]], rtol=ROUNDING)
    np.testing.assert_allclose(radius, [40], rtol=ROUNDING)
