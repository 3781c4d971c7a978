"""Exact area coverage against the intersection areas of a general geometry library."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from cogloupe.simulation.coverage import area_coverage, signed_area

from ..helpers.tolerances import ROUNDING


def pixel_boxes(shape):
    rows, columns = np.mgrid[: shape[0], : shape[1]]
    return shapely.box(columns - 0.5, rows - 0.5, columns + 0.5, rows + 0.5)


def intersection_areas(outline, shape, holes=()):
    polygon = shapely.Polygon(outline, holes)
    return shapely.area(shapely.intersection(pixel_boxes(shape), polygon))


def star(x, y, *, points=24, inner=5.0, outer=9.0, turn=0.1):
    angle = turn + np.linspace(0, 2 * np.pi, points, endpoint=False)
    radius = np.where(np.arange(points) % 2, inner, outer)
    return np.stack([x + radius * np.cos(angle), y + radius * np.sin(angle)], axis=1)


@pytest.mark.parametrize(
    ("x", "y"),
    [
        (12.3, 9.7),
        (0.0, 9.7),
        (-7.5, 4.0),
        (24.0, 8.0),
        (31.0, 19.0),
        (12.0, -6.0),
        (12.5, 20.5),
        (-30.0, 8.0),
        (60.0, 8.0),
        (12.0, 60.0),
    ],
)
def test_coverage_equals_intersection_area_wherever_the_frame_cuts(x, y):
    shape = (20, 25)
    outline = star(x, y)
    np.testing.assert_allclose(
        area_coverage(outline, shape), intersection_areas(outline, shape), rtol=0, atol=ROUNDING
    )


def test_holes_are_taken_out_whichever_way_round():
    shape = (24, 30)
    outline, hole = star(14.2, 11.6, outer=11.0, inner=8.0), star(15.0, 12.0, outer=4.0, inner=2.5)
    expected = intersection_areas(outline, shape, [hole])
    for rings in [(outline, hole), (outline[::-1], hole), (outline, hole[::-1])]:
        found = area_coverage(rings[0], shape, [rings[1]])
        np.testing.assert_allclose(found, expected, rtol=0, atol=ROUNDING)


def test_a_shape_larger_than_the_frame_covers_it_wholly():
    frame = np.array([[-100.0, -50.0], [200.0, -60.0], [180.0, 90.0], [-80.0, 70.0]])
    np.testing.assert_allclose(area_coverage(frame, (8, 9)), 1.0, rtol=0, atol=ROUNDING)


def test_corners_on_pixel_borders_are_exact():
    square = np.array([[0.5, 0.5], [2.5, 0.5], [2.5, 3.5], [0.5, 3.5]])
    expected = np.zeros((6, 5))
    expected[1:4, 1:3] = 1
    np.testing.assert_array_equal(area_coverage(square, (6, 5)), expected)


@settings(max_examples=40, deadline=None)
@given(
    corners=st.lists(st.tuples(st.floats(0.5, 12), st.floats(0.02, 1)), min_size=3, max_size=12),
    x=st.floats(-8, 20),
    y=st.floats(-8, 20),
)
def test_coverage_equals_intersection_area_of_any_star_shaped_polygon(corners, x, y):
    radius, step = np.array(corners).T
    angle = 2 * np.pi * np.cumsum(step) / step.sum()
    outline = np.stack([x + radius * np.cos(angle), y + radius * np.sin(angle)], axis=1)
    # Steps over half a turn make a star that is not simple about its centre; leave those out.
    if not shapely.Polygon(outline).is_valid:
        return
    shape = (13, 14)
    np.testing.assert_allclose(
        area_coverage(outline, shape), intersection_areas(outline, shape), rtol=0, atol=1e-11
    )


def test_total_coverage_is_the_polygon_area():
    outline = star(30.0, 25.0, points=200, inner=18.0, outer=22.0)
    total = area_coverage(outline, (52, 61)).sum()
    assert total == pytest.approx(signed_area(outline), rel=ROUNDING)
