"""What is photographed to calibrate is measured, shown and judged; what cannot serve is told."""

import datetime
from functools import cache
from math import sqrt

import numpy as np
import pytest
from scipy.special import ndtr

from cogloupe.calibrating import CalibrationRequest, make_calibration, seen_in_words
from cogloupe.report.calibration_picture import target_picture
from cogloupe_calibration.calibration import Calibration, Picture, save_calibration
from cogloupe_calibration.circle import CircleScale
from cogloupe_calibration.errors import CogloupeError
from cogloupe_calibration.lens import unmeasured_lens

from .calibration.test_ruled import ruled_picture
from .helpers.grid_pictures import grid_picture
from .helpers.pictures import KNOWN, disc, read, rendered, write

TODAY = datetime.date(2026, 3, 1)


@cache
def ring(stretch=0.0, outer=190.0, inner=120.0, size=420):
    """Dark ring, wider than high by a share; its edges exact to a few thousandths of a pixel."""
    rows, columns = np.mgrid[0:size, 0:size].astype(float)
    dx, dy = (columns - 208.3) / (1 + stretch), rows - 206.8
    reach = np.hypot(dx, dy)
    dark = ndtr(outer - 1 / (2 * outer) - reach) - ndtr(inner - 1 / (2 * inner) - reach)
    grey = 200 - 160 * dark + np.random.default_rng(8).normal(0, 1.6, (size, size))
    return np.clip(np.rint(grey), 0, 255).astype(np.uint8)


def calibrated(tmp_path, image, **given):
    path = write(tmp_path / "target.png", image)
    return make_calibration(path, CalibrationRequest(**given), TODAY)


@pytest.mark.parametrize("stretch", [0.0, 0.006])
@pytest.mark.parametrize("kind", ["known_pin", "known_ring"])
def test_a_circle_gives_scale_and_ratio_of_the_scales(tmp_path, kind, stretch):
    across = 2 * (190.0 if kind == "known_pin" else 120.0)
    size = f"{0.01 * across:.3f}mm"
    made, shown = calibrated(tmp_path, ring(stretch), uncertainty="0.002mm", **{kind: size})
    assert isinstance(shown, CircleScale)
    assert made.method == kind
    # Pixels that are a share narrower in mm than they are high.
    assert abs(shown.ratio - 1 / (1 + stretch)) < 4 * shown.u_e
    assert abs(made.mm_per_px - 0.01 / sqrt(1 + stretch)) < 2 * made.u_mm_per_px
    e1 = made.lens.terms[4]
    assert e1 == (pytest.approx(-stretch / 2, abs=2 * shown.u_e) if stretch else 0.0)
    assert ("differ" in " ".join(made.reasons)) == (stretch > 0)


@pytest.mark.parametrize("outer", [230.0, 400.0], ids=["corners in sight", "nothing beyond"])
def test_a_ring_that_fills_the_frame_is_measured_by_its_hole(tmp_path, outer):
    made, shown = calibrated(tmp_path, ring(outer=outer, inner=170.0), known_ring="3.4mm")
    # The edges of the picture are exact to a few thousandths of a pixel.
    assert shown.radius_px == pytest.approx(170.0, abs=0.02)
    assert made.method == "known_ring"


def test_a_disc_is_no_ring(tmp_path):
    with pytest.raises(CogloupeError, match="no hole is seen in the round thing"):
        calibrated(tmp_path, disc(), known_ring="3mm")


@pytest.mark.parametrize(
    ("image", "given", "words"),
    [
        (ring, {"known_pin": "3.8mm"}, "scale in x over scale in y"),
        (lambda: ruled_picture(period=14.0), {"ruled_scale": "0.1mm"}, "mm from the first to"),
        (grid_picture, {"checkerboard": "0.24mm"}, "squares"),
    ],
)
def test_every_target_has_its_picture_and_says_what_was_seen(tmp_path, image, given, words):
    made, shown = calibrated(tmp_path, image(), **given)
    figure = target_picture(shown)
    written = " ".join(text.get_text() for text in figure.texts)
    assert f"verdict: {made.verdict}" in written
    assert "± " in written
    assert all(len(axes.get_lines()) + len(axes.collections) for axes in figure.axes)
    assert words in seen_in_words(shown)


def test_a_view_far_from_what_is_stated_is_refused_with_both_widths(tmp_path):
    # Blur has left only the fifths: taken for tenths of a millimetre, the view shrinks to a fifth.
    image = ruled_picture(period=14.0, short=0.0)
    true_mm = image.shape[1] * 0.1 / 14.0
    with pytest.raises(CogloupeError) as told:
        calibrated(tmp_path, image, ruled_scale="0.1mm", view_width=f"{true_mm:.2f}mm")
    assert f"{true_mm / 5:.3g} mm wide by this picture, stated {true_mm:.3g} mm" in str(told.value)
    made, _ = calibrated(tmp_path, image, ruled_scale="0.5mm", view_width="3mm")
    # Lines placed to some hundredths of a pixel over the width of the picture.
    assert made.mm_per_px == pytest.approx(0.1 / 14.0, rel=1e-3)


