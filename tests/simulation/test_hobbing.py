"""The generating model: what is left of the blank, against geometry and against itself."""

from math import cos, pi, radians, sin, tan

import numpy as np
import pytest
import shapely

from cogloupe.forms.involute import roll_length
from cogloupe.forms.rack import gear_outline, half_gap
from cogloupe.simulation import (
    Camera,
    DriveError,
    Faults,
    GearSpec,
    LostSteps,
    Process,
    Scene,
    load_scene,
    make,
    render_scene,
)
from cogloupe.simulation import hobbing as hobbing_module
from cogloupe.simulation.cutter import hob_tooth, tooth_polygon
from cogloupe.simulation.drive import ARCMIN, DRAG, Moments, work_error
from cogloupe.simulation.hobbing import CHORD_ERROR_MM, Blank, generate
from cogloupe.simulation.outline_truth import gap_pieces, side_angles
from cogloupe.simulation.placing import hob_cuts
from cogloupe.simulation.true_sizes import evaluation_range, table
from cogloupe_calibration.errors import UseError

from ..helpers.polygon_gauges import crossings, reference_facts
from ..helpers.tolerances import ROUNDING, SOLVED

WHEEL = GearSpec(teeth=30, module_mm=0.5, bore_mm=5.0)
PINION = GearSpec(teeth=12, module_mm=1.0)
# Fed only inwards, so that no rise of the hob's circle hides anything.
PLUNGE = {"feed_mm": 0.0, "turns": 1.2}
FORM = {"kind": "form-cutter", "gashes": 1}
STEP_UM = radians(360 / 2400) * 7500  # of 2400 on WHEEL's reference circle: 19.6 um


def made(spec=WHEEL, seed=1, rotation_deg=2.0, **process):
    rng = np.random.default_rng(seed)
    return make(spec, Faults(), Process(**process), rotation_deg, rng, 1e-5)


def measured(spec=WHEEL, datum="bore", **how):
    gear = made(spec, **how)
    return table(gear.gear, datum, gear.details)


def per_tooth(result, side, field):
    return np.array([getattr(getattr(tooth, side), field) for tooth in result.teeth])


def left_standing(spec, **process):
    """Outline about the work's axis, the first gap's middle at angle 0."""
    gear = spec.gear()
    blank = Blank(gear.tip_radius, np.zeros(2))
    rng = np.random.default_rng(1)
    return gear, generate(gear, Process(**process), blank, 0.0, rng).outline


def area(spec=WHEEL, **process):
    return shapely.Polygon(left_standing(spec, **process)[1]).area


def fillet_ridge(gear, gashes):
    """Ridge between cuts of the rounding, which moves by the turn times its distance from the
    pitch point; where the fillet ends, that distance lies along the line of action."""
    rack = gear.rack
    farthest = (rack.dedendum - rack.fillet_radius) / sin(rack.pressure_angle) * gear.module_mm
    step = 2 * pi / (gear.teeth * gashes) * farthest
    return step**2 / (8 * rack.fillet_radius * gear.module_mm)


def outside_involute(gear, outline):
    """Deviation of gap 0's flank from the involute along the normal, and its roll, mm."""
    centre = 2 * pi / gear.teeth * (np.arange(gear.teeth) - 0.5)
    radii = np.linspace(gear.form_radius, gear.tip_radius, 4000)
    _, up = side_angles(gap_pieces(outline, centre)[0], radii)
    drawn = pi / gear.teeth - gear.half_tooth_angle(radii)
    return (drawn - up) * gear.base_radius, roll_length(gear.base_radius, radii)


# --- a perfect hob -------------------------------------------------------------------------------


