"""Pictures of clock wheels, pinions and straight-sided wheels, read from pixels to figures."""

from functools import cache

import numpy as np
import pytest

from cogloupe.fits.form_selection import mean_flank, misfit
from cogloupe.fits.measure import measure_gear
from cogloupe.inputs.settings import make_settings
from cogloupe.reading.files import load_reading, reading_json
from cogloupe.simulation import Camera, Faults, GearSpec, Scene, render
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.scale import from_stated_scale

from .helpers.pictures import flanks, read, rms

FAULTS = Faults(
    pitch_scatter_um=6, flank_scatter_um=3, eccentricity_um=9, eccentricity_direction_deg=130
)
WHEELS = {
    "wheel-30": (
        GearSpec(teeth=30, module_mm=1, form="cycloidal", generating_circle_mm=3, bore_mm=8),
        {"form": "cycloidal", "mate_teeth": 6}, 640,
    ),
    "wheel-64": (
        GearSpec(teeth=64, module_mm=0.5, form="cycloidal", generating_circle_mm=2.5, bore_mm=9),
        {"form": "cycloidal", "generating_circle": "2.5mm"}, 900,
    ),
    "pinion-8": (
        GearSpec(teeth=8, module_mm=0.8, form="cycloidal", addendum_radius_mm=0.42, bore_mm=1.6),
        {"form": "cycloidal", "addendum_radius": "0.42mm"}, 600,
    ),
    "pinion-12": (
        GearSpec(
            teeth=12, module_mm=1, form="cycloidal", addendum_radius_mm=0.8, tip_radius_mm=6.7,
            bore_mm=3,
        ),
        {"form": "cycloidal", "addendum_radius": "0.8mm"}, 600,
    ),
}  # fmt: skip
STRAIGHT = {
    "chain-18": (
        GearSpec(teeth=18, module_mm=1.2, form="straight", bore_mm=5), {"form": "straight"}, 700,
    ),
    "ratchet-24": (
        GearSpec(
            teeth=24, module_mm=1.2, form="straight", lean_deg=(50, -4), thickness_mm=1.9,
            root_radius_mm=13.6, tip_radius_mm=15, bore_mm=6,
        ),
        {"form": "straight"}, 700,
    ),
}  # fmt: skip
CASES = WHEELS | STRAIGHT


@cache
def pictured(spec, side, faults=FAULTS):
    """Picture of a wheel so many px across, its truth and mm per px."""
    px = 2 * spec.wheel().tip_radius / side
    # As in `pictures`: finer light and no curve, so that the picture's own errors stay small.
    camera = Camera(
        mm_per_px=px, width_px=side + 60, height_px=side + 60, rotation_deg=1.5, noise=0.01,
        oversample=2, gamma="linear",
    )  # fmt: skip
    made = render(spec, faults, camera, np.random.default_rng(5))
    return made.image, made.truth, px


def known_of(spec, px, stated):
    return {"teeth": spec.teeth, "module_mm": spec.module, "scale_um_per_px": 1000 * px} | stated


@cache
def reading_of(name):
    spec, stated, side = CASES[name]
    image, truth, px = pictured(spec, side)
    return read(image, **known_of(spec, px, stated)), truth.about_bore, px


def measured(spec, side, stated):
    image, _, px = pictured(spec, side)
    settings = make_settings(known_of(spec, px, stated))
    return measure_gear(image, settings, from_stated_scale(1000 * px))


def within(reading, truth, name):
    """True where a summary figure lies within its U of the truth."""
    value, u = getattr(reading.summary, name), getattr(reading.summary, f"u_{name}")
    return abs(value - getattr(truth.summary, name)) <= 2 * u


@pytest.mark.parametrize("name", CASES)
def test_single_pitch_is_found_flank_by_flank(name):
    reading, truth, px = reading_of(name)
    off = flanks(reading, "single_pitch_um") - flanks(truth, "single_pitch_um")
    # Every flank within its U; and noise of 1 % at 1 px of blur leaves a flank of 40 px or more
    # under 0.005 px, a pitch sqrt(2) of that, the steepest side of a ratchet 1 / cos 50 more.
    assert (np.abs(off) <= 2 * flanks(reading, "u_single_pitch_um")).all()
    assert rms(off) < 0.0125 * 1000 * px


