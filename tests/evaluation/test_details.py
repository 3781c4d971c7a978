"""Profiles, gap shapes and gauged sizes of readings, against the truth of rendered pictures."""

from functools import cache
from inspect import signature
from math import cos, pi, radians

import numpy as np
import pytest

from cogloupe.commands.inspect import inspect, watch
from cogloupe.commands.options import SETTINGS
from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.rack import Gear, over_pins_size, span_size
from cogloupe.simulation import Faults, GearSpec, render
from cogloupe_calibration.errors import CogloupeError

from ..helpers.pictures import CAMERA, flanks, read, rendered
from ..helpers.tolerances import ROUNDING

THINNING_UM = 60.0


@cache
def wheel(thinning_um=0.0, angle_error_deg=0.0, **settings):
    faults = Faults(
        pitch_scatter_um=8, thinning_um=thinning_um, pressure_angle_error_deg=angle_error_deg
    )
    made = rendered(faults=faults)
    return read(made.image, **settings), made.truth


@cache
def pinion(teeth, shift, depth_px, angle_deg=20.0):
    """Reading and truth of a wheel of module 1 with teeth so many px deep."""
    mm = 2.25 / depth_px
    side = int((teeth + 3 + 2 * shift) / mm * 1.08)
    spec = GearSpec(
        teeth=teeth, module_mm=1.0, bore_mm=teeth / 4, profile_shift=shift,
        pressure_angle_deg=angle_deg,
    )  # fmt: skip
    camera = CAMERA.model_copy(update={"mm_per_px": mm, "width_px": side, "height_px": side})
    made = render(spec, Faults(pitch_scatter_um=4), camera, np.random.default_rng(teeth))
    known = {"teeth": teeth, "scale_um_per_px": 1000 * mm, "pressure_angle_deg": angle_deg}
    return read(made.image, **known), made.truth


def inside(value, u, true):
    """True where a figure lies within its U of the truth."""
    return value is not None and abs(value - true) <= 2 * u


# --- profile

GEARS = [
    (8, 0.5, 60, 20.0), (8, 0.5, 40, 14.5), (12, 0.3, 40, 20.0), (17, 0.0, 30, 20.0),
    (40, 0.0, 24, 20.0), (40, 0.0, 20, 14.5), (120, 0.0, 16, 20.0),
]  # fmt: skip


@pytest.mark.parametrize(("teeth", "shift", "depth_px", "angle_deg"), GEARS)
def test_slopes_and_pressure_angle_lie_within_their_uncertainty(teeth, shift, depth_px, angle_deg):
    reading, truth = pinion(teeth, shift, depth_px, angle_deg)
    summary, px = reading.summary, 1000 * reading.calibration.mm_per_px
    angle, u = summary.pressure_angle_mean_deg, summary.u_pressure_angle_mean_deg
    assert inside(angle, u, truth.profile.pressure_angle_deg)
    slope, u = (flanks(reading, f"{p}profile_slope_um") for p in ("", "u_"))
    true = flanks(truth.about_teeth, "profile_slope_um")
    off = np.abs(slope - true)
    # 95 of 100 within U; the scale's part in U is far from used up here.
    assert np.nanmean(off <= 2 * u) > 0.95
    # Beyond the scale, which is exact here, a short flank tells its slope to some 0.05 px.
    assert np.sqrt(np.nanmean(off**2)) < 0.06 * px


def test_the_pressure_angle_is_found_to_a_tenth_of_a_degree():
    reading, truth = wheel(angle_error_deg=0.7)
    error = reading.summary.pressure_angle_mean_deg - truth.profile.pressure_angle_deg
    assert abs(error) < 0.1  # at 56 px of depth, the scale being right