@pytest.mark.parametrize("case", reference_facts("cutting_errors")["scallop"])
def test_facets_of_a_perfect_hob_stand_out_by_the_enveloping_formula(case):
    spec = GearSpec(teeth=case["teeth"], module_mm=case["module_mm"])
    gear, outline = left_standing(spec, gashes=case["gashes"], **PLUNGE)
    outside, roll = outside_involute(gear, outline)
    at_pitch_point = roll_length(gear.base_radius, gear.reference_radius)
    # The facets at both ends of the flank meet the fillet and the tip instead of a neighbour.
    facet = gear.base_radius * 2 * pi / (gear.teeth * case["gashes"])
    whole = (roll > roll[0] + facet) & (roll < roll[-1] - facet)
    outside, roll = outside[whole], roll[whole]
    # A ridge between facets stands out by rho dphi^2 / 8, so the highest for its roll is every
    # ridge's; the reference has three digits, and 4000 circles miss a ridge by up to 1 %.
    highest = 1000 * (outside / roll).max() * at_pitch_point
    assert highest == pytest.approx(case["deviation_um"], rel=0.015)
    # No cut goes below the involute.
    assert outside.min() > -1e-8


@pytest.mark.parametrize(
    "spec",
    [WHEEL, PINION, GearSpec(teeth=21, dp=48), GearSpec(teeth=24, dp=32, pressure_angle_deg=14.5)],
)
def test_a_hob_of_many_gashes_cuts_the_gap_that_the_rack_generates(spec):
    gear, outline = left_standing(spec, gashes=60, **PLUNGE)
    radius, angle = half_gap(gear, 300, 300)
    inside = radius < gear.tip_radius - 1e-6
    drawn = radius[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    off = shapely.distance(shapely.points(drawn[inside]), shapely.LinearRing(outline))
    # Facets of 60 gashes stand out by 0.02 um at most at module 1, less than the fillet's ridges.
    assert off.max() < fillet_ridge(gear, 60) + 1.1 * CHORD_ERROR_MM


def test_the_few_cuts_kept_leave_what_all_cuts_together_leave():
    spec, process = PINION, Process(turns=4, jitter_arcmin=5, runout_um=20, gashes=8)
    gear = spec.gear()
    cuts = hob_cuts(gear, process, gear.tip_radius, np.random.default_rng(1))
    profile = tooth_polygon(hob_tooth(gear.rack, 1.0), 3.0, CHORD_ERROR_MM)
    blank = Blank(gear.tip_radius, np.zeros(2))
    disc = shapely.Polygon(hobbing_module._disc(blank))
    for gap in range(spec.teeth):
        middle = 2 * pi / spec.teeth * gap
        every = cuts.take(np.flatnonzero(cuts.gap == gap))
        disc = disc.difference(shapely.union_all(hobbing_module._placed(profile, every, middle)))
    kept = generate(gear, process, blank, 0.0, np.random.default_rng(1)).outline
    missed = shapely.symmetric_difference(shapely.Polygon(kept), disc)
    # 1e-8 mm^2 over the 200 mm of outline is a twentieth of a picometre on average, and a sliver
    # of 10 um by 0.01 um would already be 1e-7 mm^2.
    assert missed.area < 1e-8


def test_gashes_of_several_starts_are_as_far_apart_as_of_so_many_fewer_gashes():
    # Two starts with 24 gashes cut where one start with 12 does.
    one = area(gashes=12, **PLUNGE)
    assert area(hob_starts=2, gashes=24, **PLUNGE) == pytest.approx(one, abs=1e-9)


# --- eccentric work and blank --------------------------------------------------------------------


def test_eccentric_work_has_the_pitch_deviations_recomputed_by_exact_simulation():
    case = reference_facts("cutting_errors")["eccentricity"]
    spec = GearSpec(teeth=case["teeth"], module_mm=case["module_mm"])
    e = case["eccentricity_um"]
    how = {"eccentricity_um": e, "eccentricity_direction_deg": -90, "gashes": 60, **PLUNGE}
    gear = made(spec, rotation_deg=0.0, **how)
    radius = spec.gear().reference_radius
    found = crossings(gear.outline, radius)
    for side in (found.left, found.right):
        off = (np.unwrap(side) - 2 * pi / spec.teeth * np.arange(spec.teeth)) * radius * 1000
        # Facets of 60 gashes are 0.02 um high.
        assert np.ptp(off) == pytest.approx(case["cumulative_pitch_total_um"], abs=0.06)
    summary = table(gear.gear, "bore", gear.details).summary
    assert summary.cumulative_pitch_total_um == pytest.approx(2 * e / cos(radians(20)), rel=0.002)
    assert summary.single_pitch_max_um == pytest.approx(case["single_pitch_max_um"], abs=0.05)
    # Of 24 gaps the nearest to the direction of the eccentricity stand half a pitch beside it.
    assert summary.runout_um == pytest.approx(2 * e * cos(pi / 24), abs=0.05)
    assert table(gear.gear, "teeth", gear.details).summary.runout_um == pytest.approx(0, abs=0.05)


def test_fitted_flanks_cross_the_circle_where_the_outline_does():
    gear = made(
        eccentricity_um=40,
        gashes=40,
        **PLUNGE,
        periodic=(DriveError(per_turn=2, amplitude_arcmin=3),),
    )
    found = crossings(gear.outline, 7.5)
    result = table(gear.gear, "bore", gear.details)
    for side, angles in (("left", found.left), ("right", found.right)):
        stated = np.sort(np.mod(per_tooth(result, side, "position_deg"), 360))
        outline = np.sort(np.mod(np.degrees(angles), 360))
        # The drive turns on while a flank is generated, so flanks are bent by some tenths of a
        # micrometre, which a straight line does not follow.
        np.testing.assert_allclose(stated, outline, rtol=0, atol=np.degrees(4e-4 / 7.5))


def test_an_eccentric_blank_moves_the_tips_and_not_the_flanks():
    result = measured(blank_eccentricity_um=60)
    tips = [tooth.tip_diameter_mm for tooth in result.teeth]
    assert np.ptp(tips) == pytest.approx(4 * 0.060, abs=0.002)  # two diameters of a turn apart
    # What is left is the rise of the hob's circle between two turns of the work.
    assert result.summary.cumulative_pitch_total_um < 0.1


# --- the division --------------------------------------------------------------------------------


def test_lost_steps_in_gap_by_gap_cutting_are_one_long_pitch_and_one_that_closes():
    lost = (LostSteps(steps=-3, turn=10.5 / 30),)
    single = per_tooth(measured(steps_per_turn=2400, lost_steps=lost, **FORM), "right",
                       "single_pitch_um")  # fmt: skip
    expected = np.zeros(30)
    # The gap after tooth 1 is cut first, so gap 12 is the first after the loss.
    expected[11], expected[0] = -3 * STEP_UM, 3 * STEP_UM
    np.testing.assert_allclose(single, expected, rtol=0, atol=0.01)


@pytest.mark.parametrize("steps", [-3, 2])
def test_steps_lost_while_hobbing_move_the_teeth_by_so_many_steps_over_a_few_pitches(steps):
    lost = (LostSteps(steps=steps, turn=15.5 / 30),)
    process = {"steps_per_turn": 2400, "lost_steps": lost, "feed_mm": 0.0, "turns": 1.0}
    cumulative = per_tooth(measured(**process), "right", "cumulative_pitch_um")
    # Before and after the three or four gaps that were in the cut when it happened.
    before, after = cumulative[6:12], cumulative[20:26]
    assert np.ptp(before) < 0.01
    assert np.ptp(after) < 0.01
    assert after.mean() - before.mean() == pytest.approx(steps * STEP_UM, abs=0.02)


def test_steps_lost_turns_before_the_end_thin_every_tooth_and_leave_no_step():
    lost = (LostSteps(steps=-3, turn=3.0),)
    process = {"steps_per_turn": 2400, "feed_mm": 0.0, "turns": 6.0}
    sound, hurt = measured(**process).summary, measured(lost_steps=lost, **process).summary
    lost_mm = sound.thickness_mean_mm - hurt.thickness_mean_mm
    # Every gap was cut at both places; the steps themselves are seen by both gears.
    assert lost_mm * 1000 == pytest.approx(3 * STEP_UM, abs=0.1)
    assert hurt.single_pitch_max_um < 0.1


def test_a_wrong_ratio_closes_badly_by_what_it_is_wrong():
    ratio = 1 / 1200
    single = per_tooth(measured(ratio_error=ratio, **FORM), "left", "single_pitch_um")
    each = ratio * 2 * pi * 7500 / 30
    expected = np.full(30, each)
    # Gap 30 is cut last and bounds tooth 1 on the left; it lies 29 wrong pitches from gap 1.
    expected[1] = -29 * each
    np.testing.assert_allclose(single, expected, rtol=0, atol=0.01)


def test_a_wrong_ratio_over_several_turns_widens_every_gap_by_the_turns_between():
    ratio, turns = 1 / 2400, 4
    process = {"feed_mm": 0.0, "turns": turns, "gashes": 24}
    sound = per_gap(measured(**process))
    wide = per_gap(measured(ratio_error=ratio, **process))
    # The two flanks of a gap pass the pitch point half a pitch of the rack apart, in which the work
    # gains too; the gaps about the start of the cut have seen one turn fewer on one flank.
    expected = ratio * 1000 * ((turns - 1) * 2 * pi * 7.5 + pi * 0.5 / 2)
    np.testing.assert_allclose((wide - sound)[8:22] * 1000, expected, rtol=0, atol=0.02)


def per_gap(result):
    return np.array([gap.width_mm for gap in result.gaps])


def test_whole_steps_put_gaps_at_the_nearest_step():
    spec = GearSpec(teeth=21, module_mm=0.5)
    position = per_tooth(measured(spec, steps_per_turn=200, **FORM), "right", "position_deg")
    steps = np.floor(np.arange(21) * 200 / 21 + 0.5)
    expected = steps * 360 / 200
    found = np.mod(position - position[0], 360)
    # Truth tables are written to 1e-6.
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-5)


