"""The command line as a person meets it: messages, exit status, files, help."""

import json
import os
import re
import signal
import subprocess
import sys
import time

import cv2
import numpy as np
import pytest
from scipy.special import ndtr

from cogloupe.reading.files import load_reading
from cogloupe_calibration.calibration import load_calibration

from ..helpers.pictures import disc, rendered, write

KNOWN = ("--teeth", "24", "--module", "1", "--scale", "40")
FILES = {
    "reading.json", "teeth.csv", "overlay.png", "chart.png", "outline.svg", "thumbnail.jpg",
    "report.html", ".cogloupe.json",
}  # fmt: skip
SIZE = (420, 410)


def soft(shape):
    grey = cv2.GaussianBlur(shape, (0, 0), 1.0).astype(float)
    grey += np.random.default_rng(2).normal(0, 1.5, grey.shape)
    return np.clip(np.rint(grey), 0, 255).astype(np.uint8)


def ruler():
    grey = np.full((SIZE[1], SIZE[0]), 220, np.uint8)
    grey[100:330, 20:400] = 150
    for k in range(36):
        grey[100 : 160 + 30 * (k % 5 == 0), 30 + 10 * k : 33 + 10 * k] = 40
    return soft(grey)


def comb():
    """Teeth in a straight row, as of a rack or a saw blade."""
    grey = np.full((SIZE[1], SIZE[0]), 210, np.uint8)
    grey[220:360, 20:400] = 40
    for k in range(19):
        grey[180:221, 20 + 20 * k : 30 + 20 * k] = 40
    return soft(grey)


def nut():
    grey = disc(sides=6).copy()
    rows, columns = np.mgrid[0 : grey.shape[0], 0 : grey.shape[1]]
    grey[np.hypot(columns - 211, rows - 199) < 70] = 200
    return soft(grey)


def noise():
    return np.random.default_rng(3).integers(0, 256, (SIZE[1], SIZE[0]), dtype=np.uint8)


def burnt():
    return np.clip(rendered().image.astype(int) * 7, 0, 255).astype(np.uint8)


NO_GEAR = r"no gear found: neither a level .* as teeth do; .* look at the focus$"
BAD_PICTURES = {
    "blank": (lambda: np.full((SIZE[1], SIZE[0]), 255, np.uint8), NO_GEAR),
    "black": (lambda: np.zeros((SIZE[1], SIZE[0]), np.uint8), NO_GEAR),
    "noise": (noise, NO_GEAR),
    "coin": (disc, NO_GEAR),
    "nut": (nut, NO_GEAR),
    "ruler": (ruler, NO_GEAR),
    "comb": (comb, NO_GEAR),
    "burnt": (burnt, NO_GEAR),
    "cut off": (lambda: rendered().image[:, :600], r"cut off by the edge of the picture: move bac"),
    "blurred": (lambda: rendered(blur_px=10.0).image, r"blurred beyond use \(.*\): focus again$"),
    "tiny": (
        lambda: rendered().image[::10, ::10],
        r"teeth are only .* px deep|no gear|blurred|stand",
    ),
}


@pytest.mark.parametrize("name", BAD_PICTURES)
def test_a_picture_that_cannot_serve_is_told_in_one_line(run, tmp_path, name):
    make, message = BAD_PICTURES[name]
    write(tmp_path / f"{name}.png", make())
    status, out, err = run("inspect", f"{name}.png", *KNOWN)
    assert status == 1
    assert out == ""
    assert len(err) == 1, err
    assert err[0].startswith(f"{name}.png: ")
    assert_matches(err[0], message)
    assert not list((tmp_path / "readings").rglob("reading.json"))


def assert_matches(text, pattern):
    assert re.search(pattern, text), f"{text!r} does not say {pattern!r}"


BAD_FILES = {
    "text.jpg": (b"meet me at noon", "text.jpg is not a picture: save it as JPEG, PNG or TIFF"),
    "empty.jpg": (b"", "empty.jpg is empty (0 bytes): copy it from the camera again"),
    "half.png": (None, "half.png is cut short or damaged: copy it again"),
}


