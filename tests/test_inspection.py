"""End to end: from the pixels of rendered pictures to figures whose truth is known."""

from dataclasses import replace
from functools import cache
from math import cos, pi, radians, sqrt

import numpy as np
import pytest

from cogloupe.evaluation.pitch_and_runout import compute_pitch
from cogloupe.fits.datum import choose_datum
from cogloupe.fits.measure import measure_gear
from cogloupe.inputs.photo import Photo
from cogloupe.inputs.settings import make_settings
from cogloupe.inputs.stated_scale import camera_of
from cogloupe.inspection import inspect_photo
from cogloupe.simulation import Faults, GearSpec
from cogloupe.simulation.scene import Nick, Periodic
from cogloupe_calibration.errors import PhotoError, UseError
from cogloupe_calibration.scale import from_stated_scale

from .helpers.pictures import (
    CAMERA,
    KNOWN,
    flanks,
    pitch_bound_um,
    read,
    read_whole,
    rendered,
    rms,
    wheel_reading,
)
from .helpers.polygon_gauges import reference_facts
from .helpers.tolerances import ROUNDING

Z = 24
BOUND = pitch_bound_um()
# The bound takes grey levels, blur and flank shape as known. Fitting them, and the corners left
# out, cost up to twice; the render itself is good to 0.001 px (0.04 um).
TWICE = 2 * BOUND
# Largest of 48 normal errors: beyond 4 standard deviations once in 300 pictures.
LARGEST = 4 * TWICE
# The rise of a line over the whole flank carries sqrt(12) times the noise of its mean; twice that
# is allowed where the same pixels are read in another order.
SAME_SLOPE = 2 * sqrt(12) * BOUND / sqrt(2)


def single_errors(reading, truth):
    return flanks(reading, "single_pitch_um") - flanks(truth, "single_pitch_um")


FAULTY = {
    "none": Faults(),
    "scattered gaps": Faults(pitch_scatter_um=8),
    "scattered flanks": Faults(flank_scatter_um=12),
    "one step": Faults(step_um=60, step_tooth=9),
    "four a turn": Faults(periodic=(Periodic(per_turn=4, amplitude_um=30, phase_deg=20),)),
    "off centre": Faults(eccentricity_um=80, eccentricity_direction_deg=125),
    "thin": Faults(thinning_um=70),
    "deep": Faults(depth_um=80),
    "wide gaps": Faults(pass_scatter_um=15, passes=6),
    "wrong angle": Faults(pressure_angle_error_deg=0.7),
}


@cache
def faulty(name):
    """Reading of the wheel with a fault, and its truth about the bore."""
    made = rendered(faults=FAULTY[name])
    return read(made.image), made.truth.about_bore


@pytest.mark.parametrize("name", FAULTY)
def test_every_single_pitch_is_found_to_near_the_noise_bound(name):
    errors = single_errors(*faulty(name))
    assert rms(errors) < TWICE
    assert np.abs(errors).max() < LARGEST


@pytest.mark.parametrize("name", FAULTY)
def test_every_figure_lies_within_its_stated_uncertainty(name):
    reading, truth = faulty(name)
    for figure in ("single_pitch_um", "cumulative_pitch_um"):
        errors = flanks(reading, figure) - flanks(truth, figure)
        assert (np.abs(errors) <= 2 * flanks(reading, f"u_{figure}") + 1e-9).all()
    for tooth, true in zip(reading.teeth, truth.teeth, strict=True):
        assert abs(tooth.thickness_mm - true.thickness_mm) <= 2 * tooth.u_thickness_mm
        assert abs(tooth.tip_diameter_mm - true.tip_diameter_mm) <= 2 * tooth.u_tip_diameter_mm
    for gap, true in zip(reading.gaps, truth.gaps, strict=True):
        assert abs(gap.width_mm - true.width_mm) <= 2 * gap.u_width_mm
        assert abs(gap.root_diameter_mm - true.root_diameter_mm) <= 2 * gap.u_root_diameter_mm
    summary, true = reading.summary, truth.summary
    for figure in (
        "single_pitch_max_um", "cumulative_pitch_total_um", "runout_um", "eccentricity_um",
        "thickness_mean_mm", "gap_width_mean_mm", "tip_diameter_mean_mm", "root_diameter_mean_mm",
    ):  # fmt: skip
        error = getattr(summary, figure) - getattr(true, figure)
        assert abs(error) <= 2 * getattr(summary, f"u_{figure}"), figure