def test_a_drive_error_of_whole_periods_repeats_and_one_of_a_part_period_thins():
    def thickness(per_turn, turns):
        part = (DriveError(per_turn=per_turn, amplitude_arcmin=4),)
        return measured(periodic=part, feed_mm=0.0, turns=turns).summary.thickness_mean_mm

    assert thickness(3, 1.5) == pytest.approx(thickness(3, 5.0), abs=ROUNDING)
    amplitude_mm = 4 * ARCMIN * 7.5
    # At 3.5 periods every other turn is mirrored: each gap is widened by twice the error's size,
    # on average over the sine by 2 * (2 / pi).
    loss = thickness(3, 5.0) - thickness(3.5, 5.0)
    assert loss == pytest.approx(4 / pi * amplitude_mm, rel=0.1)


def test_a_drive_error_of_one_gap_at_a_time_is_its_sine():
    part = (DriveError(per_turn=3, amplitude_arcmin=2, phase_deg=30),)
    found = per_tooth(measured(periodic=part, **FORM), "right", "cumulative_pitch_um")
    wave = np.sin(3 * 2 * pi * np.arange(30) / 30 + radians(30)) * 2 * ARCMIN * 7500
    # Truth tables are written to 0.001 um.
    np.testing.assert_allclose(found, wave - wave[0], rtol=0, atol=0.001)