@pytest.mark.parametrize("name", BAD_FILES)
def test_a_file_that_is_no_picture_is_told_in_one_line(run, tmp_path, wheel_png, name):
    data, message = BAD_FILES[name]
    (tmp_path / name).write_bytes(wheel_png[:20000] if data is None else data)
    assert run("inspect", name, *KNOWN) == (1, "", [message])


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("--teeth", "25", "--module", "1"), r"^a\.png: 24 teeth are seen, not 25: check --teeth$"),
        (
            ("--dp", "48", "--scale", "40"),
            r"^a\.png: the picture shows module (1|0\.999\d|1\.000\d*) mm \(25\.\d+ DP\), "
            r"not 0\.5292 mm \(48 DP\): check",
        ),
        (("--module", "1.04", "--scale", "40"), r"the picture shows module .* not 1\.04 mm"),
        (("--module", "1", "--known-bore", "0.3in"), r"the picture shows module 1\.27\d? mm"),
        (("--module", "1", "--calibration", "no.json"), r"calibration no\.json cannot be read"),
    ],
)
def test_settings_that_the_picture_contradicts_are_told(run, tmp_path, wheel_png, options, message):
    (tmp_path / "a.png").write_bytes(wheel_png)
    status, _, err = run("inspect", "a.png", *options)
    assert status == 1
    assert len(err) == 1
    assert_matches(err[0], message)


@pytest.mark.usefixtures("only_reading")
def test_a_module_within_three_percent_is_taken_as_stated(run, tmp_path, wheel_png):
    (tmp_path / "a.png").write_bytes(wheel_png)
    status, _, err = run("inspect", "a.png", "--module", "1.01", "--scale", "40")
    assert (status, err) == (0, [])
    assert load_reading(tmp_path / "readings/a/reading.json").gear.module_mm == 1.01


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("a.png", "--teeth", "-3"), "--teeth must be at least 5, not -3"),
        (("a.png", "--teeth", "0"), "--teeth must be at least 5, not 0"),
        (("a.png", "--module", "-1"), "--module must be at least 0.02, not -1.0"),
        (("a.png", "--module", "0"), "--module must be at least 0.02, not 0.0"),
        (("a.png", "--module", "nan"), "--module must be a number, as 0.5, not nan"),
        (("a.png", "--dp", "0"), "--dp must be at least 0.127, not 0.0"),
        (("a.png", "--scale", "-4"), "--scale must be at least 0.001, not -4.0"),
        (("a.png", "--pressure-angle", "0"), "--pressure-angle must be at least 10, not 0.0"),
        (("a.png", "--known-bore", "-4mm"), "--known-bore: length '-4mm' must be above zero"),
        (("a.png", "--known-bore", "0mm"), "--known-bore: length '0mm' must be above zero"),
        (("a.png", "--known-bore", "nanmm"), "--known-bore: 'nanmm' is not a length"),
        (("a.png", "--known-bore", "4"), "--known-bore: '4' has no unit: write 4mm, 4in or 4thou"),
        (("a.png", "--known-tip-diameter", "12ells"), "--known-tip-diameter: unit 'ells' in '12"),
        (("a.png", "--module", "1", "--dp", "24"), "--module and --dp say the same thing twice"),
        (
            ("a.png", "--known-tip-diameter", "9mm", "--known-bore", "4mm"),
            "--known-tip-diameter and --known-bore say the same",
        ),
        (("a.png", "--rack", "iso54"), "--rack: rack 'iso54' is not known: use one of iso53-a, "),
        (("a.png",), "nothing sets the size: give --module or --dp, or a scale (--scale, "),
        (("gone.png", *KNOWN), "gone.png is not there: check the name"),
        (("nothing", *KNOWN), "no photographs in nothing: looked for .jpg, .jpeg, .png"),
        (("a.png", "--out", "a.png", *KNOWN), "a.png cannot be written (File exists): choose"),
        (("a.png", "--out", "a.png/x", *KNOWN), "a.png/x cannot be written (Not a directory)"),
        (("a.png", "--teh", "24"), "No such option: --teh"),
        (("a.png", "--teeth", "many"), "Invalid value for '--teeth': "),
        (("a.png", "--datum", "hub"), "Invalid value for '--datum': 'hub' is not one of 'bore'"),
        (("a.png", "--teeth"), "Option '--teeth' requires an argument"),
        ((), "Missing argument 'PHOTO"),
    ],
)
def test_wrong_use_is_told_in_one_line_and_ends_with_two(
    run, tmp_path, wheel_png, arguments, message
):
    (tmp_path / "a.png").write_bytes(wheel_png)
    (tmp_path / "nothing").mkdir()
    status, out, err = run("inspect", *arguments)
    assert (status, out, len(err)) == (2, "", 1), err
    assert err[0].startswith(message)
    assert (tmp_path / "a.png").read_bytes() == wheel_png


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("teeth = 24\nmodul = 1", "gear.toml: modul is not known here: use teeth, module_mm"),
        ("teeth = = 24", "gear.toml, line 1: 'teeth = = 24' cannot be read"),
        ("module_mm = 1\ndp = 24", "gear.toml: module_mm and dp say the same thing twice"),
        ("module_mm = -1", "gear.toml: module_mm must be at least 0.02, not -1"),
    ],
)
def test_a_wrong_gear_toml_is_told_once_for_all_its_pictures(
    run, tmp_path, wheel_png, text, message
):
    for name in ("a.png", "b.png", "c.png"):
        (tmp_path / name).write_bytes(wheel_png)
    (tmp_path / "gear.toml").write_text(text)
    status, out, err = run("inspect", ".")
    assert (status, out, len(err)) == (2, "", 1), err
    assert err[0].startswith(message)


