"""Bevelled edges in all kinds of light: found where they are, and only there."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.special import ndtr

from cogloupe.finding.segmentation import find_gears
from cogloupe.optics.bevel import NO_BEVEL
from cogloupe.optics.bevel_fit import like_ground
from cogloupe.optics.bevel_start import STRAY, FirstBand, by_facing, first_band, smooth_light
from cogloupe.optics.edges import find_edges

from ..helpers.pictures import CAMERA, as_jpeg, flanks, read, rendered, rms

PX_MM = CAMERA.mm_per_px
BRASS = {"look": "front-lit", "gamma": "srgb"}
MARKS = {"tool_marks": 0.1}
LIGHT_GROUND = {"ground_rgb": (0.9, 0.9, 0.88)}


@cache
def edges_of(**camera):
    image = rendered(**camera).image
    return find_edges(image, find_gears(image)[0])


def errors_px(**camera):
    """Single pitch errors, and the error of the mean thickness, px."""
    made = rendered(**camera)
    reading, truth = read(made.image), made.truth.about_bore
    single = flanks(reading, "single_pitch_um") - flanks(truth, "single_pitch_um")
    thick = reading.summary.thickness_mean_mm - truth.summary.thickness_mean_mm
    return single / (1000 * PX_MM), thick / PX_MM, reading


@pytest.mark.parametrize(
    "camera",
    [{}, BRASS, BRASS | MARKS, BRASS | LIGHT_GROUND],
    ids=["back-lit", "front-lit", "tool marks", "light ground"],
)
def test_the_outer_edge_is_measured_beside_a_bevel(camera):
    width = 3.0
    single, thick, reading = errors_px(bevel_mm=width * PX_MM, **camera)
    # Single edges, which follow now one and now the other of the two, are off by a pixel or two.
    assert rms(single) < 0.04
    assert abs(thick) < 0.06
    (told,) = (notice.message for notice in reading.warnings if notice.code == "two_edges")
    # Within 0.15 px, of which rounding to a tenth may hide 0.05.
    assert float(told.split("side by side, ")[1].split()[0]) == pytest.approx(width, abs=0.1 + 1e-9)


@pytest.mark.parametrize("width", [2.0, 5.0])
def test_narrow_and_wide_bevels_are_found(width):
    found = edges_of(bevel_mm=width * PX_MM, **BRASS)
    # A bevel's width is told to 0.02 px on a clear picture.
    assert found.bevel_px == pytest.approx(width, abs=0.06)


@pytest.mark.parametrize("gamma", ["linear", "srgb"])
def test_a_bevel_does_not_hide_the_camera_s_curve(gamma):
    found = edges_of(bevel_mm=3 * PX_MM, **BRASS | {"gamma": gamma})
    assert found.curve == (1 if gamma == "srgb" else 0)
    # The same.
    assert found.bevel_px == pytest.approx(3, abs=0.06)


@pytest.mark.parametrize("quality", [65, 86])
def test_two_greys_in_a_file_are_told_apart_by_brightness(quality):
    greys = {"gear_rgb": (0.49, 0.53, 0.52), "ground_rgb": (0.11, 0.12, 0.09)}
    image = rendered(bevel_mm=4 * PX_MM, tool_marks=0.13, **BRASS, **greys).image
    pixels, _ = as_jpeg(image, quality)
    found = find_edges(pixels, find_gears(pixels)[0])
    # Their faint difference of colours looks clear where the file has smoothed it.
    assert not found.mixed
    assert found.bevel_px == pytest.approx(4, abs=0.3)


@pytest.mark.parametrize("fall", [2.5, 4.0])
def test_a_shadow_on_a_light_ground_moves_no_edge(fall):
    single, thick, reading = errors_px(shadow_mm=fall * PX_MM, **BRASS, **LIGHT_GROUND)
    # Single steps take the shadow for part of the gear, by up to its width on the side away from
    # the lamp. What is left is where a tip's shadow falls into a gap.
    assert rms(single) < 0.1
    assert abs(thick) < 0.1
    assert "two_edges" not in {notice.code for notice in reading.warnings}


@pytest.mark.parametrize(
    "camera",
    [
        {"look": "front-lit"},
        {"look": "light-on-dark", "ground_level": 0.19, "gear_level": 0.8},
        {"blur_px": 1.9, "ground_level": 0.89, "gear_level": 0.21},
    ],
    ids=["front-lit", "light on dark", "back-lit"],
)
def test_a_deep_shadow_is_not_taken_for_a_bevel(camera):
    single, thick, reading = errors_px(shadow_mm=6 * PX_MM, **camera)
    # As the edge of a band, the face ends a pixel further in or out.
    assert rms(single) < 0.1
    assert abs(thick) < 0.1
    assert "two_edges" not in {notice.code for notice in reading.warnings}


@pytest.mark.parametrize(
    ("light", "black", "ground"),
    [(0.85, 1.1, False), (1.2, 1.1, True), (0.85, -0.3, True), (0.4, -0.3, False)],
    ids=["bright gear's bevel", "bright gear's shadow", "dark gear's shadow", "dark gear's bevel"],
)
def test_what_a_shadow_cannot_have_done_is_no_ground(light, black, ground):
    # 0 is the face's light, 1 the ground's; `black` is none, and shadows lie on its side of 1.
    band = replace(NO_BEVEL, width_px=3.0, share=np.array([light]), black=black)
    assert like_ground(band, brightness=True) == ground


@pytest.mark.parametrize("width", [2.5, 5.0])
def test_bevels_as_dark_as_the_ground_on_one_side_are_followed(width):
    # Away from the lamp the outer edge is all but invisible.
    single, thick, _ = errors_px(
        bevel_mm=width * PX_MM, look="light-on-dark", blur_px=0.9, ground_level=0.16,
        gear_level=0.78,
    )  # fmt: skip
    assert rms(single) < 0.1
    # Two flanks, of which one is off by up to 0.1 px where its edge is all but invisible.
    assert abs(thick) < 0.15


def test_the_inner_edge_lies_in_by_the_bevel_s_width():
    image = rendered(bevel_mm=3 * PX_MM, **BRASS).image
    outer = edges_of(bevel_mm=3 * PX_MM, **BRASS).outer
    inner = find_edges(image, find_gears(image)[0], "inner").outer
    apart = ((outer.xy - inner.xy) * outer.normal).sum(axis=1)
    # The same.
    assert apart == pytest.approx(3, abs=0.06)


@pytest.mark.parametrize(
    "camera",
    [
        {"illumination": 0.4},
        MARKS | {"ground_texture": 0.05},
        BRASS | MARKS,
        BRASS | {"shadow_mm": 0.1},
        {"blur_px": 1.0, "far_blur_px": 3.0},
    ],
    ids=["uneven light", "texture", "brass", "shadow", "defocus"],
)
def test_nothing_else_is_taken_for_a_bevel(camera):
    assert edges_of(**camera).bevel_px == 0


def test_what_is_not_known_of_a_bevel_is_stated():
    clean = edges_of(bevel_mm=3 * PX_MM, **BRASS)
    marked = edges_of(bevel_mm=3 * PX_MM, **(BRASS | MARKS))
    assert 0 < clean.u_bevel_px < 0.02
    assert clean.u_bevel_px < marked.u_bevel_px < 0.3


def test_colours_tell_an_edge_that_brightness_hides():
    # Shining brass is about as bright as a light ground, but it reflects little blue.
    single, thick, _ = errors_px(**(BRASS | MARKS | LIGHT_GROUND))
    assert rms(single) < 0.02
    assert abs(thick) < 0.02


WIDTH, BLUR = 3.0, 1.2


def averaged(light):
    """Averages of profiles that were placed where they pass half way."""
    turn = np.linspace(0, 2 * np.pi, 600, endpoint=False)
    normal = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    distance = np.linspace(-14, 14, 57)
    own = light(turn)[:, None]
    places = np.arange(-1.0, 4.01, 0.05)
    steps = [
        own * (ndtr((distance - p + WIDTH) / BLUR) - ndtr((distance - p) / BLUR))
        + ndtr((distance - p) / BLUR)
        for p in places
    ]
    middle = np.array([step[:, 28] for step in steps])
    best = np.abs(middle - 0.5).argmin(axis=0)
    grey = np.array(steps)[best, np.arange(len(turn))]
    facing = by_facing(grey, np.broadcast_to(distance, grey.shape), normal, BLUR)
    return facing, turn, places[best]


def test_averaged_profiles_show_a_band_by_themselves():
    facing, turn, places = averaged(lambda turn: 0.2 + 0.7 * np.cos(turn))
    band = first_band(facing, (1.5, 8.4), None)
    assert band.width_px == pytest.approx(WIDTH, rel=0.2)  # widths are tried 24 % apart
    terms = np.stack([np.ones_like(facing.turn), np.cos(facing.turn), np.sin(facing.turn)], axis=1)
    (mean, lean, across), kept = smooth_light(band, terms)
    # Of a width a little off, light from beside the band is mixed in.
    assert (mean, lean, across) == pytest.approx((0.2, 0.7, 0.0), abs=0.04)
    expected = np.interp(facing.turn, turn, places)
    sure = kept.weight > 0
    assert sure.mean() > 0.6
    # A band a fifth too wide has its borders a tenth of its width off.
    assert kept.move[sure] == pytest.approx(expected[sure], abs=0.6)


def test_ways_of_facing_whose_light_strays_far_do_not_count():
    light = np.full(24, 0.4)
    light[3], light[9] = 0.4 + 1.5 * STRAY, 0.4 + 2.5 * STRAY
    ones, none = np.ones(24), np.zeros(24)
    band = FirstBand(
        width_px=WIDTH, sharper=1.0, light=light, move=none, weight=ones, misfit=0.0,
    )  # fmt: skip
    _, kept = smooth_light(band, ones[:, None])
    np.testing.assert_array_equal(np.flatnonzero(kept.weight == 0), [9])