# --- scatter, and what more cutting does ---------------------------------------------------------


def test_unsteady_running_thins_teeth_and_lengthens_floors_the_more_the_longer_it_runs():
    results = [measured(jitter_arcmin=5, feed_mm=0.0, turns=n).summary for n in (1.2, 3, 8)]
    thickness = [result.thickness_mean_mm for result in results]
    ratio = [result.floor_ratio_mean for result in results]
    spread_mm = 5 * ARCMIN * 7.5  # 11 um
    # In 8 turns the outermost of many deviates lies 2 or 3 of them out on each side.
    assert 2 * spread_mm < measured(**PLUNGE).summary.thickness_mean_mm - thickness[2]
    assert thickness[0] > thickness[1] > thickness[2]
    assert ratio[0] < ratio[1] < ratio[2]
    assert ratio[2] > 1.0


def test_scattered_settings_of_a_form_cutter_thin_no_tooth_on_average():
    sound, hurt = measured(**FORM).summary, measured(jitter_arcmin=5, **FORM).summary
    assert hurt.thickness_mean_mm == pytest.approx(sound.thickness_mean_mm, abs=ROUNDING)
    assert hurt.floor_ratio_mean == pytest.approx(sound.floor_ratio_mean, abs=ROUNDING)
    assert hurt.single_pitch_max_um > 10