def test_a_bad_photograph_costs_no_other_and_nothing_written_before(run, tmp_path, wheel_png):
    earlier = tmp_path / "readings" / "old" / "reading.json"
    earlier.parent.mkdir(parents=True)
    earlier.write_text("{}")
    (tmp_path / "1 text.jpg").write_text("meet me at noon")
    (tmp_path / "2 räd [a].png").write_bytes(wheel_png)
    write(tmp_path / "3 coin.png", disc())
    (tmp_path / "4 empty.tiff").touch()
    status, out, err = run("inspect", ".", *KNOWN)
    assert status == 1
    assert [line.split(".")[0] for line in err] == ["1 text", "3 coin", "4 empty"]
    assert {p.name for p in (tmp_path / "readings" / "2 räd [a]").iterdir()} == FILES
    assert earlier.read_text() == "{}"
    assert "2 räd [a].png" in out
    assert "Reports are in readings" in out


@pytest.mark.usefixtures("only_reading")
def test_a_folder_with_a_wrong_file_does_not_cost_another_folder(run, tmp_path, wheel_png):
    for name in ("wrong", "right"):
        (tmp_path / name).mkdir()
        (tmp_path / name / f"{name}.png").write_bytes(wheel_png)
    (tmp_path / "wrong" / "gear.toml").write_text("teeth = = 24")
    (tmp_path / "right" / "gear.toml").write_text("module_mm = 1\nscale_um_per_px = 40")
    status, _, err = run("inspect", "wrong", "right")
    assert (status, len(err)) == (2, 1)
    assert (tmp_path / "readings" / "right" / "reading.json").exists()


@pytest.mark.usefixtures("only_reading")
def test_a_reading_says_what_was_given(run, tmp_path, wheel_png):
    (tmp_path / "a.png").write_bytes(wheel_png)
    status, out, err = run("inspect", "a.png", *KNOWN, "--out", "one/two", "--datum", "tips")
    assert (status, err) == (0, [])
    reading = load_reading(tmp_path / "one/two/a/reading.json")
    assert (reading.gear.teeth, reading.gear.module_mm, reading.gear.source) == (24, 1.0, "given")
    assert (reading.datum.kind, reading.calibration.method) == ("tips", "stated")
    assert "a.png" in out


@pytest.mark.usefixtures("only_reading")
def test_a_partly_hidden_gear_can_be_asked_for(run, tmp_path):
    write(tmp_path / "a.png", rendered().image[:, :560])
    status, _, err = run("inspect", "a.png", *KNOWN, "--partial")
    assert (status, err) == (0, [])
    reading = load_reading(tmp_path / "readings/a/reading.json")
    seen = [tooth.left.single_pitch_um is not None for tooth in reading.teeth]
    assert 12 <= sum(seen) < 24
    truth = rendered().truth.about_bore.teeth
    # A reference circle of 600 px, half of it seen: the axis is as sure as the flanks, so within
    # 0.05 px (2 um) every pitch that was read is right.
    errors = [
        tooth.left.single_pitch_um - true.left.single_pitch_um
        for tooth, true in zip(reading.teeth, truth, strict=True)
        if tooth.left.single_pitch_um is not None
    ]
    assert np.abs(errors).max() < 2


