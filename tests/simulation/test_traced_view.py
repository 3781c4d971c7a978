"""Where the camera of traced pictures sees a point; Mitsuba's own where it is installed."""

from math import cos, radians

import numpy as np
import pytest

from ..benchmarks.traced_look import Camera
from ..benchmarks.traced_view import View
from ..helpers.tolerances import ROUNDING


def camera(**given):
    plain = {
        "width_px": 60,
        "height_px": 40,
        "um_per_px": 100.0,
        "distance_mm": 80.0,
        "gear_px": (31.3, 18.6),
        "foot_px": (7, -4),
        "lean_deg": 3.0,
        "lean_towards_deg": 25.0,
        "aperture_mm": 0.0,
        "focus_above_mm": 0.0,
    }
    return Camera(**{**plain, **given})


@pytest.mark.parametrize("distance_mm", [0.0, 80.0])
def test_the_scale_is_exact_on_a_face_square_to_the_camera(distance_mm):
    view = View(camera(distance_mm=distance_mm, lean_deg=0.0))
    seen = view.to_px(view.gear + np.array([[0.0, 0, 0], [1.0, 0, 0], [0, 1.0, 0]]))
    # Pixel centres are whole numbers, so the bore's place is half a pixel less than in the frame.
    np.testing.assert_allclose(seen, [[30.8, 18.1], [40.8, 18.1], [30.8, 8.1]], atol=1e-9)


def test_a_lean_shortens_what_lies_along_it_by_its_cosine():
    view = View(camera(distance_mm=0.0, lean_deg=20.0, lean_towards_deg=0.0))
    seen = view.to_px(view.gear + np.array([[0.0, 0, 0], [1.0, 0, 0], [0, 1.0, 0]]))
    lengths = np.hypot(*(seen[1:] - seen[0]).T)
    np.testing.assert_allclose(lengths, [10 * cos(radians(20.0)), 10.0], atol=ROUNDING)


@pytest.mark.parametrize("distance_mm", [0.0, 80.0])
def test_the_renderer_sees_a_lamp_where_the_view_says(distance_mm):
    mi = pytest.importorskip("mitsuba")
    mi.set_variant("scalar_rgb")
    view = View(camera(distance_mm=distance_mm))
    at = view.gear + np.array([0.6, 0.9, -2.0])
    ball = {"type": "sphere", "center": [float(c) for c in at], "radius": 0.4}
    ball["lamp"] = {"type": "area", "radiance": {"type": "rgb", "value": 1.0}}
    scene = {"type": "scene", "integrator": {"type": "direct"}, "ball": ball}
    light = np.array(mi.render(mi.load_dict({**scene, "sensor": view.sensor(mi, 256, 0)})))
    weight = light.sum(axis=2)
    y, x = np.mgrid[: weight.shape[0], : weight.shape[1]]
    middle = [(weight * x).sum() / weight.sum(), (weight * y).sum() / weight.sum()]
    # 50 pixels hold the ball; 256 paths place its rim to some thousandths of a pixel, and
    # perspective moves its middle by 0.4^2 / 80^2 of its distance from the foot.
    np.testing.assert_allclose(middle, view.to_px(at[None])[0], atol=0.02)