def test_the_wrong_tooth_and_flank_are_named():
    errors = [0.0] * Z
    errors[6] = 25.0  # right flank of tooth 7 lies late
    made = rendered(faults=Faults(right_um=tuple(errors)))
    single = flanks(read(made.image), "single_pitch_um")
    # Its own pitch is long by 25 um, the next one short by 25 um, all others even.
    expected = np.zeros((Z, 2))
    expected[6, 1], expected[7, 1] = 25, -25
    np.testing.assert_allclose(single, expected, atol=LARGEST)


def test_thickness_tips_and_roots_are_found():
    made = rendered()
    summary, true = wheel_reading().summary, made.truth.about_bore.summary
    # 48 edges share the noise, so what is left is common to all edges: a thousandth of the step
    # on 1 px of blur moves each by 0.0025 px, and 8 bits are as coarse as 0.6 % of the step.
    edge_mm = 0.01 * CAMERA.mm_per_px
    assert summary.thickness_mean_mm == pytest.approx(
        true.thickness_mean_mm, abs=2 * edge_mm / cos(radians(20))
    )
    assert summary.tip_diameter_mean_mm == pytest.approx(true.tip_diameter_mean_mm, abs=2 * edge_mm)


def test_the_root_diameter_is_found_as_well_as_the_tips():
    summary, true = wheel_reading().summary, rendered().truth.about_bore.summary
    assert summary.root_diameter_mean_mm == pytest.approx(
        true.root_diameter_mean_mm, abs=2 * 0.02 * CAMERA.mm_per_px
    )


@cache
def eccentric_wheel():
    """Reading of the reference's gear, and what the reference says of it."""
    facts = reference_facts("cutting_errors")["eccentricity"]
    spec = GearSpec(teeth=facts["teeth"], module_mm=facts["module_mm"], bore_mm=16.0)
    faults = Faults(
        eccentricity_um=facts["eccentricity_um"], eccentricity_direction_deg=40,
    )  # fmt: skip
    camera = {"mm_per_px": 0.064, "width_px": 860, "height_px": 860, "noise": 0.005}
    made = rendered(spec, faults, **camera)
    return read(made.image, module_mm=2.0, scale_um_per_px=64.0), facts


def test_an_eccentric_gear_shows_the_figures_of_the_reference():
    reading, facts = eccentric_wheel()
    camera = CAMERA.model_copy(update={"mm_per_px": 0.064, "noise": 0.005})
    noise = 2 * pitch_bound_um(camera, module_mm=2.0) / sqrt(2)  # of one flank's place
    summary = reading.summary
    # A range takes the extremes of 24 places, so it carries the noise of two flanks, and noise
    # widens it by up to about one more.
    assert summary.cumulative_pitch_total_um == pytest.approx(
        facts["cumulative_pitch_total_um"], abs=4 * noise
    )
    assert summary.single_pitch_max_um == pytest.approx(facts["single_pitch_max_um"], abs=4 * noise)
    thickness = 1000 * np.ptp([tooth.thickness_mm for tooth in reading.teeth])
    assert thickness == pytest.approx(facts["tooth_thickness_range_um"], abs=4 * noise)
    # The centre to 0.08 um of 20.
    assert summary.eccentricity_direction_deg == pytest.approx(40, abs=0.5)


def test_the_eccentricity_is_that_of_the_axis():
    reading, facts = eccentric_wheel()
    # 48 flanks share the noise; the bore's centre is as good.
    assert reading.summary.eccentricity_um == pytest.approx(facts["eccentricity_um"], abs=0.08)


def test_left_and_right_curves_of_an_eccentric_gear_are_out_of_phase():
    reading, facts = eccentric_wheel()
    cumulative = flanks(reading, "cumulative_pitch_um")
    turn = np.exp(-2j * pi / Z * np.arange(Z))
    left, right = np.angle(turn @ cumulative[:, 0]), np.angle(turn @ cumulative[:, 1])
    phase = np.degrees(np.angle(np.exp(1j * (left - right))))
    # Each side's first harmonic as well: 0.003.
    assert abs(phase) == pytest.approx(abs(facts["left_less_right_phase_deg"]), abs=0.2)


# The same scene seen otherwise.