# Calibration.


def test_a_stated_scale_needs_no_picture(run, tmp_path):
    status, out, _ = run("calibrate", "--scale", "8.5", "--note", "2 x, stand at 120")
    assert status == 0
    assert "8.5" in out.splitlines()[0]
    made = load_calibration(tmp_path / "calibration.json")
    assert (made.mm_per_px, made.method, made.note) == (0.0085, "stated", "2 x, stand at 120")
    assert made.picture is None


@pytest.mark.parametrize("light", [False, True])
@pytest.mark.parametrize(("x", "y"), [(211.3, 198.6), (205.0, 200.0)])
def test_a_pin_of_known_size_sets_the_scale(run, tmp_path, light, x, y):
    write(tmp_path / "pin.png", disc(150.0, x, y, light=light))
    status, _, err = run(
        "calibrate", "pin.png", "--known-pin", "3mm", "--uncertainty", "0.0002mm"
    )  # fmt: skip
    assert (status, err) == (0, [])
    made = load_calibration(tmp_path / "calibration.json")
    assert made.method == "known_pin"
    # 940 samples on 0.02 px of noise average to a thousandth of a pixel; a bias of the edge of
    # 0.01 px would show as 7e-5.
    assert made.mm_per_px == pytest.approx(0.01, rel=7e-5)
    assert abs(made.mm_per_px - 0.01) < 2 * made.u_mm_per_px
    # The level at which the edge is called leaves 3 % of the step: 0.075 px on either side.
    assert 3e-4 < made.u_mm_per_px / made.mm_per_px < 2e-3


def test_a_calibration_to_be_taken_again_is_not_written(run, tmp_path):
    write(tmp_path / "pin.png", disc())
    # 3 mm known to 0.1 mm: the scale within 3 %, where half a percent is the most that serves.
    status, out, err = run("calibrate", "pin.png", "--known-pin", "3mm", "--uncertainty", "0.1mm")
    assert status == 1
    assert "Verdict: take it again" in out
    assert "was not written" in err[-1]
    assert not (tmp_path / "calibration.json").exists()


def test_without_uncertainty_a_pin_is_taken_as_gauged_with_a_caliper(run, tmp_path):
    write(tmp_path / "pin.png", disc())
    run("calibrate", "pin.png", "--known-pin", "3mm", "--out", "a.json")
    run("calibrate", "pin.png", "--known-pin", "3mm", "--uncertainty", "0.002mm", "--out", "b.json")
    caliper, micrometer = (load_calibration(tmp_path / f"{n}.json") for n in "ab")
    assert caliper.mm_per_px == micrometer.mm_per_px
    assert caliper.details["u_diameter_mm"] > 0.005
    assert micrometer.details["u_diameter_mm"] == pytest.approx(0.001)
    assert caliper.u_mm_per_px > 2 * micrometer.u_mm_per_px


@pytest.mark.parametrize(
    ("option", "length", "method", "relative"),
    [
        ("--known-tip-diameter", "26mm", "known_tip_diameter", 1e-4),
        ("--known-bore", "6mm", "known_bore", 4e-4),
    ],
)
def test_a_gear_of_known_size_sets_the_scale(
    run, tmp_path, wheel_png, option, length, method, relative
):
    (tmp_path / "a.png").write_bytes(wheel_png)
    status, _, err = run("calibrate", "a.png", option, length)
    assert (status, err) == (0, [])
    made = load_calibration(tmp_path / "calibration.json")
    assert made.method == method
    # The circles are found to 0.02 px of 650 and 150 px.
    assert made.mm_per_px == pytest.approx(0.04, rel=relative)
    assert (made.picture.width_px, made.picture.height_px) == (740, 740)