@pytest.mark.parametrize("name", CASES)
def test_cumulative_pitch_is_within_its_uncertainty(name):
    reading, truth, _ = reading_of(name)
    off = flanks(reading, "cumulative_pitch_um") - flanks(truth, "cumulative_pitch_um")
    assert (np.abs(off) <= 2 * flanks(reading, "u_cumulative_pitch_um") + 1e-9).all()
    assert within(reading, truth, "cumulative_pitch_total_um")


@pytest.mark.parametrize("name", WHEELS)
@pytest.mark.parametrize(
    "figure",
    ["thickness_mean_mm", "gap_width_mean_mm", "tip_diameter_mean_mm", "root_diameter_mean_mm",
     "floor_ratio_mean", "runout_um", "eccentricity_um"],
)  # fmt: skip
def test_sizes_of_clock_teeth_are_within_their_uncertainty(name, figure):
    reading, truth, _ = reading_of(name)
    assert within(reading, truth, figure)


@pytest.mark.parametrize("name", WHEELS)
def test_thickness_of_every_clock_tooth_is_found(name):
    reading, truth, px = reading_of(name)
    off = [t.thickness_mm - u.thickness_mm for t, u in zip(reading.teeth, truth.teeth, strict=True)]
    # As for a pitch: two flanks of noise; what all share is the doubt about level and scale.
    assert np.std(off) < 0.0125 * px
    assert np.max(np.abs(off)) <= 2 * max(t.u_thickness_mm for t in reading.teeth)


@pytest.mark.parametrize("name", WHEELS)
def test_flanks_that_follow_the_stated_circles_show_no_profile_deviation(name):
    reading, _, px = reading_of(name)
    for side in ("left", "right"):
        slope = getattr(reading.summary.profile_slope_mean_um, side)
        assert abs(slope) <= 2 * getattr(reading.summary.u_profile_slope_mean_um, side)
        # Averaged over all teeth the noise is gone; what is left is the blur's rounding.
        assert abs(slope) < 0.02 * 1000 * px
        mean = [v for v in getattr(reading.profile, f"{side}_um") if v is not None]
        assert np.ptp(mean) < 0.08 * 1000 * px


def test_another_generating_circle_shows_as_the_difference_of_the_curves():
    spec, stated, side = WHEELS["wheel-30"]
    right, wrong = (measured(spec, side, stated | {"mate_teeth": n}) for n in (6, 9))
    mean = mean_flank(right.fits)
    # Both are compared with the same flanks: the misfit of the wrong circle is that of the curves.
    assert misfit(mean, right.fits.curve.form) < 0.02
    apart = misfit(mean, wrong.fits.curve.form)
    seen = misfit(mean_flank(wrong.fits), wrong.fits.curve.form)
    assert apart > 0.5
    # About the wrong curve some points count as dirt, and the mean is taken over other stretches.
    assert seen == pytest.approx(apart, rel=0.1)


@pytest.mark.parametrize("name", ["wheel-30", "pinion-12"])
def test_a_curve_that_is_not_stated_is_found_on_the_flanks(name):
    spec, _, side = WHEELS[name]
    image, _, px = pictured(spec, side)
    gear = read(image, **known_of(spec, px, {"form": "cycloidal"})).gear
    size = gear.generating_circle_mm if spec.generating_circle_mm else gear.addendum_radius_mm
    assert gear.addendum_source == "estimated"
    # The addendum, about a module, turns by half a radian; 0.01 px of 20 or more to tell it by.
    assert size == pytest.approx(spec.generating_circle_mm or spec.addendum_radius_mm, rel=0.01)


@pytest.mark.parametrize("name", CASES)
def test_what_the_form_does_not_have_is_left_empty(name, tmp_path):
    reading, _, _ = reading_of(name)
    form = CASES[name][1]["form"]
    gear, summary = reading.gear, reading.summary
    assert gear.form == form
    assert (gear.pressure_angle_deg, gear.profile_shift, gear.rack) == (None, None, None)
    assert summary.pressure_angle_mean_deg is None
    assert np.isnan(flanks(reading, "pressure_angle_deg")).all()
    assert reading.sizes is None
    assert reading.tolerance.pitch_class is None
    assert "no classes" in reading.tolerance.note
    assert f"{form}_teeth" in {w.code for w in reading.warnings}
    (tmp_path / "reading.json").write_text(reading_json(reading))
    assert load_reading(tmp_path / "reading.json") == reading


