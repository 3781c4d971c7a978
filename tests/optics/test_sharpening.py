"""Cameras that sharpen: found by the edges and undone, and not seen where there are none."""

import numpy as np
import pytest

from cogloupe.finding.segmentation import find_gears
from cogloupe.optics.edges import find_edges
from cogloupe.optics.greys import greys_of
from cogloupe.optics.sharpening import Sharpening, unsharpened
from cogloupe.simulation.lens import sharpened

from ..helpers.pictures import CAMERA, flanks, read, rendered, rms

PX_MM = CAMERA.mm_per_px
SHARPENED = {"sharpening": 0.8, "sharpening_px": 1.5}
BRASS = {"look": "front-lit", "gamma": "srgb", "tool_marks": 0.1}
KINDS = {
    "linear": {},
    "sRGB": {"gamma": "srgb"},
    "halos clipped": {"gamma": "srgb", "ground_level": 0.97, "gear_level": 0.04},
    "linear, halos clipped": {"ground_level": 0.93, "gear_level": 0.1},
    "brass": BRASS,
    "bevel": {"bevel_mm": 3.5 * PX_MM},
}


def edges_of(**camera):
    image = rendered(**camera).image
    return find_edges(image, find_gears(image)[0])


@pytest.mark.parametrize("kind", KINDS)
def test_edges_lie_where_they_do_without_sharpening(kind):
    made = rendered(**KINDS[kind], **SHARPENED)
    reading, truth = read(made.image), made.truth.about_bore
    single = flanks(reading, "single_pitch_um") - flanks(truth, "single_pitch_um")
    thick = reading.summary.thickness_mean_mm - truth.summary.thickness_mean_mm
    # Read as it is, such a picture shows a false bevel or curve, and teeth thicker by a pixel.
    assert rms(single) < 0.03 * 1000 * PX_MM
    # The part of a halo that was clipped stays lost.
    assert abs(thick) < (0.15 if kind == "halos clipped" else 0.06) * PX_MM
    assert "sharpened" in {notice.code for notice in reading.warnings}


@pytest.mark.parametrize("amount", [0.3, 1.2])
def test_the_amount_is_found(amount):
    found = edges_of(gamma="srgb", sharpening=amount, sharpening_px=1.5)
    # Amount and radius make up for each other to some extent, as far as edges show.
    assert found.sharpening == pytest.approx(amount, rel=0.25)
    assert found.bevel_px == 0


@pytest.mark.parametrize("amount", [0.5, 0.6])
def test_a_little_sharpening_is_not_taken_for_another_curve(amount):
    found = edges_of(
        mm_per_px=0.02, width_px=1400, height_px=1400, oversample=1, look="light-on-dark",
        ground_level=0.13, gear_level=0.67, gamma="srgb", blur_px=1.8, noise=0.007, tool_marks=0.06,
        sharpening=amount, sharpening_px=1.0,
    )  # fmt: skip
    assert found.curve == 1
    # On grained ground an amount is told to a tenth or so.
    assert found.sharpening == pytest.approx(amount, rel=0.15)


@pytest.mark.parametrize(
    "camera",
    [
        {"gamma": "srgb"},
        {"jpeg_quality": 60},
        {"bevel_mm": 3 * PX_MM},
        BRASS | {"bevel_mm": 3 * PX_MM, "shadow_mm": 4 * PX_MM},
    ],
    ids=["sRGB", "JPEG", "bevel", "bevel and shadow"],
)
def test_no_sharpening_is_seen_where_there_is_none(camera):
    assert edges_of(**camera).sharpening == 0


@pytest.mark.parametrize("colours", [False, True])
def test_undoing_gives_the_picture_back(colours):
    level = rendered(noise=0.0).image.astype(float)
    level = np.stack([level, 0.7 * level + 20, 0.5 * level], axis=2) if colours else level
    plain = np.rint(level).astype(np.uint8)
    sharp = np.rint(255 * sharpened(plain / 255, 0.8, 1.5)).astype(np.uint8)
    assert np.abs(sharp.astype(float) - plain).max() > 20
    greys = greys_of(sharp, find_gears(sharp)[0])
    undone = unsharpened(greys, Sharpening(0.8, 1.5))
    x, y = greys.corner
    height, width = greys.shape
    before = plain[y : y + height, x : x + width]
    assert undone.pixels.shape == before.shape
    # Rounding of either picture is all that is left.
    np.testing.assert_allclose(undone.pixels / 257, before, atol=1.0)


def test_a_step_s_halo_is_as_high_as_the_amount_says():
    step = np.zeros((9, 200))
    step[:, 100:] = 0.5
    # Far inside its radius a Gaussian mean lies half way.
    row = sharpened(0.25 + step, 0.4, 6.0)[4]
    assert row[100] - 0.75 == pytest.approx(0.4 * 0.25, rel=0.1)
    assert row[[50, 150]] == pytest.approx([0.25, 0.75], abs=1e-6)