def test_a_ruled_scale_sets_the_scale(run, tmp_path):
    columns = np.arange(600.0)
    # Lines of 0.1 mm at 12.5 px, 3 px wide, blurred by 1.1 px: closed form.
    dark = sum(
        ndtr((columns - 12.5 * k + 1.5) / 1.1) - ndtr((columns - 12.5 * k - 1.5) / 1.1)
        for k in range(2, 46)
    )
    grey = np.tile(210 - 150 * dark, (300, 1))
    grey[:60], grey[240:] = 210, 210
    grey += np.random.default_rng(5).normal(0, 1.5, grey.shape)
    write(tmp_path / "rule.png", np.rint(grey).astype(np.uint8))
    status, _, err = run("calibrate", "rule.png", "--ruled-scale", "0.1mm", "--out", "rule.json")
    assert (status, err) == (0, [])
    made = load_calibration(tmp_path / "rule.json")
    assert made.method == "ruled_scale"
    # Forty-four lines along 540 px, each placed to some 0.02 px, tell their pitch to 2e-5.
    assert made.mm_per_px == pytest.approx(0.1 / 12.5, rel=1e-4)


@pytest.mark.parametrize(
    ("arguments", "status", "message"),
    [
        ((), 2, "nothing sets the scale: give one of --scale, --known-tip-diameter"),
        (("--scale", "0"), 2, "--scale must be at least 0.001, not 0.0"),
        (("--scale", "nan"), 2, "--scale must be a number, as 0.5, not nan"),
        (("--scale", "5", "--uncertainty", "1mm"), 2, "--uncertainty is that of a known length"),
        (("pin.png", "--scale", "5", "--known-pin", "3mm"), 2, "--scale and --known-pin both set"),
        (("--known-pin", "3mm"), 2, "--known-pin needs a picture: name one"),
        (("pin.png", "--known-pin", "3"), 2, "'3' has no unit: write 3mm, 3in or 3thou"),
        (("pin.png", "--known-pin", "-3mm"), 2, "length '-3mm' must be above zero"),
        (("pin.png", "--known-pin", "3mm", "--uncertainty", "0"), 2, "'0' has no unit"),
        (("gone.png", "--known-pin", "3mm"), 1, "gone.png cannot be opened: No such file"),
        (("text.png", "--known-pin", "3mm"), 1, "text.png is not a picture: save it as JPEG"),
        (("nut.png", "--known-pin", "3mm"), 1, "nut.png: no round pin or disc is seen: stand it"),
        (("blank.png", "--known-pin", "3mm"), 1, "blank.png: no round pin or disc is seen"),
        (("cut.png", "--known-pin", "3mm"), 1, "cut.png: no round pin or disc is seen"),
        (("two.png", "--known-pin", "3mm"), 1, "two.png: 2 round things are seen (240 and 150 px"),
        (("small.png", "--known-pin", "3mm"), 1, "small.png: the disc is only 30 px across"),
        (("soft.png", "--known-pin", "3mm"), 1, "soft.png: the edge of the disc is blurred beyon"),
        (("pin.png", "--known-bore", "3mm"), 1, "pin.png: no gear found: neither a level"),
        (("pin.png", "--ruled-scale", "1mm"), 1, "pin.png: "),
        (("pin.png", "--known-pin", "3mm", "--out", "no/c.json"), 1, "calibration cannot be writ"),
    ],
)
def test_what_cannot_set_a_scale_is_told_in_one_line(run, tmp_path, arguments, status, message):
    (tmp_path / "text.png").write_text("meet me at noon")
    # Only what the command names is made.
    makers = {
        "pin": disc,
        "nut": nut,
        "blank": lambda: np.full((300, 300), 90, np.uint8),
        "cut": lambda: disc()[:, :300],
        "two": lambda: np.hstack([disc(120.0), disc(75.0)]),
        "small": lambda: disc(15.0),
        "soft": lambda: disc(60.0, blur=9.0),
    }
    for name, make in makers.items():
        if f"{name}.png" in arguments:
            write(tmp_path / f"{name}.png", make())
    ended, _, err = run("calibrate", *arguments)
    assert (ended, len(err)) == (status, 1), err
    assert err[0].startswith(message)
    assert not (tmp_path / "calibration.json").exists()


