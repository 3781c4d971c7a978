"""Finding the gear on a photograph: which thing, which colour, which level."""

import cv2
import numpy as np
import pytest
from scipy.spatial import cKDTree

from cogloupe.finding.colour import LUMA, mix_colours
from cogloupe.finding.gear_detection import LEAST_SHARE, tooth_rhythm
from cogloupe.finding.region import Region
from cogloupe.finding.segmentation import WHOLE_TURN, _seen_whole, find_gears
from cogloupe.numerics.angles import ring
from cogloupe.numerics.circles import Circle

from ..helpers.outlines import PX_PER_MM, traced
from ..helpers.pictures import disc, rendered

TRUE = (369.5, 369.5, 13 / 0.04)  # centre and tip radius of the wheel, px
# An outline of some thousand points, each told to a pixel, tells middle and size to half of one.
HALF_PX = 0.5


def place(region):
    return region.x, region.y, region.tip_radius


def test_the_wheel_is_found_with_its_size_and_count():
    region, *others = find_gears(rendered().image)
    assert others == []
    assert place(region) == pytest.approx(TRUE, abs=HALF_PX)
    # Floors are told to a pixel.
    assert region.root_radius == pytest.approx(10.75 / 0.04, abs=1)
    assert region.teeth == 24
    assert region.share > 0.95
    assert not region.bright
    assert not region.cut_off
    assert region.weights is None


def test_a_light_wheel_on_dark_ground_is_told_from_its_ground():
    region = find_gears(255 - rendered().image)[0]
    assert region.bright
    assert place(region) == pytest.approx(TRUE, abs=HALF_PX)


@pytest.mark.parametrize("direction", [0, 135])
def test_uneven_light_is_divided_by_a_level_that_follows_it(direction):
    image = rendered(illumination=0.5, illumination_direction_deg=float(direction)).image
    region = find_gears(image)[0]
    assert place(region) == pytest.approx(TRUE, abs=HALF_PX)
    assert np.ptp(region.threshold) > 20  # of 255: one level would not do


@pytest.mark.parametrize("factor", [1, 2])
def test_large_pictures_are_placed_in_their_own_pixels(factor):
    image = np.kron(rendered().image, np.ones((factor, factor), np.uint8))
    region = find_gears(image)[0]
    expected = [(v + 0.5) * factor - 0.5 for v in TRUE[:2]]
    assert place(region)[:2] == pytest.approx(tuple(expected), abs=3 * factor)
    assert region.tip_radius == pytest.approx(TRUE[2] * factor, abs=3 * factor)


def test_the_gear_is_picked_and_not_the_coin_beside_it():
    # The coin is half again as large as the wheel.
    coin = disc(330.0, 350.0, 360.0, (740, 740))
    wheel = cv2.resize(rendered().image, (450, 450), interpolation=cv2.INTER_AREA)
    ground = np.pad(wheel, ((200, 90), (0, 0)), constant_values=200)
    region = find_gears(np.hstack([coin, ground]))[0]
    assert region.teeth == 24
    assert (region.x, region.y) == pytest.approx((740 + 224.5, 200 + 224.5), abs=HALF_PX)


def test_dust_and_swarf_do_not_hide_the_wheel():
    image = rendered(dust=60, dust_mm=0.3).image
    region = find_gears(image)[0]
    # Dust on the tips moves what is told from a few of them by half a pixel.
    assert place(region) == pytest.approx(TRUE, abs=1)
    assert region.teeth == 24


def test_a_shadow_that_fills_the_gaps_half_is_not_taken_for_their_floors():
    image = rendered().image.astype(float)
    y, x = np.mgrid[: image.shape[0], : image.shape[1]]
    root, height = 10.75 / 0.04, 2.25 / 0.04
    up = (np.hypot(x - TRUE[0], y - TRUE[1]) - root) / height
    dark, light = image.min() + 10, image.max()
    shadow = dark + (light - dark) * np.clip((up - 0.5) / 0.2, 0, 1)
    region = find_gears(np.minimum(image, shadow).astype(np.uint8))[0]
    assert region.teeth == 24
    # Laid by theory; by grey levels the floors seemed to lie at 0.6 of the height, 34 px out.
    assert region.root_radius == pytest.approx(root, abs=0.1 * height)


