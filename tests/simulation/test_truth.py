"""The truth beside a simulated picture, against known cases and the drawn outline itself."""

from math import cos, pi, radians, tan

import numpy as np
import pytest
import shapely

from cogloupe.simulation.body import body, tooth_outline
from cogloupe.simulation.cutting import cut_gear
from cogloupe.simulation.scene import Faults, GearSpec, Nick, Periodic
from cogloupe.simulation.true_sizes import FLOOR_HEIGHT_MODULES, profile, table
from cogloupe_calibration.errors import UseError

from ..helpers.tolerances import ROUNDING

# Truth is written with six decimals (a picometre in um fields).
WRITTEN = 2e-6
WHEEL = GearSpec(teeth=24, module_mm=2.0, bore_mm=10.0)


def cut(spec=WHEEL, rotation_deg=3.0, seed=1, **faults):
    return cut_gear(spec, Faults(**faults), rotation_deg, np.random.default_rng(seed))


def per_tooth(measured, side, field):
    return np.array([getattr(getattr(tooth, side), field) for tooth in measured.teeth])


def first_harmonic(values):
    return np.angle(np.fft.rfft(values)[1])


def outline_crossings(gear, axis, radius):
    """Polar angles at which the drawn polygon itself crosses a circle, sorted from twelve."""
    edge = tooth_outline(gear, 1e-6) - axis
    beyond = np.hypot(*edge.T) > radius
    at = np.flatnonzero(beyond != np.roll(beyond, -1))
    start, end = edge[at], np.roll(edge, -1, axis=0)[at]
    low, high = np.hypot(*start.T), np.hypot(*end.T)
    point = start + ((radius - low) / (high - low))[:, None] * (end - start)
    return np.mod(np.arctan2(point[:, 1], point[:, 0]) + pi / 2, 2 * pi)


def test_an_eccentric_gear_has_the_pitch_deviations_recomputed_by_exact_simulation():
    # z 24, m 2, e 20 um with a tooth in the direction of the eccentricity: 42.557 and 5.529 um,
    # computed independently (exact involute cut by the circle about the bore).
    summary = table(
        cut(rotation_deg=0, eccentricity_um=20, eccentricity_direction_deg=-90), "bore"
    ).summary
    assert summary.cumulative_pitch_total_by_side_um == pytest.approx((42.557, 42.557), abs=1e-3)
    assert summary.single_pitch_max_um == pytest.approx(5.529, abs=1e-3)


def test_left_and_right_flanks_of_an_eccentric_gear_differ_in_phase():
    measured = table(cut(eccentricity_um=20, eccentricity_direction_deg=40), "bore")
    left, right = (per_tooth(measured, side, "cumulative_pitch_um") for side in ("left", "right"))
    # 2 a - 180 / z against tooth number, from the normals of the two flanks.
    difference = np.degrees(first_harmonic(left) - first_harmonic(right))
    assert abs(difference) == pytest.approx(2 * 20 - 180 / 24, abs=0.05)


@pytest.mark.parametrize("direction_deg", [-150.0, 0.0, 75.0])
def test_seated_pins_show_the_eccentricity_and_its_direction(direction_deg):
    gear = cut(eccentricity_um=30, eccentricity_direction_deg=direction_deg)
    summary = table(gear, "bore").summary
    # Second order: e^2 / 2r is 0.02 um at e 30 um and r 24 mm.
    assert summary.eccentricity_um == pytest.approx(30, abs=1e-3)
    assert summary.eccentricity_direction_deg == pytest.approx(direction_deg, abs=0.01)
    assert summary.runout_um == pytest.approx(60, abs=0.3)  # 24 gaps may miss the extremes
    assert table(gear, "teeth").summary.runout_um == pytest.approx(0, abs=WRITTEN)