@pytest.mark.usefixtures("only_reading")
def test_a_calibration_serves_pictures_of_its_own_frame_only(run, tmp_path, wheel_png):
    (tmp_path / "a.png").write_bytes(wheel_png)
    write(tmp_path / "b.png", rendered().image[10:])
    assert run("calibrate", "a.png", "--known-bore", "6mm", "--out", "set-up.json")[0] == 0
    options = ("--teeth", "24", "--module", "1", "--calibration", "set-up.json")
    status, _, err = run("inspect", "a.png", "b.png", *options)
    assert status == 1
    assert len(err) == 1
    assert err[0].startswith("b.png: aspect differs: calibration 740 x 740 px, picture 740 x 730")
    calibration = load_reading(tmp_path / "readings/a/reading.json").calibration
    assert (calibration.method, calibration.file) == ("known_bore", "set-up.json")
    assert calibration.mm_per_px == load_calibration(tmp_path / "set-up.json").mm_per_px


@pytest.mark.usefixtures("only_reading")
def test_a_calibration_to_be_taken_again_is_used_only_when_told_to(run, tmp_path, wheel_png):
    (tmp_path / "a.png").write_bytes(wheel_png)
    run("calibrate", "--scale", "40", "--out", "poor.json")
    poor = json.loads((tmp_path / "poor.json").read_text())
    poor |= {"verdict": "take it again", "reasons": ["7 lines seen"]}
    (tmp_path / "poor.json").write_text(json.dumps(poor))
    options = ("a.png", "--teeth", "24", "--module", "1", "--calibration", "poor.json")
    status, _, err = run("inspect", *options)
    assert status == 1
    assert err[0].startswith("a.png: poor.json says of itself: take it again; 7 lines seen")
    assert not (tmp_path / "readings/a/reading.json").exists()
    status, out, _ = run("inspect", *options, "--even-so")
    assert status == 0
    assert "the calibration's own verdict is 'take it again': 7 lines seen" in out


@pytest.mark.usefixtures("only_reading")
def test_a_calibration_of_another_camera_is_used_with_a_warning(run, tmp_path, wheel_png):
    (tmp_path / "a.png").write_bytes(wheel_png)
    run("calibrate", "a.png", "--known-bore", "6mm")
    content = json.loads((tmp_path / "calibration.json").read_text())
    content["date"] = "2001-01-01"
    (tmp_path / "calibration.json").write_text(json.dumps(content))
    status, out, err = run(
        "inspect", "a.png", "--teeth", "24", "--module", "1", "--calibration", "calibration.json"
    )  # fmt: skip
    assert (status, err) == (0, [])
    assert "days old" in out


@pytest.mark.parametrize("text", ["", "{}", "not json", '{"mm_per_px": -1}'])
def test_a_file_that_is_no_calibration_is_told(run, tmp_path, wheel_png, text):
    (tmp_path / "a.png").write_bytes(wheel_png)
    (tmp_path / "c.json").write_text(text)
    status, _, err = run("inspect", "a.png", "--module", "1", "--calibration", "c.json")
    assert (status, len(err)) == (1, 1), err
    assert "c.json is not a calibration file" in err[0]


# Simulation, watch, help.


@pytest.mark.usefixtures("only_reading")
def test_simulate_without_a_scene_draws_an_example_that_inspect_reads(run, tmp_path):
    status, out, err = run("simulate", "--out", "drawn")
    assert (status, err) == (0, [])
    assert out.split() == ["drawn/example.png"]
    truth = json.loads((tmp_path / "drawn/truth/example.json").read_text())
    scale = str(1000 * truth["picture"]["mm_per_px"])
    size = ("--teeth", str(truth["gear"]["teeth"]), "--dp", "48")
    assert run("inspect", "drawn/example.png", *size, "--scale", scale)[0] == 0
    summary = load_reading(tmp_path / "readings/example/reading.json").summary
    assert abs(summary.eccentricity_um - truth["about_bore"]["summary"]["eccentricity_um"]) <= (
        2 * summary.u_eccentricity_um
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (None, "scene.toml cannot be read as a scene: "),
        ("[gear]\nteeth = 24", "scene.toml: "),
        ("teeth = = 2", "scene.toml, line 1: "),
    ],
)
def test_a_wrong_scene_is_told_in_one_line(run, tmp_path, text, message):
    if text is not None:
        (tmp_path / "scene.toml").write_text(text)
    status, _, err = run("simulate", "scene.toml")
    assert (status, len(err)) == (2, 1), err
    assert err[0].startswith(message)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("a.png",), "a.png is not a folder: name the folder pictures are dropped into"),
        (("gone",), "gone is not a folder: name the folder pictures are dropped into"),
        ((".", "--module", "0"), "--module must be at least 0.02, not 0.0"),
        ((".", "--out", "a.png"), "a.png cannot be written (File exists): choose another"),
    ],
)
def test_a_watch_that_cannot_be_is_told_before_it_begins(
    run, tmp_path, wheel_png, arguments, message
):
    (tmp_path / "a.png").write_bytes(wheel_png)
    status, out, err = run("watch", *arguments)
    assert (status, out, len(err)) == (2, "", 1), err
    assert err[0].startswith(message)