@pytest.mark.parametrize(
    "faults",
    [
        {"jitter_arcmin": 4},
        {"steps_per_turn": 2400, "encoder_pulses": 600, "false_pulses": 0.4, "missing_pulses": 0.4},
        {"backlash_arcmin": 8, "runout_um": 15},
        {"ratio_error": 5e-4},
    ],
)
def test_more_turns_and_more_passes_only_take_material_away(faults):
    turns = [area(PINION, feed_mm=0.0, turns=n, **faults) for n in (1.2, 2.0, 3.7)]
    # Cutting the same again takes rounding errors, up to 1e-12 mm^2 a corner.
    assert max(np.diff(turns)) < 1e-8
    assert turns[0] > turns[2]
    passes = [
        area(PINION, feed_mm=0.0, turns=1.2, depths_mm=depths, **faults)
        for depths in ((2.0,), (2.0, 1.4), (2.0, 1.4, 2.2))
    ]
    assert max(np.diff(passes)) < 1e-8
    assert passes[2] < passes[1]


def test_a_shallow_pass_after_a_deeper_one_changes_nothing():
    deep = area(depths_mm=(1.125,), **PLUNGE)
    assert area(depths_mm=(1.125, 0.9), **PLUNGE) == pytest.approx(deep, abs=SOLVED)
    assert area(depths_mm=(0.9, 1.125), **PLUNGE) == pytest.approx(deep, abs=SOLVED)


def test_feed_leaves_the_face_short_of_depth_where_the_hob_never_comes_to_it():
    result = measured(turns=3.0, face_turn=10.0, feed_mm=0.2, cutter_diameter_mm=25.0)
    roots = np.array([gap.root_diameter_mm for gap in result.gaps])
    # The last gap ends its third turn 7 turns or 1.4 mm short: 1.4^2 / 25 mm too high.
    assert roots.min() == pytest.approx(13.75 + 2 * (1.4**2 / 25), abs=0.005)


# --- depth, blank, cutter ------------------------------------------------------------------------


@pytest.mark.parametrize(("fault", "moved_mm"), [
    ({"depth_um": 60.0}, -0.060), ({"depth_um": -40.0}, 0.040), ({"blank_oversize_um": 100}, 0.050),
])  # fmt: skip
def test_depth_and_blank_move_the_teeth_in_or_out(fault, moved_mm):
    summary = measured(**fault, gashes=24, **PLUNGE).summary
    # Truth tables are written to 1e-6 mm, and 0.001 um.
    assert summary.root_diameter_mean_mm == pytest.approx(13.75 + 2 * moved_mm, abs=1e-6)
    expected = pi / 4 + 2 * moved_mm * tan(radians(20))  # s = m (pi / 2 + 2 x tan a), ISO 21771
    assert summary.thickness_mean_mm == pytest.approx(expected, abs=1e-4)
    tip = 16.0 + fault.get("blank_oversize_um", 0) / 1000
    assert summary.tip_diameter_mean_mm == pytest.approx(tip, abs=1e-6)


def test_a_hob_that_runs_out_cuts_all_teeth_alike_unless_it_has_two_starts():
    single, double = (
        np.array(
            [gap.root_diameter_mm for gap in measured(hob_starts=n, runout_um=40, **PLUNGE).gaps]
        )
        for n in (1, 2)
    )
    # Truth tables are written to 1e-6 mm, and 0.001 um.
    np.testing.assert_allclose(single, 13.75 - 0.040, rtol=0, atol=1e-6)
    # Gaps are cut by the side that stands out and by the other in turn.
    np.testing.assert_allclose(double[0::2], 13.75 - 0.040, rtol=0, atol=1e-6)
    np.testing.assert_allclose(double[1::2], 13.75 + 0.040, rtol=0, atol=1e-6)


def test_a_form_cutter_off_centre_leans_the_gap():
    offset, gear = 0.05, WHEEL.gear()
    result = measured(offset_mm=offset, **FORM)
    start, end = flank_range()
    # The normal of a flank turns by roll / r_b; at the reference circle it leans from the cutter's
    # path by the pressure angle and half the gap.
    at_reference = radians(20) + pi / 60
    lean = at_reference + np.array([start, end]) / gear.base_radius - tan(radians(20))
    expected = 1000 * offset * (np.cos(lean[0]) - np.cos(lean[1]))
    left, right = (per_tooth(result, side, "profile_slope_um") for side in ("left", "right"))
    # The fitted line is not that through the ends of the bend, and the second order is e / r.
    np.testing.assert_allclose(left, expected, rtol=0.03)
    np.testing.assert_allclose(right, -expected, rtol=0.03)


