"""Checkerboards and dot grids: rendered exactly, measured, compared with the truth."""

import datetime
import re
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.special import ndtr

from cogloupe.simulation.lens import to_pixels
from cogloupe.simulation.scene import Camera
from cogloupe_calibration.calibration import Picture, load_calibration, save_calibration
from cogloupe_calibration.errors import CalibrationError
from cogloupe_calibration.grid import OtherPictureError, measure_grid
from cogloupe_calibration.lens import TERMS, ideal_points
from cogloupe_calibration.scale import disagreement, from_known_diameter
from cogloupe_calibration.summary import calibration_from

from ..helpers.grid_pictures import DOT_CORNERS, grid_picture, lens_for, seen_through
from ..helpers.tolerances import ROUNDING

KINDS = ("checkerboard", "dots")
SMALL = (240, 320)
CASES = 14


def random_case(kind, seed):
    rng = np.random.default_rng(seed)
    pitch = rng.uniform(11, 20)
    limits = {"k1": 0.02, "k2": 0.003, "p1": 1e-3, "p2": 1e-3, "e1": 1e-3, "e2": 1e-3}
    lens = lens_for(
        SMALL,
        g1=rng.uniform(-0.005, 0.005),
        g2=rng.uniform(-0.005, 0.005),
        **{name: rng.uniform(-limit, limit) for name, limit in limits.items()},
    )
    picture = grid_picture(
        rng,
        kind=kind,
        shape=SMALL,
        size=(int(260 / pitch) + rng.integers(0, 20), int(200 / pitch) + rng.integers(0, 15)),
        pitch=pitch,
        angle_deg=rng.uniform(-180, 180),
        offset=tuple(rng.uniform(-5, 5, 2)),
        seen=seen_through(lens),
        blur=rng.uniform(0.7, pitch / 7),
        noise=rng.uniform(0.005, 0.05),
        gradient=rng.uniform(-0.4, 0.4),
        gamma=rng.choice([1.0, 2.2]),
        dark=bool(rng.integers(2)),
    )
    return lens, pitch, measure_grid(picture, pitch / 1000, kind, u_pitch_rel=0.0)


@cache
def random_errors(kind):
    """Errors over standard uncertainty of the eight terms and the period, shape (cases, 9)."""
    rows = []
    for seed in range(CASES):
        lens, pitch, grid = random_case(kind, seed)
        u = np.sqrt(np.diag(grid.summary.lens.covariance))
        terms = (np.array(grid.summary.lens.terms) - np.array(lens.terms)) / u
        rows.append([*terms, (grid.fit.period_px - pitch) / grid.fit.u_period_px])
    return np.array(rows)


@pytest.mark.parametrize("kind", KINDS)
def test_lens_terms_and_scale_lie_within_their_uncertainty(kind):
    """Seeded cases of all kinds of light, blur, noise, turn and response; U is k = 2."""
    assert np.mean(np.abs(random_errors(kind)) < 2) >= 0.9


@pytest.mark.parametrize("kind", KINDS)
def test_uncertainty_is_not_too_large(kind):
    """A root mean square of 1 is right; 200 values or so know it to a tenth."""
    assert 0.8 < np.sqrt(np.mean(random_errors(kind) ** 2)) < 1.3


def beside_similarity(flat, seen):
    """RMS distance of the one from the other after the best scale, turn and shift."""
    a, b = (xy[:, 0] + 1j * xy[:, 1] for xy in (flat, seen))
    basis = np.stack([a, np.ones_like(a)], axis=1)
    return np.sqrt(np.mean(np.abs(b - basis @ np.linalg.lstsq(basis, b, rcond=None)[0]) ** 2))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("distortion", "tilt"), [(0.01, 0.0), (-0.01, 2.0), (0.02, 3.0)])