def test_of_two_wheels_both_are_found_and_the_larger_comes_first():
    small = cv2.resize(rendered().image, (420, 420), interpolation=cv2.INTER_AREA)
    ground = np.pad(small, ((160, 160), (0, 0)), constant_values=200)
    regions = find_gears(np.hstack([ground, rendered().image]))
    assert [region.teeth for region in regions[:2]] == [24, 24]
    assert regions[0].tip_radius > regions[1].tip_radius


def test_a_wheel_over_the_border_is_said_to_be_cut_off():
    region = find_gears(rendered().image[:, :640])[0]
    assert region.cut_off
    assert region.teeth == 24


@pytest.mark.parametrize("gap", [2, 5])
def test_a_whole_wheel_near_the_border_is_not_called_cut_off(gap):
    tip = round(TRUE[0] - TRUE[2])
    region = find_gears(np.ascontiguousarray(rendered().image[:, tip - gap :]))[0]
    assert not region.cut_off
    assert region.teeth == 24


@pytest.mark.parametrize(("x", "cut_off"), [(28.0, True), (31.5, False)])
def test_what_only_comes_near_the_border_is_seen_whole_on_the_full_picture(x, cut_off):
    rows, columns = np.mgrid[:80, :80]
    picture = np.where(np.hypot(columns - x, rows - 40) < 30, 40, 200).astype(np.uint8)
    region = Region(
        weights=None, threshold=np.full((80, 80), 120, np.float32), bright=False, x=x, y=40.0,
        tip_radius=30.0, root_radius=30.0, teeth=0, share=1.0, cut_off=True,
        outline=ring((x, 40.0), 30.0),
    )  # fmt: skip
    assert _seen_whole(picture, region, 1.0).cut_off is cut_off


def test_the_outline_of_a_mask_runs_along_the_teeth():
    region = find_gears(rendered().image)[0]
    wheel = traced(24)
    true = (wheel.edges.xy - wheel.centre) / PX_PER_MM / 0.04 + TRUE[:2]
    apart = cKDTree(true).query(region.outline)[0]
    assert apart.max() < region.reach_px
    assert not region.by_theory
    (bore,) = region.holes
    # Each point of an outline is told to a pixel.
    assert np.hypot(*(bore - TRUE[:2]).T) == pytest.approx(3 / 0.04, abs=1)