def test_a_pressure_angle_that_is_too_small_leaves_material_at_the_tips():
    """ISO 1328-1: such a slope is positive."""
    for error, sign in ((-0.7, 1.0), (0.7, -1.0)):
        reading, truth = wheel(angle_error_deg=error)
        slope = reading.summary.profile_slope_mean_um
        assert sign * slope.left > 0
        assert sign * slope.right > 0
        scale = reading.profile.end_roll_mm - reading.profile.start_roll_mm
        scale /= truth.profile.roll_end_mm - truth.profile.roll_start_mm
        wanted = truth.profile.profile_slope_um * scale
        # The mean of 24 flanks at 40 um a pixel: 0.02 px.
        assert slope.left == pytest.approx(wanted, abs=0.8)


def test_the_evaluation_range_is_stated_and_lies_on_the_usable_flank():
    reading, _ = wheel()
    profile, gear = reading.profile, Gear(24, 1.0, basic_rack("iso53-a", 1.0))
    # Told from the thickness, the shift is out by a few um, and the form circle with it.
    assert profile.form_diameter_mm == pytest.approx(2 * gear.form_radius, abs=0.03)
    assert profile.form_diameter_mm < profile.start_diameter_mm < 23.0
    assert 25.0 < profile.end_diameter_mm < 26.0
    roll = np.sqrt((profile.start_diameter_mm / 2) ** 2 - (12 * cos(radians(20))) ** 2)
    assert profile.start_roll_mm == pytest.approx(roll, rel=ROUNDING)


def test_spread_and_mean_are_those_of_the_flanks():
    reading, _ = wheel()
    slope = flanks(reading, "profile_slope_um")
    mean, spread = reading.summary.profile_slope_mean_um, reading.summary.profile_slope_spread_um
    assert (mean.left, mean.right) == pytest.approx(tuple(slope.mean(axis=0)))
    assert (spread.left, spread.right) == pytest.approx(tuple(slope.std(axis=0, ddof=1)))


def test_ill_divided_pinions_do_not_lean_once_a_turn():
    """Places of few teeth tell the axis badly when they scatter; the slopes tell it."""
    reading, _ = pinion(8, 0.5, 60)
    slope = flanks(reading, "profile_slope_um") / 1000 / reading.calibration.mm_per_px
    # Pitch errors of 4 um are 0.1 px: as an axis they would lean flanks by some 0.1 px.
    assert np.abs(slope).max() < 0.06


# --- gap shape


def test_a_generated_gap_agrees_with_the_theory_within_uncertainty():
    reading, _ = wheel()
    mean, theory = reading.gap_mean, reading.gap_theory
    for name in (
        "tip_width_mm", "width_mm", "form_width_mm", "near_floor_width_mm", "floor_width_mm",
        "fillet_radius_mm", "depth_mm",
    ):  # fmt: skip
        assert inside(getattr(mean, name), getattr(mean, f"u_{name}"), getattr(theory, name)), name
    assert inside(mean.lean_deg, mean.u_lean_deg, 0.0)
    # Edges good to 0.01 px in the mean are 0.4 um of a thickness; a shift changes it by 2 m tan a.
    assert theory.profile_shift == pytest.approx(0.0, abs=0.001)
    # Figures stand in every gap as well.
    assert all(gap.near_floor_width_mm is not None for gap in reading.gaps)


def test_thin_teeth_widen_the_gap_at_every_height_alike():
    (plain, _), (thin, _) = wheel(), wheel(THINNING_UM)
    for name, diameter in (
        ("tip_width_mm", "tip_diameter_mm"), ("form_width_mm", "form_diameter_mm"),
        ("near_floor_width_mm", "near_floor_diameter_mm"),
    ):  # fmt: skip
        grown = getattr(thin.gap_mean, name) - getattr(plain.gap_mean, name)
        share = getattr(plain.gap_theory, diameter) / 24.0
        # Both flanks of a gap stand back by the same angle; the mean is good to 0.1 px.
        assert grown == pytest.approx(THINNING_UM / 1000 * share, abs=0.004), name