def test_distortion_left_over_the_frame_is_small(kind, distortion, tilt):
    """The simulation's own camera, another model than the one fitted: 0.03 px RMS is asked for."""
    camera = Camera(
        width_px=480, height_px=360, mm_per_px=0.01, distortion=distortion, tilt_deg=tilt,
        tilt_direction_deg=30.0, distance_mm=60.0,
    )  # fmt: skip
    middle = np.array([239.5, 179.5])

    def seen(ideal):
        return to_pixels((ideal - middle) * camera.mm_per_px, camera)

    picture = grid_picture(kind=kind, angle_deg=8.0, seen=seen, size=(30, 24))
    grid = measure_grid(picture, 0.24, kind)
    y, x = np.mgrid[-178:179:9j, -238:239:11j]
    flat = np.stack([x.ravel(), y.ravel()], axis=1) + middle
    assert beside_similarity(flat, ideal_points(grid.summary.lens, seen(flat))) < 0.03
    assert grid.points.uncorrected_rms_px > 10 * grid.fit.residual_rms_px


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("blur", [0.8, 3.0])
def test_points_lie_where_they_are_to_a_few_thousandths(kind, blur):
    """Whole levels of 200 leave 0.002 px, the blur's kernel of whole pixels up to 0.01 at 0.8."""
    grid = measure_grid(grid_picture(kind=kind, angle_deg=11.0, noise=0.0, blur=blur), 0.1, kind)
    assert grid.fit.residual_rms_px < 0.008


def test_centres_of_large_dots_are_not_drawn_off_by_the_lens():
    """Uncorrected, the ovals' centres lie off by up to k1 r R^2 (2 / 300^2) 300 = 0.02 px."""
    lens = lens_for((360, 480), k1=0.03, g1=0.01)
    picture = grid_picture(
        kind="dots", pitch=60.0, size=(9, 7), seen=seen_through(lens), noise=0.0, blur=1.5
    )
    grid = measure_grid(picture, 0.1, "dots", u_pitch_rel=0.0)
    # A twentieth of what the lens would draw them off.
    assert grid.fit.period_px == pytest.approx(60.0, abs=0.001)
    assert grid.summary.lens.terms[0] == pytest.approx(0.03, abs=6e-5)
    assert grid.summary.lens.terms[6] == pytest.approx(0.01, abs=2e-5)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "case",
    [
        {"gradient": 0.4, "noise": 0.05},
        {"blur": 3.0, "gradient": -0.4},
        {"blur": 0.7, "dark": False, "angle_deg": 45.0},
        {"angle_deg": 90.0, "gamma": 2.2},
        {"pitch": 70.0, "noise": 0.05, "size": (7, 6)},
        {"size": (60, 60), "pitch": 12.0, "angle_deg": -33.0},
    ],
)
def test_every_point_off_the_border_is_found_and_numbered_right(kind, case):
    pitch = case.get("pitch", 24.0)
    grid = measure_grid(grid_picture(kind=kind, **case), 0.1, kind)
    # One pitch is the density of points on the frame; those near the border may be lost.
    inner = (480 - 1.5 * pitch) * (360 - 1.5 * pitch) / pitch**2
    nx, ny = case.get("size", (24, 18))
    whole = (nx - 1) * (ny - 1) if kind == "checkerboard" else nx * ny
    assert len(grid.points.used) >= 0.9 * min(inner, whole)
    assert np.mean(grid.points.used) > 0.95
    # The hardest of these, noise of 5 % on some thirty points, leaves 5e-5 of it.
    assert grid.fit.period_px == pytest.approx(pitch, rel=2e-4)
    turned = (case.get("angle_deg", 0.0) - np.degrees(grid.fit.turn)) % 90
    assert min(turned, 90 - turned) < 0.05


@pytest.mark.parametrize("kind", KINDS)
def test_dirt_and_a_covered_part_do_no_harm(kind):
    picture = grid_picture(kind=kind, angle_deg=5.0, size=(30, 24))
    picture[100:140] = 40
    picture[200:330, 60:180] = 220
    picture[20:26, :] = 10
    grid = measure_grid(picture, 0.1, kind)
    # A dirty border moves a point in a hundred by a pixel at most.
    assert grid.fit.period_px == pytest.approx(24.0, abs=0.005)
    assert grid.fit.residual_rms_px < 0.05
    # The frame holds 20 by 15 pitches; the strip parts three rows from the others.
    assert grid.target.columns >= 18
    assert grid.target.rows >= 14


