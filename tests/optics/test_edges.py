"""Edge points against outlines known to a few thousandths of a pixel."""

from math import pi, sqrt

import numpy as np
import pytest
from scipy.spatial import cKDTree

from cogloupe.finding.segmentation import Region, find_gears
from cogloupe.fits.bore import find_bore
from cogloupe.fits.disc import find_disc
from cogloupe.optics.edges import find_edges
from cogloupe.optics.sampling import EdgePoints
from cogloupe_calibration.errors import PhotoError

from ..helpers.pictures import CAMERA, as_jpeg, disc, rendered
from ..helpers.polygon_gauges import reference_facts

RADIUS, X, Y, BLUR = 150.0, 211.3, 198.6, 1.0
NOISE = 1.6 / 160  # of the step, see `disc`


def region_of(image, bright=False):
    level = np.full(image.shape, 120, np.float32)
    return Region(
        weights=None,
        threshold=level,
        bright=bright,
        x=X,
        y=Y,
        tip_radius=RADIUS,
        root_radius=RADIUS,
        teeth=0,
        share=1.0,
        cut_off=False,
    )


def outline(light=False, blur=BLUR):
    image = disc(RADIUS, X, Y, blur=blur, light=light)
    return find_edges(image, region_of(image, light))


def distance_off(points):
    """How far each point lies outside the true circle, px."""
    return np.hypot(*(points.straightened(1 / RADIUS) - [X, Y]).T) - RADIUS


@pytest.mark.parametrize("light", [False, True])
@pytest.mark.parametrize("blur", [0.7, 1.0, 2.0])
def test_points_lie_on_the_true_edge(light, blur):
    points = outline(light, blur).outer
    off = distance_off(points)
    # 850 samples of 0.02 to 0.03 px average to 0.001; the level of 8 bits is as coarse as that.
    assert off.mean() == pytest.approx(0, abs=0.004)
    assert points.blur == pytest.approx(blur, rel=0.08)


def test_points_scatter_as_stated_and_near_the_information_bound():
    points = outline().outer
    off = distance_off(points)
    bound = NOISE * np.sqrt(2 * sqrt(pi) * BLUR * np.abs(points.normal).max(axis=1))
    # 850 samples tell a standard deviation to 2.5 %; rounding to levels adds 1.6 %.
    assert (off / points.u).std() == pytest.approx(1, abs=0.1)
    assert (off / bound).std() < 1.15


def test_the_bound_is_that_of_the_reference():
    facts = reference_facts("edge_localisation")["profile_bound"]
    blur = sqrt(facts["blur"] ** 2 + 1 / 12)
    stated = facts["noise_share"] * sqrt(2 * sqrt(pi) * blur)
    # Printed to 4 places.
    assert stated == pytest.approx(facts["standard_deviation"], abs=5e-5)


def test_neighbouring_samples_err_independently():
    off = distance_off(outline().outer)
    lag1 = np.corrcoef(off[:-1], off[1:])[0, 1]
    assert abs(lag1) < 4 / sqrt(len(off))  # no pixel serves two samples


def test_each_row_or_column_gives_one_sample():
    points = outline().outer
    # A circle of radius R crosses 4 R sqrt(2) rows and columns, each where it runs across them.
    assert len(points) == pytest.approx(4 * sqrt(2) * RADIUS, rel=0.02)


@pytest.mark.parametrize("light", [False, True])
def test_normals_point_out_of_the_material_and_points_run_clockwise(light):
    points = outline(light).outer
    radial = (points.xy - [X, Y]) / RADIUS
    assert ((points.normal * radial).sum(axis=1) > 0.99).all()
    turn = np.unwrap(np.arctan2(radial[:, 1], radial[:, 0]))
    # From the middle of the first pixel to that of the last: a sample of 850.
    assert turn[-1] - turn[0] == pytest.approx(2 * pi, abs=0.01)


def test_the_picture_s_own_figures_are_told():
    found = outline()
    # Levels told to a fifth of one in 160.
    assert found.contrast == pytest.approx(160 / 255, rel=0.002)
    # The fit takes up some of each profile's noise, and whole levels add 1.6 %.
    assert found.noise == pytest.approx(NOISE, rel=0.1)
    # A blur is told to its noise, 2 % of one profile, over the root of 850.
    assert found.blur_px == pytest.approx(BLUR, rel=0.005)
    assert found.burnt == 0
    assert found.curve == 0  # `disc` stores light as it is
    # What is left by chance of so few profiles could be a later blur: that it was stored by the
    # curve before is then worth a seventh of the blur.
    assert found.u_level_px < 0.15 * found.blur_px
    assert found.outer.good.mean() > 0.99


@pytest.mark.parametrize("gamma", ["linear", "srgb"])
def test_the_camera_s_curve_is_told_from_the_edges(gamma):
    image = rendered(gamma=gamma).image
    found = find_edges(image, find_gears(image)[0])
    assert found.curve == (1 if gamma == "srgb" else 0)
    # Whichever it is, the bore's edge lies where it was drawn.
    bore = find_bore(found.holes, np.array([369.5, 369.5]), 260.0)
    assert bore.radius == pytest.approx(3 / CAMERA.mm_per_px, abs=0.02)


@pytest.mark.parametrize(("noise", "blur", "quality"), [(0.01, 1.0, 70), (0.005, 1.4, 60)])
def test_the_rounding_of_a_file_is_not_taken_for_another_curve(noise, blur, quality):
    picture = rendered(gamma="srgb", noise=noise, blur_px=blur).image
    pixels, _ = as_jpeg(picture, quality)
    assert find_edges(pixels, find_gears(pixels)[0]).curve == 1