@pytest.mark.parametrize("name", STRAIGHT)
def test_straight_sided_teeth_are_read_for_their_pitch_alone(name):
    reading, _, _ = reading_of(name)
    summary = reading.summary
    for figure in ("thickness_mean_mm", "gap_width_mean_mm", "runout_um", "floor_ratio_mean"):
        assert getattr(summary, figure) is None
        assert getattr(summary, f"u_{figure}") is None
    assert {line.figure for line in reading.budget} == {
        "single_pitch_max_um", "cumulative_pitch_total_um"
    }  # fmt: skip
    assert np.isnan(flanks(reading, "profile_form_um")).all()
    assert np.isnan(flanks(reading, "profile_slope_um")).all()
    assert reading.profile is None
    assert all(gap.width_mm is None and gap.floor_width_mm is None for gap in reading.gaps)


def other_form(spec, side, stated):
    return "other_form" in {notice.code for notice in measured(spec, side, stated).notices}


@pytest.mark.parametrize(("name", "stated", "told"), [
    ("wheel-30", {}, True),
    ("wheel-30", {"form": "cycloidal", "mate_teeth": 12}, False),
    ("pinion-12", {}, True),
    ("pinion-12", {"form": "cycloidal"}, False),
])  # fmt: skip
def test_clock_teeth_are_told_from_involutes(name, stated, told):
    spec, _, side = WHEELS[name]
    assert other_form(spec, side, stated) is told


@pytest.mark.parametrize("teeth", [12, 24])
def test_involutes_are_told_from_clock_teeth(teeth):
    spec = GearSpec(teeth=teeth, module_mm=1, bore_mm=4)
    assert other_form(spec, 500, {"form": "cycloidal"})
    assert not other_form(spec, 500, {})


def test_a_wrong_pressure_angle_is_no_wrong_form():
    spec = GearSpec(teeth=20, module_mm=1, bore_mm=4)
    assert not other_form(spec, 500, {"pressure_angle_deg": 17.5})


def test_without_a_module_the_tips_tell_it_and_a_notice_says_so():
    spec, stated, side = WHEELS["wheel-30"]
    image, _, px = pictured(spec, side)
    known = known_of(spec, px, stated | {"addendum": (spec.wheel().tip_radius - 15.0)})
    reading = read(image, **(known | {"module_mm": None}))
    # Tips are told to 0.05 px of a radius of some 200, less what blur rounds off them.
    assert reading.gear.module_mm == pytest.approx(1.0, rel=0.001)
    assert "module_from_tips" in {w.code for w in reading.warnings}


def test_a_pin_on_the_floor_tells_no_runout_and_a_notice_says_why():
    spec = GearSpec(
        teeth=10, module_mm=1, form="cycloidal", addendum_radius_mm=0.525, bore_mm=2
    )  # fmt: skip
    image, _, px = pictured(spec, 400)
    known = known_of(spec, px, {"form": "cycloidal", "addendum_radius": "0.525mm"})
    reading = read(image, **known)
    assert reading.summary.runout_um is None
    assert "pin_on_floor" in {w.code for w in reading.warnings}
    thick = read(image, **(known | {"pin_diameter": "2.05mm"}))
    assert thick.summary.runout_um is not None


@pytest.mark.parametrize(("given", "message"), [
    ({"form": "cycloidal", "mate_teeth": 8, "generating_circle": "3mm"}, "same thing twice"),
    ({"mate_teeth": 8}, "for cycloidal teeth, but --form is involute"),
    ({"form": "straight", "addendum_radius": "1mm"}, "for cycloidal teeth"),
    ({"form": "cycloidal", "over_pins": "3mm"}, "for involute teeth, but --form is cycloidal"),
    ({"form": "round"}, "--form must be 'involute', 'cycloidal' or 'straight'"),
])  # fmt: skip
def test_statements_that_do_not_go_with_the_form_are_refused(given, message):
    with pytest.raises(UseError, match=message):
        make_settings(given)


@pytest.mark.parametrize(("gear", "faults", "message"), [
    ({"form": "cycloidal"}, {}, "generating_circle_mm or addendum_radius_mm"),
    ({"form": "straight"}, {"depth_um": 10}, "depth_um is for involute"),
])  # fmt: skip
def test_scenes_that_cannot_be_drawn_are_refused(gear, faults, message):
    with pytest.raises(ValueError, match=message):
        Scene(gear={"teeth": 20, "module_mm": 1, **gear}, faults=faults, camera={"mm_per_px": 0.02})