@pytest.mark.parametrize(
    ("teeth", "shift", "depth_px", "near"),
    [(12, 0.3, 40, 0.01), (17, 0.0, 30, 0.01), (40, 0.0, 24, 0.015), (40, 0.0, 40, 0.01)],
)
def test_the_floor_ratio_is_recovered_to_a_hundredth(teeth, shift, depth_px, near):
    reading, truth = pinion(teeth, shift, depth_px)
    found, true = reading.summary.floor_ratio_mean, truth.about_teeth.summary.floor_ratio_mean
    # Below 25 px of depth the blur is a third of the fillet, and U says so.
    assert found == pytest.approx(true, abs=near)
    assert inside(found, reading.summary.u_floor_ratio_mean, true)


def test_few_pixels_still_give_a_width_of_the_floor():
    reading, _ = pinion(40, 0.0, 24)
    seen = [gap.floor_width_mm is not None for gap in reading.gaps]
    assert np.mean(seen) > 0.8
    mean = reading.gap_mean
    assert inside(mean.floor_width_mm, mean.u_floor_width_mm, reading.gap_theory.floor_width_mm)


def test_a_mirrored_gap_leans_the_other_way():
    made = rendered(faults=Faults(flank_scatter_um=12, pitch_scatter_um=8))
    turned = read(made.image[:, ::-1])
    here = np.array([gap.lean_deg for gap in read(made.image).gaps])
    there = np.array([gap.lean_deg for gap in turned.gaps])
    # The gap after tooth k is, mirrored, the one after tooth z + 1 - k of those before it.
    shifts = [np.std(here + np.roll(there[::-1], k)) for k in range(24)]
    # The same pixels in another order: far below the lean's own noise.
    assert min(shifts) < 0.3 * np.std(here)


# --- sizes


def true_sizes(truth, teeth_spanned, pin):
    """Mean span and mean size over pins of the drawn gear."""
    gear = Gear(24, 1.0, basic_rack("iso53-a", 1.0))
    thick = np.mean([tooth.thickness_mm for tooth in truth.about_teeth.teeth])
    shift = (thick - pi / 2) / (2 * np.tan(radians(20)))
    found = Gear(24, 1.0, gear.rack, shift)
    return span_size(found, teeth_spanned), over_pins_size(found, pin)


@pytest.mark.parametrize("thinning_um", [0.0, THINNING_UM])
def test_gauged_sizes_are_those_of_the_gear(thinning_um):
    reading, truth = wheel(thinning_um)
    sizes = reading.sizes
    span = next(size for size in sizes.spans if size.teeth_spanned == 3)
    pins = sizes.over_pins
    true_span, true_pins = true_sizes(truth, 3, pins.pin_diameter_mm)
    assert inside(span.mean_mm, span.u_mean_mm, true_span)
    # 24 spans, edges good to 0.01 px in the mean: 0.4 um; pins answer to edges three times as much.
    assert span.mean_mm == pytest.approx(true_span, abs=0.0015)
    assert pins.mean_mm == pytest.approx(true_pins, abs=0.0015)
    # A difference of two spans, on which edges cancel: what noise leaves, 0.02 px over the root of
    # 24.
    assert sizes.base_pitch_left.mean_mm == pytest.approx(pi * cos(radians(20)), abs=0.0005)
    thick = [24 * np.sin(tooth.thickness_mm / 24) for tooth in truth.about_teeth.teeth]
    # The mean of 24 thicknesses, as of the spans.
    assert sizes.chord.mean_mm == pytest.approx(np.mean(thick), abs=0.0008)
    assert span.nominal_mm == pytest.approx(span_size(Gear(24, 1.0, basic_rack("iso53-a", 1)), 3))


def test_the_range_of_base_pitches_is_that_of_the_pitches():
    reading, truth = wheel()
    single = flanks(truth.about_teeth, "single_pitch_um")[:, 0] * cos(radians(20))
    found = reading.sizes.base_pitch_left
    assert inside(found.range_um, found.u_range_um, np.ptp(single))
    assert found.places == 24