def test_numbers_run_with_the_picture_and_expect_the_places():
    grid = measure_grid(grid_picture(angle_deg=12.0, size=(12, 9)), 0.1)
    by_number = {tuple(ij): xy for ij, xy in zip(grid.points.index, grid.points.xy_px, strict=True)}
    assert (grid.target.columns, grid.target.rows) == (12, 9)
    step = np.array(by_number[10, 0]) - by_number[0, 0]
    a = np.radians(12.0)
    # Each place is told to 0.01 px.
    np.testing.assert_allclose(step, 240 * np.array([np.cos(a), np.sin(a)]), atol=0.02)


@pytest.mark.parametrize(
    ("size", "stated", "words"),
    [
        ((12, 9), (10, 7), "shows 12 x 9 {}, stated 10 x 7"),
        ((12, 9), (16, 12), "shows 12 x 9 {}, stated 16 x 12"),
        ((40, 30), (16, 12), "shows at least .* {}, stated 16 x 12"),
    ],
)
@pytest.mark.parametrize("kind", KINDS)
def test_another_size_than_stated_is_told_with_both(kind, size, stated, words):
    grid = measure_grid(grid_picture(kind=kind, size=size), 0.1, kind, stated)
    assert grid.summary.verdict == "take it again"
    what = "squares" if kind == "checkerboard" else "dots"
    assert_one_line_with(grid.summary.reasons, words.format(what))


def assert_one_line_with(reasons, words):
    assert any(re.search(words, reason) for reason in reasons), reasons
    assert not any("\n" in reason for reason in reasons)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("size", "stated"), [((12, 9), (12, 9)), ((12, 9), (9, 12)), ((40, 30), (40, 30))]
)
def test_size_as_stated_either_way_or_partly_seen_is_no_fault(kind, size, stated):
    grid = measure_grid(grid_picture(kind=kind, size=size), 0.1, kind, stated)
    assert "stated" not in " ".join(grid.summary.reasons)
    assert grid.summary.verdict != "take it again"


@pytest.mark.parametrize(
    ("case", "verdict", "words"),
    [
        ({"size": (8, 12), "offset": (-140, 0)}, "take it again", "one side: x 27 to .* of 480 px"),
        ({"size": (20, 5), "offset": (0, 120)}, "take it again", "one side: y .* of 360 px"),
        ({"size": (7, 6)}, "take it again", "30 points seen, 40 are needed"),
        ({"size": (9, 9)}, "usable", "64 points seen, 40 are needed and 80"),
        ({"size": (12, 9)}, "usable", "cover 5. % of the width and 4. % of the height"),
        ({"blur": 4.0}, "usable", r"blurred by [34]\.. px, 3.0 px is the most"),
        ({"blur": 6.0}, "take it again", r"blurred by [56]\.. px, 3.0 px is the most"),
    ],
)
def test_verdict_says_what_is_wrong_and_how_much(case, verdict, words):
    grid = measure_grid(grid_picture(**case), 0.1)
    assert grid.summary.verdict == verdict
    assert_one_line_with(grid.summary.reasons, words)


def test_grid_that_is_uneven_itself_is_told():
    """Dots that stand off by 4 % of a pitch: a bad print."""
    rng = np.random.default_rng(5)
    grid = measure_grid(grid_picture(kind="dots", seen=wander_by_dot(rng)), 0.1, "dots")
    assert grid.summary.verdict != "good"
    assert_one_line_with(grid.summary.reasons, r"off an even grid by .* px, .* % of a pitch")


def wander_by_dot(rng):
    def seen(ideal):
        dots = ideal.reshape(-1, DOT_CORNERS, 2)
        return (dots + rng.normal(0, 0.7, (len(dots), 1, 2))).reshape(-1, 2)

    return seen