@pytest.mark.parametrize("command", ["inspect", "watch", "calibrate", "simulate"])
def test_every_command_has_a_help_that_names_its_options(run, command):
    status, out, err = run(command, "--help")
    assert (status, err) == (0, [])
    assert out.startswith(f"Usage: cogloupe {command}")
    assert "--out" in out
    assert max(map(len, out.splitlines())) <= 100


def test_the_bare_command_lists_the_commands_each_in_a_line(run):
    status, out, err = run()
    assert (status, err) == (2, [])
    for command in ("inspect", "watch", "calibrate", "simulate"):
        line = next(line for line in out.splitlines() if line.strip().startswith(command))
        assert line.endswith(".")  # the sentence is not cut off


def test_an_unknown_command_is_told_in_one_line(run):
    assert run("measure") == (
        2, "", ["No such command 'measure'; 'cogloupe --help' tells what there is"],
    )  # fmt: skip


# A few for real, in a process of their own.


def in_process(folder, *arguments):
    return subprocess.run(
        [sys.executable, "-c", "from cogloupe.commands import main; main()", *arguments],
        cwd=folder, capture_output=True, text=True, check=False, timeout=60,
        env={**os.environ, "COLUMNS": "100"},
    )  # fmt: skip


def test_a_watch_reads_what_is_dropped_in_and_ends_quietly_when_interrupted(tmp_path, wheel_png):
    (tmp_path / "gear.toml").write_text("teeth = 24\nmodule_mm = 1\nscale_um_per_px = 40\n")
    started = subprocess.Popen(
        [sys.executable, "-c", "from cogloupe.commands import main; main()", "watch", "."],
        cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert "Watching ." in started.stdout.readline()
        (tmp_path / "text.jpg").write_text("meet me at noon")
        (tmp_path / "räd [a].png").write_bytes(wheel_png)
        until = time.monotonic() + 30
        wanted = ("räd [a]/reading.json", "text/not-read.txt")
        while not all((tmp_path / "readings" / name).exists() for name in wanted):
            assert time.monotonic() < until
            time.sleep(0.05)
        time.sleep(0.3)  # what was noted is then also told
        started.send_signal(signal.SIGINT)
        err = started.communicate(timeout=20)[1]
    finally:
        started.kill()
    assert started.returncode == 0
    assert err == "text.jpg is not a picture: save it as JPEG, PNG or TIFF\n"
    assert {path.name for path in (tmp_path / "readings/räd [a]").iterdir()} == FILES


def test_the_exit_status_reaches_the_shell(tmp_path, wheel_png):
    (tmp_path / "good one.png").write_bytes(wheel_png)
    (tmp_path / "half.png").write_bytes(wheel_png[:20000])
    some = in_process(tmp_path, "inspect", "half.png", "good one.png", *KNOWN)
    assert some.returncode == 1
    assert some.stderr == "half.png is cut short or damaged: copy it again\n"
    assert "good one.png" in some.stdout
    assert {path.name for path in (tmp_path / "readings" / "good one").iterdir()} == FILES
    wrong = in_process(tmp_path, "inspect", "half.png", "--module", "-1")
    assert (wrong.returncode, wrong.stdout) == (2, "")
    assert wrong.stderr == "--module must be at least 0.02, not -1.0\n"