@pytest.mark.parametrize("exponent", [1.4, 1.8, 2.2])
def test_cameras_of_another_curve_are_read(exponent):
    light = rendered(bits=16, ground_level=0.85, gear_level=0.1).image / 65535
    stored = np.rint(255 * light ** (1 / exponent)).astype(np.uint8)
    found = find_edges(stored, find_gears(stored)[0])
    bore = find_bore(found.holes, np.array([369.5, 369.5]), 260.0)
    # Taken for linear or sRGB, the edge is off by up to a quarter of a pixel.
    assert bore.radius == pytest.approx(3 / CAMERA.mm_per_px, abs=0.06)


def test_the_bore_is_found_with_its_centre():
    image = rendered(bore_x_px=370.3, bore_y_px=368.9).image
    found = find_edges(image, find_gears(image)[0])
    bore = find_bore(found.holes, np.array([370.0, 369.0]), 260.0)
    # 424 samples on 0.02 px: u(centre) = 0.0014.
    assert tuple(bore.centre) == pytest.approx((370.3, 368.9), abs=0.006)
    assert bore.u_centre == pytest.approx(0.0014, rel=0.5)
    assert bore.share > 0.97


def test_a_hole_off_the_middle_is_no_bore():
    image = rendered().image
    found = find_edges(image, find_gears(image)[0])
    assert find_bore(found.holes, np.array([500.0, 369.5]), 260.0) is None
    assert find_bore((), np.array([369.5, 369.5]), 260.0) is None


def test_a_turning_mark_is_no_bore():
    # A bright groove seen over a radian: its points lie on a circle about the middle.
    turn = np.linspace(-0.5, 0.5, 200)
    turn = np.concatenate([turn, turn[::-1]])
    radius = np.repeat([199.5, 200.5], 200)
    out = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    one = np.ones(400)
    mark = EdgePoints(xy=radius[:, None] * out, normal=out, u=0.02 * one, blur=one, good=one > 0)
    assert find_bore((mark,), np.zeros(2), 260.0) is None


def test_a_colour_picture_of_grey_reads_as_the_grey_one():
    image = rendered(gamma="srgb").image
    region = find_gears(np.dstack([image] * 3))[0]
    coloured = find_edges(np.dstack([image] * 3), region)
    grey = find_edges(image, find_gears(image)[0])
    apart = cKDTree(grey.outer.xy).query(coloured.outer.xy)[0]
    # The dividing level is not rounded for a mixture, so here and there another row is taken, and
    # levels a few thousandths of the step apart.
    assert np.median(apart) < 0.005
    assert np.mean(apart < 0.05) > 0.98


def test_straightening_moves_points_back_along_the_normal():
    s = 1.3
    points = EdgePoints(
        xy=np.array([[100.0, 0], [0, 100]]), normal=np.array([[1.0, 0], [0, 1]]), u=np.ones(2),
        blur=np.full(2, s), good=np.ones(2, bool),
    )  # fmt: skip
    # A blurred edge of radius R shrinks by s^2 / 2R (rows square to the edge meet no sagitta).
    moved = points.straightened(1 / 100)
    np.testing.assert_allclose(moved, [[100 + s**2 / 200, 0], [0, 100 + s**2 / 200]])
    np.testing.assert_allclose(points.straightened(0.0), points.xy)


def test_taking_points_takes_all_that_belongs_to_them():
    points = outline().outer
    taken = points.take(np.arange(3, 7))
    assert len(taken) == 4
    np.testing.assert_array_equal(taken.xy, points.xy[3:7])
    np.testing.assert_array_equal(taken.good, points.good[3:7])


# A disc of known size.


@pytest.mark.parametrize("light", [False, True])
@pytest.mark.parametrize("blur", [0.8, 2.5])
def test_a_disc_is_measured_whether_dark_or_light(light, blur):
    found = find_disc(disc(RADIUS, X, Y, blur=blur, light=light))
    # 850 samples of 0.02 to 0.05 px tell a centre to 0.002, three times over.
    assert tuple(found.circle.centre) == pytest.approx((X, Y), abs=0.006)
    # Whole levels: a third of one in 160 is 0.005 blurs, of 0.8 or 2.5 px.
    assert found.circle.radius == pytest.approx(RADIUS, abs=0.01)
    assert found.circle.u_radius < 0.003
    # As the blur of any outline.
    assert found.blur == pytest.approx(blur, rel=0.01)


def test_a_disc_in_colour_is_measured_by_its_brightness():
    found = find_disc(np.dstack([disc(RADIUS, X, Y)] * 3))
    # As in grey.
    assert found.circle.radius == pytest.approx(RADIUS, abs=0.01)


def test_of_a_ring_the_outside_is_measured():
    ring = np.where(
        np.hypot(*(np.indices((410, 420))[::-1] - np.array([X, Y])[:, None, None])) < 60,
        disc(60.0, X, Y, light=True), disc(RADIUS, X, Y),
    )  # fmt: skip
    assert find_disc(ring).circle.radius == pytest.approx(RADIUS, abs=0.02)


@pytest.mark.parametrize("sides", [4, 6, 8, 12])
def test_flats_are_no_disc(sides):
    with pytest.raises(PhotoError, match="no round pin or disc is seen"):
        find_disc(disc(sides=sides))


def test_a_gear_is_no_disc_but_its_bore_would_be():
    with pytest.raises(PhotoError, match="no round pin or disc is seen"):
        find_disc(np.where(disc(160.0, 369.5, 369.5, (740, 740)) < 120, 40, rendered().image))