def flank_range():
    return evaluation_range(made(**FORM).gear)


def test_a_hob_off_centre_spoils_one_flank_only_if_it_is_short():
    long = measured(offset_mm=1.0, **PLUNGE)
    short = measured(offset_mm=1.0, hob_length_mm=4.0, **PLUNGE)
    assert max(per_tooth(long, "left", "profile_form_um")) < 0.3
    left, right = (per_tooth(short, side, "profile_form_um").mean() for side in ("left", "right"))
    assert left > 5
    assert right < 0.3


def test_a_cutter_for_fewer_teeth_takes_the_tips_away():
    result = measured(cutter_teeth=21, **FORM)
    assert per_tooth(result, "left", "profile_slope_um").max() < -5
    own = measured(**FORM)
    # Truth tables are written to 0.001 um; facets of the cutter leave the rest.
    np.testing.assert_allclose(per_tooth(own, "left", "profile_slope_um"), 0, atol=0.003)
    assert own.summary.thickness_mean_mm == pytest.approx(pi / 4, abs=1e-5)


def test_a_hob_of_another_flank_angle_leaves_its_profile_slope():
    gear = made(cutter_angle_error_deg=0.4, gashes=24, **PLUNGE)
    slope = per_tooth(table(gear.gear, "bore", gear.details), "right", "profile_slope_um")
    start, end = flank_range()
    # f_Ha = -L tan a da; the second order is about a da of it.
    expected = -1000 * (end - start) * tan(radians(20)) * radians(0.4)
    np.testing.assert_allclose(slope, expected, rtol=0.02)


# --- the drive by itself -------------------------------------------------------------------------


def running(turns=40.0, per_turn=300, load=1.0):
    work = np.arange(int(turns * per_turn)) / per_turn
    return Moments(work * 30, work, np.full(len(work), load))


def test_false_and_missing_pulses_stay_counted():
    moments = running()
    how = {"steps_per_turn": 36000, "encoder_pulses": 1200}
    one = 2 * pi / 36000  # rad of the work for a pulse, at 30 teeth
    false = Process(false_pulses=2.0, **how)
    error = work_error(false, 30, moments, np.random.default_rng(3)) / one
    # 1200 turns of the hob count 2400 false pulses, with a Poisson deviation of 49.
    assert error[-1] == pytest.approx(2400, abs=4 * 49)
    both = Process(false_pulses=2.0, missing_pulses=2.0, **how)
    ends = [work_error(both, 30, moments, np.random.default_rng(s))[-1] / one for s in range(40)]
    # Standard deviation sqrt(4800) = 69; of 40 it is known to 11 %.
    assert np.std(ends) == pytest.approx(69, rel=0.35)


def test_play_stays_between_its_ends_and_needs_load():
    process = Process(backlash_arcmin=6)
    error = work_error(process, 30, running(), np.random.default_rng(1)) / ARCMIN
    assert error.min() == pytest.approx(-3)
    assert error.max() == pytest.approx(3)
    light = running(load=DRAG / 8)  # an eight-sigma force would be needed
    assert not work_error(process, 30, light, np.random.default_rng(1)).any()


def test_a_loaded_rotor_hangs_back():
    process = Process(steps_per_turn=2400, lag_steps=1.5)
    free, half = (
        work_error(process, 30, running(load=load), np.random.default_rng(1)) for load in (0.0, 0.5)
    )
    np.testing.assert_allclose(free - half, 0.75 * 2 * pi / 2400, rtol=SOLVED)


def test_rotor_lag_thins_teeth_where_the_load_leaves_before_the_cut_ends():
    process = {"steps_per_turn": 2400, "feed_mm": 0.0, "turns": 3.0}
    sound, hurt = measured(**process).summary, measured(lag_steps=1.0, **process).summary
    lost = (sound.thickness_mean_mm - hurt.thickness_mean_mm) * 1000
    # Truth tables are written to 1e-6 mm, and 0.001 um.
    assert lost == pytest.approx(STEP_UM, abs=0.001)


