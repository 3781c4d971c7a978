"""Edges found near a predicted outline lie where they are, whatever light lies beside them."""

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest
from scipy.spatial import cKDTree

from cogloupe.finding.segmentation import find_gears
from cogloupe.optics.edges import find_edges
from cogloupe.optics.joint.from_prediction import _reach, measure_outlines
from cogloupe.optics.response import srgb_stored

from ...helpers.outlines import traced
from ...helpers.pictures import CAMERA, flanks, read, rendered, rms

PX_MM = CAMERA.mm_per_px
BRASS = {"look": "front-lit", "gamma": "srgb"}
BEVEL = BRASS | {"bevel_mm": 3 * PX_MM}
KINDS = {"back-lit": {}, "uneven light": {"illumination": 0.4}, "brass": BRASS, "bevel": BEVEL}


@cache
def by_level(kind):
    """Edges by a dividing level."""
    image = rendered(**KINDS[kind]).image
    return find_edges(image, find_gears(image)[0])


@cache
def laid(kind, moved=(0.0, 0.0)):
    """Edges near the outline that a dividing level leads to, after a move."""
    image = rendered(**KINDS[kind]).image
    region = find_gears(image)[0]
    region = replace(region, outline=region.outline + np.array(moved))
    return measure_outlines(image, region, "outer")


@pytest.mark.parametrize(
    ("teeth", "tip_px", "reach"), [(8, 205.0, 9), (24, 130.0, 6), (0, 99.0, 12)]
)
def test_profiles_reach_a_fifth_of_a_module(teeth, tip_px, reach):
    region = find_gears(rendered().image)[0]
    assert _reach(replace(region, teeth=teeth, tip_radius=tip_px)) == reach


def apart_px(one, two):
    """How far out of the nearest points of the one the points of the other lie."""
    near = cKDTree(one.xy).query(two.xy)[1]
    return ((two.xy - one.xy[near]) * one.normal[near]).sum(axis=1)


@pytest.mark.parametrize("kind", list(KINDS))
def test_edges_are_those_that_a_dividing_level_leads_to(kind):
    apart = apart_px(by_level(kind).outer, laid(kind).outer)
    stretches = [np.median(part) for part in np.array_split(apart, 4 * 24)]
    # Flanks, about, are good to a few hundredths of a pixel; corners of a bevel are not.
    assert abs(np.median(apart)) < 0.02
    assert np.median(np.abs(stretches)) < 0.05
    assert laid(kind).bevel_px == pytest.approx(by_level(kind).bevel_px, abs=0.15)
    assert laid(kind).burnt == 0


def test_a_prediction_may_be_off_by_two_pixels():
    apart = apart_px(laid("back-lit").outer, laid("back-lit", (2.0, -1.0)).outer)
    # A clear picture's edges are told to 0.02 px each.
    assert np.quantile(np.abs(apart), 0.9) < 0.02


def test_holes_are_measured_as_well():
    (expected,), (found,) = by_level("back-lit").holes, laid("back-lit").holes
    # The same.
    assert np.abs(apart_px(expected, found)).mean() < 0.02


def test_a_gear_as_grey_as_its_ground_is_read():
    made = rendered(ground_level=0.5, gear_level=0.46, noise=0.06)
    reading, truth = read(made.image), made.truth.about_bore
    single = flanks(reading, "single_pitch_um") - flanks(truth, "single_pitch_um")
    # Six times the noise, in the step, of a clear picture, whose pitch errors are 0.01 px.
    assert rms(single) < 0.08 * 1000 * PX_MM


FALL_PX = np.array([-5.0, -2.0])


def beside_a_deep_shadow():
    """A gear darker than the ground, with a hard shadow that is darker than either; its outline."""
    outline = traced(teeth=20).edges.xy
    finely = [np.rint(4 * (line + 0.5)).astype(np.int32) for line in (outline + FALL_PX, outline)]
    side = int(4 * np.ceil(outline.max() + 20))
    light = np.full((side, side), 0.45, np.float32)
    for line, level in zip(finely, (0.08, 0.3), strict=True):
        cv2.fillPoly(light, [line], level)
    small = cv2.resize(light, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    noise = 0.002 * np.random.default_rng(5).standard_normal(small.shape)
    stored = srgb_stored(cv2.GaussianBlur(small, (0, 0), 1.0) + noise)
    return np.rint(255 * np.stack([stored] * 3, axis=-1)).astype(np.uint8), outline


def test_a_deep_shadow_beside_a_dark_gear_is_no_band():
    image, outline = beside_a_deep_shadow()
    region = replace(
        find_gears(rendered().image)[0],
        outline=outline, teeth=20, tip_radius=275.0, coloured=True, holes=(),
    )  # fmt: skip
    found = measure_outlines(image, region, "outer")
    assert found.bevel_px == 0
    out = np.abs(apart_px(traced(teeth=20).edges, found.outer))
    # A band's outer edge lies up to five pixels out. What is left is where the shadow is narrower
    # than the blur, and where that of a tip falls into a gap.
    assert np.quantile(out, 0.8) < 0.6
