"""What single edges leave of averaged profiles."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.spatial import cKDTree

from cogloupe.optics.contour_following import bend
from cogloupe.optics.response_selection import (
    curve_doubt,
    explained,
    long_profiles,
)

from ..helpers.pictures import CAMERA
from ..helpers.single_edges import looks_of

BRASS = {"look": "front-lit", "gamma": "srgb"}


@pytest.mark.parametrize("camera", [{}, BRASS], ids=["back-lit", "brass"])
@pytest.mark.parametrize("marks", [0.0, 0.1])
def test_single_edges_explain_a_face_without_bevel_whatever_its_marks(camera, marks):
    assert explained(looks_of(tool_marks=marks, **camera))


@pytest.mark.parametrize("band", ["bevel_mm", "shadow_mm"])
def test_they_do_not_explain_a_bevel_or_a_shadow(band):
    light = {"ground_rgb": (0.92, 0.92, 0.9), "gear_rgb": (0.45, 0.35, 0.2)}
    assert not explained(looks_of(**BRASS, **light, **{band: 3 * CAMERA.mm_per_px}))


def test_edges_are_judged_where_they_run_straight_however_little_of_the_outline_does():
    model, reach = looks_of()[0], 8
    points = model.measured.points
    # Of every hundred samples sixty turn by 50 degrees within reach, forty run straight.
    turning = np.arange(len(points)) % 100 < 60
    angle = np.cumsum(turning) * np.radians(50) / (2 * reach)
    normal = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    measured = replace(model.measured, points=replace(points, normal=normal))
    profiles = long_profiles(model.greys, measured, reach)
    index = cKDTree(points.xy).query(profiles.xy)[1]
    assert (bend(normal, reach)[index] > np.cos(np.radians(37))).all()


@pytest.mark.parametrize("left", [1.0, 9.0, 100.0])
def test_where_the_picture_does_not_tell_its_curve_half_of_what_lies_between_is_in_doubt(left):
    def model(penalty, curve):
        bevel = SimpleNamespace(seen=True)
        return SimpleNamespace(penalty=penalty, bevel=bevel, half_way=0.3, curve=curve)

    # A believed curve may leave more than the other, where that one is the less usual.
    best, other = model(left, 1.0), model(9.0, 0.0)
    told = curve_doubt(best, [other])
    assert told == pytest.approx(0.3 * 0.5 * min(1.0, left**0.5 / 3))
    assert curve_doubt(best, []) == pytest.approx(0.15)