def test_unsteadiness_has_the_deviation_asked_for_and_forgets_in_about_a_hob_turn():
    process = Process(jitter_arcmin=3, gashes=10)
    error = work_error(process, 30, running(turns=400), np.random.default_rng(1)) / ARCMIN
    # 12000 hob turns, each about one independent value: 0.7 %, and three of them.
    assert error.std() == pytest.approx(3, rel=0.03)
    later = np.corrcoef(error[:-10], error[10:])[0, 1]
    assert later == pytest.approx(np.exp(-1), abs=0.05)


# --- scenes --------------------------------------------------------------------------------------

CAMERA = Camera(mm_per_px=0.06, width_px=320, height_px=310)


def test_a_scene_with_a_process_carries_its_causes_into_the_truth():
    process = Process(
        steps_per_turn=2400, lost_steps=(LostSteps(steps=-2, turn=3.3),), eccentricity_um=15
    )
    scene = Scene(gear=WHEEL, process=process, camera=CAMERA)
    truth = render_scene(scene).truth
    assert [(cause.name, cause.size, cause.unit) for cause in truth.causes] == [
        ("eccentric_work", 15, "um"),
        ("lost_steps", -2, "steps"),
    ]
    assert truth.made_eccentricity_um == 15
    assert len(truth.about_bore.teeth) == 30


def test_the_picture_of_a_generated_gear_is_as_dark_as_its_area():
    camera = CAMERA.model_copy(update={"noise": 0.0, "bits": 16, "gamma": "linear"})
    scene = Scene(gear=PINION, process=Process(jitter_arcmin=6), camera=camera, seed=4)
    rng = np.random.default_rng(4).spawn(4)[0]
    gear = make(PINION, Faults(), scene.process, 0.0, rng, 1e-5)
    dark = (200 - render_scene(scene).image / 257.0) / 160
    # Rounding of some 2000 edge pixels; see the test of a drawn gear's picture.
    assert dark.sum() == pytest.approx(shapely.Polygon(gear.outline).area / 0.06**2, abs=1.0)


def test_without_faults_the_generated_and_the_drawn_gear_are_one():
    drawn = shapely.Polygon(gear_outline(WHEEL.gear(), radians(2.0) - pi / 2, flank_points=400))
    generated = shapely.Polygon(made(gashes=60, **PLUNGE).outline)
    # Chords of the drawn outline's tip and floor arcs lie up to 0.1 um off, on 100 mm of outline.
    assert shapely.symmetric_difference(drawn, generated).area < 1e-4 * drawn.length


TOML = """
[gear]
teeth = 30
module_mm = 0.5
[camera]
mm_per_px = 0.05
"""


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ("[process]\n[faults]\nstep_um = 5", "faults.step_um is for a drawn gear"),
        ("[process]\nlag_steps = 1", "need steps_per_turn"),
        ("[process]\nfalse_pulses = 1", "need encoder_pulses"),
        ("[process]\nencoder_pulses = 600", "needs steps_per_turn"),
        ("[process]\ncutter_teeth = 21", "cutter_teeth does not go with a hob"),
        ("[process]\nkind = 'form-cutter'\nhob_length_mm = 9", "does not go with a form-cutter"),
        ("[process]\nkind = 'broach'", "process.kind"),
    ],
)
def test_a_process_that_cannot_be_is_refused_in_one_line(tmp_path, more, message):
    path = tmp_path / "scene.toml"
    path.write_text(TOML + more, encoding="utf-8")
    with pytest.raises(UseError, match=message) as refused:
        load_scene(path)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    ("process", "message"),
    [
        ({"turns": 0.3, "feed_mm": 0.0}, "not every gap was cut: give more turns"),
        ({"depths_mm": (8.0,)}, "check depths_mm and depth_um"),
        ({"depth_um": -1200.0}, "check depths_mm and depth_um"),
        ({"ratio_error": 0.03, "turns": 3.0}, "make the faults smaller|gone for the most part"),
    ],
)
def test_a_process_that_leaves_no_gear_is_refused(process, message):
    with pytest.raises(UseError, match=message):
        made(**process)