@pytest.mark.parametrize("k", [1, 7, 23])
def test_turning_by_whole_pitches_renumbers_the_teeth(k):
    turned = rendered(rotation_deg=CAMERA.rotation_deg + k * 360 / Z)
    single = flanks(read(turned.image), "single_pitch_um")
    # What the scene calls tooth 1 stands k pitches on; both pictures have their own noise.
    np.testing.assert_allclose(
        np.roll(single, -k, axis=0),
        flanks(wheel_reading(), "single_pitch_um"),
        atol=sqrt(2) * LARGEST,
    )


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_a_quarter_turn_of_the_picture_moves_the_numbers_by_a_quarter_of_the_teeth(quarters):
    # np.rot90 turns against the clock: tooth 1 of the turned picture stood a quarter further on.
    turned = read(np.rot90(rendered().image, quarters))
    shift = quarters * Z // 4
    # The same pixels, but rows and columns change places.
    for figure, close in (("single_pitch_um", BOUND), ("profile_slope_um", SAME_SLOPE)):
        np.testing.assert_allclose(
            np.roll(flanks(turned, figure), shift, axis=0),
            flanks(wheel_reading(), figure),
            atol=close,
        )


def test_a_mirrored_picture_swaps_the_flanks_and_runs_backwards():
    # Angle a becomes 180 - a, so tooth j of the mirror was tooth z + 1 - j, its left flank the
    # right one; tooth 1 stands 5 degrees past twelve, so no tooth changes place at the seam.
    plain, mirrored = wheel_reading(), read(rendered().image[:, ::-1])
    close = {"atol": BOUND}  # the same pixels, walked the other way round
    # A long pitch stays long, but reaches back to what was the tooth after: j pairs with z + 2 - j.
    single = flanks(plain, "single_pitch_um")
    back = np.roll(single[::-1, ::-1], 1, axis=0)
    np.testing.assert_allclose(flanks(mirrored, "single_pitch_um"), back, **close)
    # Summed from the other end: F'(j) = F(z) - F(z + 1 - j), the sign turned.
    cumulative = flanks(plain, "cumulative_pitch_um")
    np.testing.assert_allclose(
        flanks(mirrored, "cumulative_pitch_um"),
        (cumulative[-1] - cumulative[::-1])[:, ::-1],
        atol=2 * BOUND,
    )
    # What a flank is in itself goes with it: position, slope, thickness.
    position = 180 - flanks(plain, "position_deg")[::-1, ::-1]
    off = (flanks(mirrored, "position_deg") - position + 180) % 360 - 180
    np.testing.assert_allclose(off, 0, atol=np.degrees(BOUND / 12_000))
    np.testing.assert_allclose(
        flanks(mirrored, "profile_slope_um"),
        flanks(plain, "profile_slope_um")[::-1, ::-1],
        atol=SAME_SLOPE,
    )
    thickness = [tooth.thickness_mm for tooth in plain.teeth]
    np.testing.assert_allclose(
        [tooth.thickness_mm for tooth in mirrored.teeth], thickness[::-1], atol=BOUND / 1000
    )
    # Gap k lies between teeth k and k + 1, which become z + 1 - k and z - k: gap z - k.
    widths = np.array([gap.width_mm for gap in plain.gaps])
    np.testing.assert_allclose(
        [gap.width_mm for gap in mirrored.gaps], np.roll(widths[::-1], -1), atol=BOUND / 1000
    )


def test_a_mirrored_eccentricity_points_the_other_way():
    made = rendered(faults=FAULTY["off centre"])
    plain, mirrored = faulty("off centre")[0].summary, read(made.image[:, ::-1]).summary
    # Noise of the same picture, which cancels but for what lies between pixels.
    assert mirrored.eccentricity_um == pytest.approx(plain.eccentricity_um, abs=0.05)
    assert mirrored.eccentricity_direction_deg == pytest.approx(
        180 - plain.eccentricity_direction_deg, abs=0.05
    )


@pytest.mark.parametrize("mm_per_px", [0.036, 0.05])
def test_micrometres_do_not_depend_on_the_magnification(mm_per_px):
    seen = rendered(mm_per_px=mm_per_px)
    reading = read(seen.image, scale_um_per_px=1000 * mm_per_px)
    bound = pitch_bound_um(CAMERA.model_copy(update={"mm_per_px": mm_per_px}))
    np.testing.assert_allclose(
        flanks(reading, "single_pitch_um"),
        flanks(wheel_reading(), "single_pitch_um"),
        atol=8 * np.hypot(bound, BOUND),
    )
    assert reading.summary.thickness_mean_mm == pytest.approx(
        wheel_reading().summary.thickness_mean_mm, abs=0.02 * (mm_per_px + 0.04)
    )