@pytest.mark.parametrize("datum", ["bore", "teeth"])
@pytest.mark.parametrize(
    "spec",
    [WHEEL, GearSpec(teeth=21, dp=48), GearSpec(teeth=24, dp=32, pressure_angle_deg=14.5)],
)
def test_flank_positions_are_where_the_drawn_outline_crosses_the_circle(spec, datum):
    gear = cut(spec, eccentricity_um=40, pitch_scatter_um=5, flank_scatter_um=3, depth_um=20)
    measured = table(gear, datum)
    axis = gear.axis if datum == "teeth" else np.zeros(2)
    found = np.sort(outline_crossings(gear, axis, gear.design.reference_radius))
    stated = np.concatenate(
        [per_tooth(measured, side, "position_deg") for side in ("left", "right")]
    )
    stated = np.sort(np.mod(np.radians(stated) + pi / 2, 2 * pi))
    # Chords of 1 nm error lie off by that over the cosine of the flank's slope.
    np.testing.assert_allclose(found, stated, rtol=0, atol=1.5e-6 / gear.design.reference_radius)


def test_a_lost_step_shows_on_both_sides_and_comes_back_where_the_turn_closes():
    measured = table(cut(step_um=25, step_tooth=9), "bore")
    right, left = (per_tooth(measured, side, "single_pitch_um") for side in ("right", "left"))
    expected = np.zeros(24)
    expected[8], expected[0] = 25, -25
    np.testing.assert_allclose(right, expected, rtol=0, atol=WRITTEN)
    # The gap after tooth 9 moves the left flank of tooth 10, and the last gap that of tooth 1.
    np.testing.assert_allclose(left, np.roll(expected, 1), rtol=0, atol=WRITTEN)


def test_a_drive_error_moves_both_flanks_of_a_gap_together_and_leaves_no_runout():
    wave = (Periodic(per_turn=3, amplitude_um=15),)
    measured = table(cut(periodic=wave), "bore")
    right, left = (per_tooth(measured, side, "cumulative_pitch_um") for side in ("right", "left"))
    sine = 15 * np.sin(3 * 2 * pi * np.arange(24) / 24)
    np.testing.assert_allclose(right, sine - sine[0], rtol=0, atol=WRITTEN)
    np.testing.assert_allclose(left, np.roll(sine, 1) - sine[-1], rtol=0, atol=2 * WRITTEN)
    assert measured.summary.runout_um == pytest.approx(0, abs=WRITTEN)


def test_thinning_is_what_the_teeth_lose():
    summary = table(cut(thinning_um=50), "bore").summary
    assert summary.thickness_mean_mm == pytest.approx(pi - 0.050, abs=WRITTEN)
    assert summary.gap_width_mean_mm == pytest.approx(pi + 0.050, abs=WRITTEN)


def test_cutting_deeper_lowers_the_floor_and_thins_the_teeth():
    summary = table(cut(depth_um=60), "bore").summary
    assert summary.root_diameter_mean_mm == pytest.approx(2 * (24 - 2.5 - 0.060), abs=WRITTEN)
    assert summary.tip_diameter_mean_mm == pytest.approx(52, abs=WRITTEN)
    # s = m (pi / 2 + 2 x tan a), ISO 21771.
    expected = pi - 2 * 0.060 * tan(radians(20))
    assert summary.thickness_mean_mm == pytest.approx(expected, abs=WRITTEN)


def test_scattered_passes_widen_each_gap_with_a_flat_floor_as_the_outline_shows():
    gear = cut(pass_scatter_um=20, passes=6)
    measured = table(gear, "bore")
    widths = np.array([gap.width_mm for gap in measured.gaps])
    # The expected range of six normal deviates is 2.534 sigma (statistical tables, from memory);
    # of 24 such ranges the mean has a standard deviation of 0.848 / sqrt(24) sigma.
    assert widths.mean() - pi == pytest.approx(0.0507, abs=3 * 0.0035)
    assert min(gap.floor_ratio for gap in measured.gaps) > 1
    low = gear.design.root_radius + FLOOR_HEIGHT_MODULES * gear.design.module_mm
    gap_middle = np.sort(outline_crossings(gear, np.zeros(2), low)) * low
    pure = np.sort(outline_crossings(cut(), np.zeros(2), low)) * low
    wide, drawn = (np.diff(edge)[0::2] for edge in (gap_middle, pure))
    expected = np.array([gap.floor_ratio for gap in measured.gaps])[: len(wide)]
    ratio = wide / drawn / (widths[: len(wide)] / pi)
    # Written to 1e-6.
    np.testing.assert_allclose(ratio, expected, rtol=0, atol=2e-6)