def test_lines_that_alternate_in_length_are_told(tmp_path):
    made, _ = calibrated(tmp_path, ruled_picture(period=14.0, short=0.0), ruled_scale="0.1mm")
    assert any("every second line is longer" in reason for reason in made.reasons)
    assert made.verdict != "good"
    plain, _ = calibrated(tmp_path, ruled_picture(period=14.0), ruled_scale="0.1mm")
    assert not any("every second" in reason for reason in plain.reasons)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"known_pin": "3mm", "uncertainty": "0.1in"}, "2.54 mm\\) against a known length of 3mm"),
        ({"checkerboard": "0.24mm", "uncertainty": "5mm"}, "5 mm\\) against .* of 0.24mm"),
        ({"known_pin": "3mm", "view_width": "3 furlong"}, "unit 'furlong'"),
        ({"known_pin": "3mm", "dots": "1in"}, "--known-pin and --dots both set the scale"),
    ],
)
def test_contradictory_units_are_told_with_both_numbers(tmp_path, given, words):
    with pytest.raises(CogloupeError, match=words):
        calibrated(tmp_path, disc(), **given)


def stored(tmp_path, **changes):
    """Calibration file of the wheel's picture, and what a person says beside it."""
    image = rendered().image
    height, width = image.shape
    picture = Picture(file="grid.png", sha256="0" * 64, width_px=width, height_px=height)
    given = {
        "mm_per_px": 0.04,
        "u_mm_per_px": 2e-5,
        "method": "grid",
        "date": datetime.date.today(),
        "picture": picture,
        "verdict": "good",
    }
    save_calibration(Calibration(**(given | changes)), tmp_path / "c.json")
    return {"teeth": 24, "module_mm": 1.0, "calibration": tmp_path / "c.json"}


def notices(settings):
    reading = read(rendered().image, **({"scale_um_per_px": None} | settings))
    return reading, {notice.code: notice.message for notice in reading.warnings}


def test_a_known_diameter_that_disagrees_is_told_beside_the_calibration(tmp_path):
    settings = stored(tmp_path)
    reading, told = notices(settings | {"known_tip_diameter": "26.6mm"})
    # 26 mm across 650 px are 40 um a pixel; taken for 26.6 mm, 40.92.
    assert "grid 40 ± 0" in told["scales_disagree"]
    assert "known tip diameter 40.9" in told["scales_disagree"]
    assert reading.calibration.mm_per_px == 0.04
    assert "scales_disagree" not in notices(settings | {"known_tip_diameter": "26mm"})[1]
    assert "scales_disagree" not in notices(settings)[1]


def test_a_known_bore_is_compared_with_a_stated_scale():
    _, told = notices(KNOWN | {"known_bore": "6.3mm"})
    assert "stated 40 ± 0" in told["scales_disagree"]
    assert "known bore 4" in told["scales_disagree"]


@pytest.mark.parametrize(
    ("region", "outside"),
    [((20.0, 20.0, 720.0, 720.0), False), ((20.0, 20.0, 600.0, 720.0), True), (None, False)],
)
def test_a_gear_outside_the_calibrated_part_of_the_frame_is_told(tmp_path, region, outside):
    _, told = notices(stored(tmp_path, valid_region_px=region))
    assert ("outside the part of the frame" in told.get("calibration", "")) == outside


@pytest.mark.parametrize("measured", [True, False])
def test_a_lens_that_was_only_allowed_for_is_told(tmp_path, measured):
    lens = unmeasured_lens(740, 740)
    if measured:
        small = np.array(lens.covariance) / 100
        lens = lens.model_copy(update={"covariance": tuple(tuple(row) for row in small.tolist())})
    _, told = notices(stored(tmp_path, lens=lens, method="known_pin"))
    assert ("lens_not_measured" in told) == (not measured)


def test_an_old_calibration_is_used_with_a_warning(tmp_path):
    old = datetime.date.today() - datetime.timedelta(days=800)
    _, told = notices(stored(tmp_path, date=old))
    assert "800 days old" in told["calibration"]


def test_several_pictures_of_a_grid_make_one_calibration(tmp_path):
    paths = [write(tmp_path / f"{k}.png", grid_picture(angle_deg=5.0 * k)) for k in range(3)]
    request = CalibrationRequest(checkerboard="0.24mm")
    made, shown = make_calibration(paths[0], request, TODAY, paths[1:])
    assert made.picture.file == "0.png"
    assert "points on 3 pictures" in seen_in_words(shown)
    assert "The scale is that of the first picture" in seen_in_words(shown)
    assert any("on 3 pictures" in text.get_text() for text in target_picture(shown).texts)


def test_only_grids_take_several_pictures_and_a_bad_one_is_named(tmp_path):
    paths = [write(tmp_path / "a.png", grid_picture()), write(tmp_path / "b.png", disc())]
    with pytest.raises(CogloupeError, match="--known-pin goes with one picture, 2 were given"):
        make_calibration(paths[0], CalibrationRequest(known_pin="3mm"), TODAY, paths[1:])
    small = write(tmp_path / "c.png", grid_picture(shape=(240, 320)))
    with pytest.raises(
        CogloupeError, match=r"c\.png: 320 x 240 px, the first picture has 480 x 360"
    ):
        make_calibration(paths[0], CalibrationRequest(checkerboard="1mm"), TODAY, [small])