def test_the_stated_scale_only_stretches_lengths():
    stretched = read(rendered().image, module_mm=1.02, scale_um_per_px=40.8)
    ratio = flanks(stretched, "single_pitch_um") / flanks(wheel_reading(), "single_pitch_um")
    # All else in px is the same; the fit ends where its steps are below 1e-6.
    np.testing.assert_allclose(ratio, 1.02, rtol=1e-3)
    np.testing.assert_allclose(
        flanks(stretched, "position_deg"), flanks(wheel_reading(), "position_deg"), atol=1e-4
    )


def test_a_light_gear_on_dark_ground_reads_as_a_dark_one_on_light():
    inverted = read(255 - rendered().image)
    np.testing.assert_allclose(
        flanks(inverted, "single_pitch_um"), flanks(wheel_reading(), "single_pitch_um"), atol=BOUND
    )
    assert inverted.summary.thickness_mean_mm == pytest.approx(
        wheel_reading().summary.thickness_mean_mm, abs=2 * 0.01 * CAMERA.mm_per_px
    )


def test_moving_the_gear_in_the_frame_moves_only_the_datum():
    image = rendered().image
    moved = read(np.roll(image, (9, -14), axis=(0, 1)))
    plain = wheel_reading()
    # The same pixels elsewhere: what solving leaves.
    assert moved.datum.x_px == pytest.approx(plain.datum.x_px - 14, abs=1e-6)
    assert moved.datum.y_px == pytest.approx(plain.datum.y_px + 9, abs=1e-6)
    np.testing.assert_allclose(
        flanks(moved, "single_pitch_um"), flanks(plain, "single_pitch_um"), atol=BOUND / 2
    )


@pytest.mark.parametrize(("x", "y"), [(369.8, 370.1), (369.25, 368.6)])
def test_the_place_within_a_pixel_does_not_matter(x, y):
    made = rendered(bore_x_px=x, bore_y_px=y)
    reading = read(made.image)
    assert rms(single_errors(reading, made.truth.about_bore)) < TWICE
    # Noise of the bore's edge, 470 samples on 0.02 px, is 0.0013 px.
    assert reading.datum.x_px == pytest.approx(x, abs=0.008)
    assert reading.datum.y_px == pytest.approx(y, abs=0.008)


def test_sixteen_bits_read_as_eight_do():
    deep = rendered(bits=16)
    assert deep.image.dtype == np.uint16
    assert rms(single_errors(read(deep.image), deep.truth.about_bore)) < TWICE


@pytest.mark.parametrize("look", ["light-on-dark", "front-lit"])
def test_other_looks_read_as_well(look):
    made = rendered(look=look, gamma="srgb")
    # Stored by the curve the noise is not the same in light and dark: allow the worse side.
    assert rms(single_errors(read(made.image), made.truth.about_bore)) < 2 * TWICE


@pytest.mark.parametrize("gradient", [0.15, 0.3])
def test_uneven_light_moves_no_tooth(gradient):
    made = rendered(illumination=gradient)
    assert rms(single_errors(read(made.image), made.truth.about_bore)) < TWICE


@pytest.mark.parametrize(("teeth", "module_mm"), [(8, 2.0), (12, 1.5), (41, 0.6), (96, 0.27)])
def test_teeth_are_counted_whatever_their_number(teeth, module_mm):
    made = rendered(GearSpec(teeth=teeth, module_mm=module_mm, bore_mm=5.0), Faults())
    reading = read(made.image, teeth=None, module_mm=module_mm)
    assert reading.gear.teeth == teeth
    assert [tooth.number for tooth in reading.teeth] == list(range(1, teeth + 1))
    # The first at or after twelve o'clock.
    first = reading.teeth[0].centre_deg
    assert first == pytest.approx(5.0 % (360 / teeth) - 90, abs=0.05)


def test_without_bore_the_teeth_are_the_datum_and_no_eccentricity_is_told():
    made = rendered(GearSpec(teeth=24, module_mm=1.0), Faults(eccentricity_um=60))
    reading = read(made.image)
    assert reading.datum.kind == "teeth"
    assert reading.datum.bore_xy_px is None
    assert reading.summary.eccentricity_um is None
    assert reading.summary.eccentricity_direction_deg is None
    assert "no_bore" in {notice.code for notice in reading.warnings}
    assert rms(single_errors(reading, made.truth.about_teeth)) < TWICE