def test_floor_of_a_gap_narrower_than_the_cutter_is_a_corner_above_the_root():
    spec = GearSpec(teeth=21, dp=48)  # a fully rounded cutter tip leaves no flat
    gear = cut(spec, thinning_um=-20)
    measured = table(gear, "bore")
    assert all(gap.floor_width_mm == pytest.approx(0, abs=WRITTEN) for gap in measured.gaps)
    lowest = np.hypot(*tooth_outline(gear, 1e-6).T).min()
    # Written to 1e-6.
    assert measured.gaps[0].root_diameter_mm == pytest.approx(2 * lowest, abs=1e-6)
    assert lowest > gear.cut.root_radius
    assert shapely.Polygon(tooth_outline(gear, 1e-6)).is_valid


def test_a_larger_flank_angle_takes_material_off_the_tip():
    measured = profile(cut(pressure_angle_error_deg=0.3))
    length = measured.roll_end_mm - measured.roll_start_mm
    # f_Ha = -L tan a da to first order; the second order is about a da of it, here 1 %.
    expected = -1000 * length * tan(radians(20)) * radians(0.3)
    assert measured.profile_slope_um == pytest.approx(expected, rel=0.02)
    assert measured.pressure_angle_deg == pytest.approx(20.3)


@pytest.mark.parametrize("rotation_deg", [0.0, 2.0, 14.99, 15.0, 100.0, -7.0, 359.0])
def test_tooth_one_is_the_first_at_or_after_twelve_o_clock(rotation_deg):
    centres = [tooth.centre_deg for tooth in table(cut(rotation_deg=rotation_deg), "bore").teeth]
    after = np.mod(np.array(centres) + 90 + 1e-6, 360)
    assert np.all(np.diff(after) > 0)
    assert after[0] < 15


def test_turning_the_gear_by_whole_pitches_only_renumbers_it():
    still, turned = (
        cut(rotation_deg=2, pitch_scatter_um=5),
        cut(rotation_deg=62, pitch_scatter_um=5),
    )
    single = per_tooth(table(still, "bore"), "left", "single_pitch_um")
    moved = per_tooth(table(turned, "bore"), "left", "single_pitch_um")
    np.testing.assert_allclose(np.roll(moved, -4), single, rtol=0, atol=WRITTEN)
    assert turned.number(1) == 5


def test_tips_stay_with_the_bore_or_go_with_the_teeth():
    at_bore = table(cut(eccentricity_um=30), "bore")
    at_teeth = table(cut(eccentricity_um=30, tips_about="teeth"), "bore")
    assert np.ptp([tooth.tip_diameter_mm for tooth in at_bore.teeth]) < WRITTEN
    spread = np.ptp([tooth.tip_diameter_mm for tooth in at_teeth.teeth])
    assert spread == pytest.approx(0.120, abs=0.002)  # 4 e, but for the spacing of 24 teeth


def test_a_nick_takes_material_and_a_burr_adds_it():
    nick = Nick(tooth=3, side="left", depth_um=100, width_um=400)
    gear = cut()
    plain, nicked, burred = (
        body(gear, WHEEL, faults, 1e-5).area
        for faults in (Faults(), Faults(nicks=(nick,)), Faults(burrs=(nick,)))
    )
    # A half ellipse, but for the bend of the flank under it.
    half_ellipse = pi / 4 * 0.4 * 0.1
    assert plain - nicked == pytest.approx(half_ellipse, rel=0.15)
    assert burred - plain == pytest.approx(half_ellipse, rel=0.15)


def test_chords_of_the_outline_stay_within_the_error_asked_for():
    gear = cut(GearSpec(teeth=12, module_mm=1.0))
    coarse, fine = (shapely.LinearRing(tooth_outline(gear, error)) for error in (5e-6, 5e-7))
    far = shapely.distance(shapely.points(shapely.get_coordinates(fine)[::40]), coarse)
    assert far.max() < 5e-6 * 1.05


def test_teeth_that_come_to_a_point_are_refused():
    with pytest.raises(UseError, match=r"tooth \d+ comes to a point below its tip circle"):
        cut(thinning_um=2500)


def test_base_pitch_of_the_cut_gear_follows_the_cutter_angle():
    gear = cut(pressure_angle_error_deg=1.0)
    assert gear.cut.base_radius == pytest.approx(24 * cos(radians(21)), rel=ROUNDING)