def test_leaning_and_unequal_scales_are_told():
    lens = lens_for((360, 480), g1=0.01, e1=0.003)
    grid = measure_grid(grid_picture(seen=seen_through(lens)), 0.1)
    assert grid.summary.verdict == "usable"
    assert_one_line_with(grid.summary.reasons, r"leans: the scale changes by 3\.0 %")
    assert_one_line_with(grid.summary.reasons, r"two directions differ by 0\.6 %")


def test_good_picture_is_good():
    grid = measure_grid(grid_picture(angle_deg=3.0, size=(30, 24)), 0.1, size=(30, 24))
    assert (grid.summary.verdict, grid.summary.reasons) == ("good", ())


def test_known_diameter_that_disagrees_is_told_with_both_scales():
    grid = measure_grid(grid_picture(), 0.24)
    words = disagreement(grid.summary.scale, from_known_diameter(1000.0, 0.05, 10.3, 0.01))
    assert words is not None
    assert_one_line_with([words], "grid 10 ± .*, known tip diameter 10.3 ± ")


def random_grey(rng):
    return np.clip(rng.normal(120, 40, (240, 320)), 0, 255)


def ruled():
    x = np.arange(320) % 12
    return np.tile(220 - 180 * (ndtr((x - 4) / 0.8) - ndtr((x - 8) / 0.8)), (240, 1))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("picture", "words"),
    [
        (np.full((240, 320), 90), "0 .* seen, at least 16"),
        (random_grey(np.random.default_rng(2)), "at least 16"),
        (ruled(), "seen, at least 16"),
        (grid_picture(kind="dots", size=(4, 3), pitch=40.0), "at least 16"),
        (grid_picture(size=(4, 3), pitch=40.0), "at least 16"),
        (grid_picture(blur=9.0), "at least 16"),
    ],
)
def test_picture_without_a_grid_that_can_be_used_is_refused(kind, picture, words):
    with pytest.raises(CalibrationError, match=words) as caught:
        measure_grid(picture, 0.1, kind)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("blur", [0.08, 0.16])
@pytest.mark.parametrize(("kind", "shown"), [("checkerboard", "dots"), ("dots", "checkerboard")])
def test_one_kind_is_not_taken_for_the_other(kind, shown, blur):
    """Between dots lie saddles of a finer lattice, which would give a scale out by root two.

    Blur is a share of the pitch.
    """
    picture = grid_picture(kind=shown, blur=16 * blur, pitch=16.0, angle_deg=5.0)
    with pytest.raises(CalibrationError, match=r"at least 16 are needed|75 % is the least"):
        measure_grid(picture, 0.1, kind)


def test_dots_blurred_into_a_board_are_at_least_called_blurred():
    """Blurred to their first harmonics, dots are a checkerboard turned by 45 degrees."""
    grid = measure_grid(grid_picture(kind="dots", blur=7.2, noise=0.0, angle_deg=5.0), 0.1)
    # Of so blurred a picture: 0.02 px, twice what noise leaves of a clear one.
    assert grid.fit.period_px == pytest.approx(24 / np.sqrt(2), rel=0.002)
    assert grid.summary.verdict == "take it again"


def test_three_lines_are_too_few():
    with pytest.raises(CalibrationError, match="18 x 2 corners seen, at least 3 x 3"):
        measure_grid(grid_picture(size=(19, 3)), 0.1)


@pytest.mark.parametrize(
    ("stated", "words"),
    [
        ({"pitch_mm": 0.0}, "pitch is 0 mm"),
        ({"pitch_mm": float("nan")}, "pitch is nan mm"),
        ({"pitch_mm": 1.0, "u_pitch_rel": -0.1}, "is -0.1"),
        ({"pitch_mm": 1.0, "size": (12, 0)}, "stated size is 12 x 0: 3 x 3 is the least"),
    ],
)
def test_numbers_without_sense_are_refused(stated, words):
    with pytest.raises(CalibrationError, match=words):
        measure_grid(grid_picture(), **stated)


@pytest.mark.parametrize("shape", [(10, 10), (240, 320, 3)])
def test_picture_of_another_shape_is_refused(shape):
    with pytest.raises(CalibrationError, match="shape"):
        measure_grid(np.zeros(shape), 1.0)