def test_the_datum_that_was_asked_for_is_used():
    made = rendered(faults=FAULTY["off centre"])
    about_teeth = read(made.image, datum="teeth")
    assert about_teeth.datum.kind == "teeth"
    assert rms(single_errors(about_teeth, made.truth.about_teeth)) < TWICE
    tips = read(made.image, datum="tips").datum
    # The blank was turned about the bore.
    assert (tips.x_px, tips.y_px) == pytest.approx(made.truth.picture.bore_xy_px, abs=0.05)


def test_a_datum_that_is_not_seen_is_refused():
    made = rendered(GearSpec(teeth=24, module_mm=1.0), Faults())
    with pytest.raises(PhotoError, match="no round bore is seen, so it cannot be the datum"):
        read(made.image, datum="bore")


def test_a_keyway_leaves_the_bore_round():
    made = rendered(GearSpec(teeth=24, module_mm=1.0, bore_mm=6.0, keyway_mm=2.0), Faults())
    reading = read(made.image)
    assert reading.datum.kind == "bore"
    # Noise of the bore's edge, 400 samples on 0.02 px, and where the keyway breaks it.
    assert (reading.datum.x_px, reading.datum.y_px) == pytest.approx(
        made.truth.picture.bore_xy_px, abs=0.008
    )


def test_something_lying_on_a_flank_is_named_and_does_not_spread():
    nick = Nick(tooth=5, side="right", depth_um=150, width_um=500, height=0.5)
    made = rendered(faults=Faults(pitch_scatter_um=8, nicks=(nick,)))
    reading = read(made.image)
    covered = {(spoilt.tooth, spoilt.side) for spoilt in made.truth.covered}
    assert covered == {(5, "right")}
    assert reading.teeth[4].right.status in ("obstructed", "partial")
    others = np.ones((Z, 2), bool)
    others[4:6, 1] = False  # its own pitch and the next
    assert np.abs(single_errors(reading, made.truth.about_bore)[others]).max() < LARGEST


def test_the_measuring_circle_can_be_another():
    reading = read(rendered().image, measuring_diameter="23.6mm")
    assert reading.gear.measuring_diameter_mm == pytest.approx(23.6, abs=ROUNDING)
    # Nearer to the axis arcs are shorter for the same angle.
    np.testing.assert_allclose(
        flanks(reading, "single_pitch_um"),
        flanks(wheel_reading(), "single_pitch_um") * 23.6 / 24,
        atol=BOUND,
    )


def test_a_measuring_circle_off_the_teeth_is_refused():
    with pytest.raises(PhotoError, match=r"measuring circle \(30 mm\) does not cross the teeth"):
        read(rendered().image, measuring_diameter="30mm")


def test_without_module_the_nearest_standard_one_is_taken_and_told():
    reading = read(rendered().image, module_mm=None)
    assert reading.gear.module_mm == 1.0
    assert reading.gear.source == "estimated"
    assert "module_estimated" in {notice.code for notice in reading.warnings}


def test_a_guess_at_the_wrong_angle_says_so_and_takes_the_tips():
    # Cut at 14.5 degrees and read at 20: base pitch and tips ask for modules 3 % apart.
    spec = GearSpec(teeth=24, module_mm=1.0, pressure_angle_deg=14.5, bore_mm=6.0)
    reading = read_whole(rendered(spec).image, module_mm=None)
    (notice,) = (n for n in reading.warnings if n.code == "module_unsure")
    assert reading.gear.module_mm == 1.0
    told = float(notice.message.split("at about ")[1].split("°")[0])
    # Base pitch and tips, 3 % apart by 5.5 degrees, are told to some 0.3 %.
    assert told == pytest.approx(14.5, abs=0.6)
    assert reading.cutting is None
    assert reading.causes.outcome in ("nothing", "good", "named")
    assert "depth" not in {cause.code for cause in reading.causes.causes}


def test_without_scale_the_module_sets_it_and_pitch_stands():
    reading = read(rendered().image, scale_um_per_px=None)
    assert reading.calibration.method == "from_module"
    # Tips and flanks together, 48 of 0.02 px on a radius of 300.
    assert reading.calibration.mm_per_px == pytest.approx(0.04, rel=1e-4)
    # A hundredth of the pitch, and for one near zero a twentieth of the edge noise (0.2 um).
    np.testing.assert_allclose(
        flanks(reading, "single_pitch_um"),
        flanks(wheel_reading(), "single_pitch_um"),
        rtol=0.01,
        atol=0.01,
    )


