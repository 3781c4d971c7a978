"""Edges found near a predicted outline lie where they are, whatever light lies beside them."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial import cKDTree

from cogloupe.finding.segmentation import find_gears
from cogloupe.optics.edges import find_edges
from cogloupe.optics.joint.from_prediction import measure_outlines

from ...helpers.pictures import CAMERA, flanks, read, rendered, rms

PX_MM = CAMERA.mm_per_px
BRASS = {"look": "front-lit", "gamma": "srgb"}
BEVEL = BRASS | {"bevel_mm": 3 * PX_MM}
KINDS = {"back-lit": {}, "uneven light": {"illumination": 0.4}, "brass": BRASS, "bevel": BEVEL}


def both_ways(camera, moved=(0.0, 0.0)):
    """Edges by a dividing level, and near its own outline after a move."""
    image = rendered(**camera).image
    region = find_gears(image)[0]
    laid = replace(region, outline=region.outline + np.array(moved))
    return find_edges(image, region), measure_outlines(image, laid, "outer")


def apart_px(one, two):
    """How far out of the nearest points of the one the points of the other lie."""
    near = cKDTree(one.xy).query(two.xy)[1]
    return ((two.xy - one.xy[near]) * one.normal[near]).sum(axis=1)


@pytest.mark.parametrize("kind", list(KINDS))
def test_edges_are_those_that_a_dividing_level_leads_to(kind):
    by_level, laid = both_ways(KINDS[kind])
    apart = apart_px(by_level.outer, laid.outer)
    stretches = [np.median(part) for part in np.array_split(apart, 4 * 24)]
    # Flanks, about, are good to a few hundredths of a pixel; corners of a bevel are not.
    assert abs(np.median(apart)) < 0.02
    assert np.median(np.abs(stretches)) < 0.05
    assert laid.bevel_px == pytest.approx(by_level.bevel_px, abs=0.15)


def test_a_prediction_may_be_off_by_two_pixels():
    _, straight = both_ways({})
    _, moved = both_ways({}, (2.0, -1.0))
    assert np.quantile(np.abs(apart_px(straight.outer, moved.outer)), 0.9) < 0.02


def test_holes_are_measured_as_well():
    by_level, laid = both_ways({})
    assert len(laid.holes) == len(by_level.holes) == 1
    assert np.abs(apart_px(by_level.holes[0], laid.holes[0])).mean() < 0.02


def test_a_gear_as_grey_as_its_ground_is_read():
    made = rendered(ground_level=0.5, gear_level=0.46, noise=0.06)
    reading, truth = read(made.image), made.truth.about_bore
    single = flanks(reading, "single_pitch_um") - flanks(truth, "single_pitch_um")
    # Six times the noise, in the step, of a clear picture, whose pitch errors are 0.01 px.
    assert rms(single) < 0.08 * 1000 * PX_MM