def test_a_micrometer_reading_is_compared():
    true, _ = true_sizes(wheel(THINNING_UM)[1], 3, 1.728)
    for off_um, agrees in ((0, True), (-150, False)):
        reading, _ = wheel(THINNING_UM, span=f"{true + off_um / 1000:.4f}mm")
        (check,) = reading.sizes.checks
        assert (check.kind, check.teeth_spanned, check.agrees) == ("span", 3, agrees)
        # Edges to 0.02 px of a mean over all teeth.
        assert check.difference_um == pytest.approx(off_um, abs=1.5)
        assert ("size_differs" in {n.code for n in reading.warnings}) is not agrees


def test_a_span_over_the_wrong_teeth_is_told_as_such():
    true, _ = true_sizes(wheel()[1], 4, 1.728)
    (check,) = wheel(span=f"{true:.3f}mm/3")[0].sizes.checks
    assert (check.teeth_spanned, check.fits_teeth, check.agrees) == (3, 4, False)


@pytest.mark.parametrize(
    ("known", "module_mm"),
    [("span", 1.0), ("span", None), ("span of so many", None), ("over_pins", None)],
)
def test_a_micrometer_reading_sets_the_scale_where_nothing_else_does(known, module_mm):
    span, pins = true_sizes(wheel(THINNING_UM)[1], 3, 1.7)
    given = {
        "span": {"span": f"{span:.4f}mm"},
        "span of so many": {"span": f"{span:.4f}mm/3"},
        "over_pins": {"over_pins": f"{pins:.4f}mm", "pin_diameter": "1.7mm"},
    }[known]
    reading, _ = wheel(THINNING_UM, scale_um_per_px=None, module_mm=module_mm, **given)
    found = reading.calibration
    assert found.method == ("known_over_pins" if known == "over_pins" else "known_span")
    assert inside(found.mm_per_px, found.u_mm_per_px, 0.04)
    # The size is good to 0.02 px of 190 (650 over pins), and written to 0.05 um.
    assert found.mm_per_px == pytest.approx(0.04, rel=2e-4)
    (check,) = reading.sizes.checks
    assert check.agrees is None
    assert reading.gear.module_mm == pytest.approx(1.0)


@pytest.mark.parametrize("command", [inspect, watch])
def test_both_commands_take_what_the_settings_know(command):
    assert SETTINGS.keys() <= signature(command).parameters.keys()
    assert {"span", "over_pins", "tolerance_edition"} <= SETTINGS.keys()


def test_another_scale_comes_before_the_micrometer():
    reading, _ = wheel(span="7.7mm", known_tip_diameter="26mm", scale_um_per_px=None)
    assert reading.calibration.method == "known_tip_diameter"
    assert reading.sizes.checks[0].agrees is not None


def test_pins_of_unknown_size_cannot_set_the_scale():
    image = rendered().image
    with pytest.raises(CogloupeError, match="give --pin-diameter"):
        read(image, over_pins="26.4mm", module_mm=None, scale_um_per_px=None)


def test_a_pin_that_will_not_sit_gives_a_reason_and_no_size():
    sizes = wheel(pin_diameter="1.1mm")[0].sizes
    assert sizes.over_pins is None
    assert "will not serve" in sizes.pins_note


def test_the_older_edition_grades_where_it_is_asked_for():
    assert wheel()[0].tolerance.standard == "ISO 1328-1:2013"
    assert wheel(tolerance_edition="1995")[0].tolerance.standard == "ISO 1328-1:1995"


def test_cut_off_gears_give_sizes_of_what_is_seen():
    image = rendered().image[:420]
    reading = read(np.ascontiguousarray(image), partial=True)
    span = reading.sizes.spans[0]
    assert 2 <= span.places < 20
    stated = span_size(Gear(24, 1.0, basic_rack("iso53-a", 1.0)), span.teeth_spanned)
    assert inside(span.mean_mm, span.u_mean_mm, stated)