@pytest.mark.parametrize(
    ("known", "true_um", "relative"),
    # The tip circle and the bore are found to 0.02 px of 650 and 150 px.
    [({"known_tip_diameter": "26mm"}, 40, 1e-4), ({"known_bore": "6mm"}, 40, 4e-4)],
)
def test_a_known_diameter_sets_the_scale(known, true_um, relative):
    reading = read(rendered().image, scale_um_per_px=None, **known)
    assert 1000 * reading.calibration.mm_per_px == pytest.approx(true_um, rel=relative)
    assert reading.calibration.method == next(iter(known))


def test_nothing_that_sets_the_size_is_wrong_use():
    with pytest.raises(UseError, match="nothing sets the size: give --module or --dp"):
        read(rendered().image, module_mm=None, scale_um_per_px=None)


def test_the_same_picture_gives_the_same_reading():
    assert read_whole(rendered().image) == read_whole(rendered().image)


@pytest.mark.parametrize("written", ["0.0", "nan", "-3.0", "inf", "soon", ""])
def test_a_focal_length_that_is_none_is_not_known(written):
    exif = {"FocalLength": written, "Model": "M"}
    photo = Photo("a.jpg", "", np.zeros((64, 64), np.uint8), exif)
    assert camera_of(photo).focal_length_mm is None
    assert camera_of(photo).model == "M"


# Pictures that cannot be read.


@pytest.mark.parametrize("gain", [2.0, 3.0])
def test_a_burnt_out_ground_is_refused_or_in_the_uncertainty(gain):
    made = rendered(bits=16)
    burnt = np.clip(np.rint(made.image / 257 * gain), 0, 255).astype(np.uint8)
    try:
        summary = read(burnt).summary
    except PhotoError:
        return
    true = made.truth.about_bore.summary
    assert abs(summary.thickness_mean_mm - true.thickness_mean_mm) <= (
        2 * summary.u_thickness_mean_mm
    )


@pytest.mark.parametrize("gain", [5.5, 6.3])
def test_a_picture_burnt_out_all_over_is_refused(gain):
    # The gear's own 40 of 255 comes near full scale, the ground far beyond.
    made = rendered(bits=16, gamma="srgb")
    burnt = np.clip(np.rint(made.image / 257 * gain), 0, 255).astype(np.uint8)
    with pytest.raises(PhotoError, match=r"exposed|exposure|no gear found"):
        read(burnt)


def test_a_gear_that_shows_no_whole_tooth_is_refused():
    settings = make_settings(KNOWN)
    measured = measure_gear(rendered().image, settings, from_stated_scale(40.0))
    hidden = measured.fits.unwound.copy()
    hidden[::2, 0], hidden[1::2, 1] = np.nan, np.nan
    blind = replace(measured, fits=replace(measured.fits, unwound=hidden))
    with pytest.raises(PhotoError, match="no tooth shows both its flanks well enough"):
        compute_pitch(blind, choose_datum(blind, None), settings, (740, 740))


@pytest.mark.parametrize("blur_px", [9.0, 12.0])
def test_a_blur_that_leaves_no_flank_is_refused(blur_px):
    with pytest.raises(PhotoError, match=r"blurred beyond use \(blur .* px.*: focus again"):
        read(rendered(blur_px=blur_px).image)


@pytest.mark.parametrize("blur_px", [3.0, 5.0, 7.0])
def test_a_soft_picture_is_told_and_stays_within_its_uncertainty(blur_px):
    made = rendered(blur_px=blur_px)
    reading, truth = read(made.image), made.truth.about_bore
    assert "soft_focus" in {notice.code for notice in reading.warnings}
    errors = np.abs(single_errors(reading, truth))
    assert (errors <= 2 * flanks(reading, "u_single_pitch_um")).all()
    assert abs(reading.summary.thickness_mean_mm - truth.summary.thickness_mean_mm) <= (
        2 * reading.summary.u_thickness_mean_mm
    )


def test_charts_can_be_begun_before_what_cut_the_gear_is_known():
    photo = Photo("gear.png", "0" * 64, rendered().image, {})
    begun = []
    reading, _ = inspect_photo(photo, make_settings(KNOWN), begun.append)
    (early,) = begun
    assert early.cutting is None
    assert reading.cutting is not None
    # All that charts show is there.
    assert (early.teeth, early.gaps, early.summary) == (
        reading.teeth,
        reading.gaps,
        reading.summary,
    )