DAY = datetime.date(2024, 5, 1)
PICTURE = Picture(file="grid.png", sha256="ab", width_px=480, height_px=360)


def test_calibration_carries_lens_region_and_verdict(tmp_path):
    lens = lens_for((360, 480), k1=-0.01, e1=0.001)
    grid = measure_grid(grid_picture(seen=seen_through(lens)), 0.24, u_pitch_rel=0.0005)
    made = calibration_from(grid.summary, PICTURE, DAY, note="zoom 2")
    save_calibration(made, tmp_path / "c.json")
    read = load_calibration(tmp_path / "c.json")
    assert read == made
    assert read.lens == grid.summary.lens
    assert read.valid_region_px == grid.summary.valid_region_px
    assert (read.method, read.verdict, read.reasons) == (
        "grid",
        grid.summary.verdict,
        grid.summary.reasons,
    )
    # Noise of one point, 0.02 px, over the root of 200, on 400 px.
    assert read.mm_per_px == pytest.approx(0.01, rel=3e-5)
    assert read.details["mm_per_px_x"] == pytest.approx(0.01001, rel=3e-5)


def test_doubt_about_the_target_is_in_scale_and_aspect():
    """Whatever the picture: u of the scale is the pitch's, of 2 e1 that of its two directions."""
    picture = grid_picture()
    sure, unsure = (measure_grid(picture, 0.24, u_pitch_rel=u) for u in (0.0, 0.001))
    # Beside the pitch's own 0.001 the picture's is a fiftieth.
    assert unsure.summary.scale.u_mm_per_px / unsure.summary.scale.mm_per_px == pytest.approx(
        0.001, rel=0.001
    )
    e1 = TERMS.index("e1")
    added = np.array(unsure.summary.lens.covariance) - np.array(sure.summary.lens.covariance)
    assert np.sqrt(added[e1, e1]) == pytest.approx(0.0005, rel=ROUNDING)
    assert added[0, 0] == 0.0


def test_same_picture_gives_the_same_figures():
    first, second = (measure_grid(grid_picture(), 0.24) for _ in range(2))
    assert first.summary.lens == second.summary.lens


LENS = {"k1": -0.03, "k2": 0.008, "p1": 4e-4}


def aslant(seed=None, **terms):
    """A small board anywhere in the frame, seen through one lens."""
    rng = np.random.default_rng(seed or 9)
    offset = (0.0, 0.0) if seed is None else tuple(rng.uniform(-70, 70, 2))
    seen = seen_through(lens_for((360, 480), **LENS, **terms))
    return grid_picture(
        rng, size=(11, 9), angle_deg=7.0 * (seed or 0), offset=offset, seen=seen, blur=2.0
    )


@cache
def one_and_four(one_plane):
    """The first picture alone, and with three more; in one plane or leaning anyhow."""
    first = {"g1": 0.004, "e1": 0.0005}
    leans = [first] * 3 if one_plane else [{"g1": 0.05}, {"g2": -0.06}, {"g1": -0.04, "g2": 0.03}]
    others = [aslant(seed, **lean) for seed, lean in enumerate(leans, 1)]
    alone = measure_grid(aslant(**first), 0.24, u_pitch_rel=0.0)
    return alone, measure_grid(aslant(**first), 0.24, u_pitch_rel=0.0, others=others)


@pytest.mark.parametrize("one_plane", [True, False])
def test_several_pictures_of_a_board_tell_the_lens_better_than_one(one_plane):
    alone, together = one_and_four(one_plane)
    true = np.array(lens_for((360, 480), g1=0.004, e1=0.0005, **LENS).terms)
    u_alone, u_together = (
        np.sqrt(np.diag(g.summary.lens.covariance)) for g in one_and_four(one_plane)
    )
    # k1 and k2 are told apart by how far out one sees, which four places in the frame double.
    assert np.all(u_together[:2] < 0.5 * u_alone[:2])
    assert np.all(np.abs(together.summary.lens.terms - true) < 3 * u_together)
    assert together.fit.one_plane == one_plane
    # The scale is the first picture's, however the others lie.
    assert abs(together.fit.period_px - 24.0) < 3 * together.fit.u_period_px
    assert together.summary.valid_region_px[2] > alone.summary.valid_region_px[2]
    assert together.summary.scale.details["pictures"] == 4