NOTHING = {
    "even": lambda: np.full((400, 400), 130, np.uint8),
    "noise": lambda: np.random.default_rng(1).integers(0, 256, (400, 400), dtype=np.uint8),
    "disc": disc,
    "square": lambda: disc(sides=4),
    "hexagon": lambda: disc(sides=6),
    "twelve flats": lambda: disc(sides=12),
    "board": lambda: np.kron(np.indices((10, 10)).sum(0) % 2, np.ones((40, 40))).astype(np.uint8)
    * 160 + 40,
    "stripes": lambda: np.tile(np.where(np.arange(400) % 40 < 20, 40, 200), (400, 1)).astype(
        np.uint8
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", NOTHING)
def test_what_is_no_gear_is_not_taken_for_one(name):
    assert find_gears(NOTHING[name]()) == []


def test_a_gear_that_stands_out_by_colour_only_is_found():
    # Brass and ground of one brightness (0.299, 0.587, 0.114): only the mixture differs.
    share = (rendered().image.astype(float) - 40) / 160
    brass, ground = np.array([150.0, 110, 40]), np.array([80.0, 130, 121])
    assert brass @ LUMA == pytest.approx(ground @ LUMA, abs=1)
    colour = brass + share[..., None] * (ground - brass)
    colour += np.random.default_rng(8).normal(0, 3, colour.shape)
    image = np.clip(colour, 0, 255).round().astype(np.uint8)
    region = find_gears(image)[0]
    assert region.weights is not None
    assert not np.allclose(region.weights, LUMA)
    assert place(region) == pytest.approx(TRUE, abs=HALF_PX)


def test_a_gear_that_hardly_differs_in_brightness_is_measured_by_its_colour():
    # The wheel shows in brightness too, but by 2 levels of 255.
    share = (rendered().image.astype(float) - 40) / 160
    brass, ground = np.array([200.0, 150, 80]), np.array([160.0, 160, 151])
    assert (ground - brass) @ LUMA == pytest.approx(2, abs=1)
    colour = brass + share[..., None] * (ground - brass)
    colour += np.random.default_rng(2).normal(0, 0.5, share.shape)[..., None]
    region = find_gears(np.clip(colour, 0, 255).round().astype(np.uint8))[0]
    assert place(region) == pytest.approx(TRUE, abs=HALF_PX)
    assert not np.allclose(region.weights, LUMA)


def test_a_grey_picture_in_colour_is_measured_by_its_brightness():
    region = find_gears(np.dstack([rendered().image] * 3))[0]
    np.testing.assert_array_equal(region.weights, LUMA)


def test_sixteen_bits_are_divided_as_eight_are():
    deep = find_gears(rendered(bits=16).image)[0]
    assert place(deep) == pytest.approx(TRUE, abs=HALF_PX)


@pytest.mark.parametrize("weights", [LUMA, np.array([1.0, 0, 0]), np.array([1.0, -0.5, -0.5])])
def test_colours_are_mixed_by_their_weights(weights):
    pixels = np.random.default_rng(2).integers(0, 256, (5, 7, 3), dtype=np.uint8)
    mixed = mix_colours(pixels, weights)
    np.testing.assert_allclose(mixed, (pixels * weights).sum(axis=-1), atol=1e-3)  # float32
    assert mix_colours(pixels, None) is pixels


@pytest.mark.parametrize("teeth", [8, 24, 97])
def test_the_rhythm_of_an_outline_is_its_number_of_teeth(teeth):
    wheel = traced(teeth)
    circle = Circle(*wheel.centre, wheel.rough[1], 0.0, np.ones(1, bool))
    (count, steps), share, root = tooth_rhythm(wheel.edges.xy, circle)
    assert count == steps == teeth
    assert share > 0.97
    assert root == pytest.approx(wheel.rough[0], abs=0.1 * PX_PER_MM)


def test_the_rhythm_stands_against_a_hidden_quarter():
    wheel = traced(40)
    angle = np.arctan2(*(wheel.edges.xy - wheel.centre).T[::-1])
    circle = Circle(*wheel.centre, wheel.rough[1], 0.0, np.ones(1, bool))
    (count, _), share, _ = tooth_rhythm(wheel.edges.xy[np.abs(angle) > np.pi / 4], circle)
    assert count == 40
    assert share > 0.8


def test_an_arc_is_as_even_as_the_whole_wheel():
    wheel = traced(24)
    angle = np.arctan2(*(wheel.edges.xy - wheel.centre).T[::-1])
    circle = Circle(*wheel.centre, wheel.rough[1], 0.0, np.ones(1, bool))
    (count, _), share, _ = tooth_rhythm(wheel.edges.xy[np.abs(angle) < np.pi / 3], circle)
    assert count == 24
    # Eight pitches long, of which seven are whole: enough to be taken at once.
    assert share >= WHOLE_TURN


def test_a_round_outline_has_no_rhythm():
    turn = np.linspace(0, 2 * np.pi, 900, endpoint=False)
    xy = 140 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    _, share, root = tooth_rhythm(xy, Circle(0, 0, 140, 0.0, np.ones(1, bool)))
    assert share < LEAST_SHARE
    assert root == pytest.approx(140) or root == 0