def test_a_further_picture_that_cannot_serve_is_named():
    board = grid_picture()
    with pytest.raises(OtherPictureError, match="0 corners seen") as told:
        measure_grid(board, 0.1, others=[board, np.full_like(board, 90)])
    assert told.value.picture == 2
    with pytest.raises(OtherPictureError, match="360 x 480 px, the first picture has 480 x 360"):
        measure_grid(board, 0.1, others=[board.T])


def wide_angle(half_deg):
    """Equidistant image, as lenses for very wide views have it: angle in proportion to radius."""
    middle, radius = np.array([239.5, 179.5]), np.hypot(239.5, 179.5)

    def seen(ideal):
        ray = (ideal - middle) / radius * np.tan(np.radians(half_deg)) / 2
        length = np.maximum(np.hypot(*ray.T), 1e-9)
        return middle + radius / np.radians(half_deg) * ray * (np.arctan(length) / length)[:, None]

    return seen


def test_the_edge_of_a_wide_angle_picture_is_kept_by_a_longer_lens():
    """45 degrees to the corner: terms up to r^5 leave several pixels there."""
    picture = grid_picture(size=(44, 34), pitch=20.0, seen=wide_angle(45.0), noise=0.01)
    grid = measure_grid(picture, 0.1)
    points = grid.points
    outer = np.any(np.abs(points.xy_px - [239.5, 179.5]) > [200, 145], axis=1)
    assert outer.sum() > 150
    assert np.mean(points.used[outer]) > 0.98
    assert len(grid.fit.terms) > len(TERMS)
    # The lens bends the edges of a square by more than that; the short model leaves pixels.
    assert grid.fit.residual_rms_px < 0.1


def test_a_plain_lens_gets_no_more_terms():
    assert all(len(random_case("dots", seed)[2].fit.terms) == len(TERMS) for seed in (3, 5))


@pytest.mark.parametrize("pitch", [6.5, 9.0])
def test_small_squares_are_found(pitch):
    picture = grid_picture(size=(22, 16), pitch=pitch, shape=SMALL, blur=0.7, angle_deg=4.0)
    grid = measure_grid(picture, 0.1)
    assert (grid.target.columns, grid.target.rows) == (22, 16)
    assert grid.fit.period_px == pytest.approx(pitch, abs=3 * grid.fit.u_period_px)


BOARDS = Path("/usr/share/doc/opencv-doc/examples/data")
"""Photographs by others, from Debian's package of that name."""
REAL = [*(f"left{n:02}.jpg" for n in (2, 4, 5, 9, 12)), "right02.jpg", "chessboard.png"]


@pytest.mark.skipif(not BOARDS.exists(), reason="opencv-doc is not installed")
@pytest.mark.parametrize("name", REAL)
@pytest.mark.parametrize("shrunk", [1, 3])
def test_every_corner_of_a_real_board_is_found(name, shrunk):
    """Boards held up in a room by hand; which corners there are is known from the board."""
    grey = cv2.imread(str(BOARDS / name), cv2.IMREAD_GRAYSCALE)
    shrunk *= 4 if grey.shape[0] > 1000 else 1
    small = cv2.resize(grey, None, fx=1 / shrunk, fy=1 / shrunk, interpolation=cv2.INTER_AREA)
    size = (8, 8) if name == "chessboard.png" else (10, 7)
    grid = measure_grid(small, 25.0, size=size)
    assert sorted((grid.target.columns, grid.target.rows)) == sorted(size)
    assert grid.points.used.sum() >= 0.9 * (size[0] - 1) * (size[1] - 1)
    assert not any("stated" in reason for reason in grid.summary.reasons)
