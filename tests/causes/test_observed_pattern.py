"""What a reading says of its errors, gathered: values, uncertainties kept apart, waves."""

from math import cos, radians, tan

import numpy as np
import pytest

from cogloupe.causes import pattern_uncertainty
from cogloupe.causes.cutter_patterns import blank, running_out
from cogloupe.causes.harmonics import harmonics
from cogloupe.causes.observed_pattern import observe
from cogloupe.causes.pattern_layout import OUT, SHARED, design_of, eccentric_shapes
from cogloupe.causes.pattern_parts import cutter_for, deeper, gap_shift, gap_widening
from cogloupe.causes.pattern_uncertainty import shared_by_neighbours
from cogloupe.simulation import Faults, GearSpec, Process, make
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.lens import unmeasured_lens

from ..helpers.report_examples import nothing_seen
from ..helpers.stated_figures import MeasuringErrors
from ..helpers.stated_reading import stated_reading
from ..helpers.tolerances import ROUNDING, SOLVED

WHEEL = GearSpec(teeth=24, module_mm=1.0, bore_mm=6.0)
QUIET = MeasuringErrors(flank_um=0.01, lens=0.01, bore_um=0.01)


def made(spec=WHEEL, seed=1, process=None, **faults):
    return make(spec, Faults(**faults), process, 2.0, np.random.default_rng(seed), 1e-5)


def observed(gear, errors=QUIET, seed=None, bore=True):
    rng = None if seed is None else np.random.default_rng(seed)
    return observe(stated_reading(gear, errors, rng, bore))


def shared(change, *names):
    return np.array([change[SHARED.index(name) - len(SHARED)] for name in names])


def without_offsets(change, teeth):
    flanks = change[: 2 * teeth].reshape(-1, 2)
    return flanks - flanks.mean(axis=0)


def test_flanks_of_another_form_cross_their_pitch_circle_square():
    reading = stated_reading(made(), QUIET, None)
    gear = reading.gear.model_copy(update={"rack": None, "pressure_angle_deg": None})
    assert design_of(reading.model_copy(update={"gear": gear})).pressure_angle == 0


def test_a_stretch_moves_root_and_tip_by_what_it_is_there(monkeypatch):
    reading = stated_reading(made(), QUIET, None)
    design, lens = design_of(reading), unmeasured_lens(600, 600)
    monkeypatch.setattr(pattern_uncertainty, "_stretch", lambda *given: 1e-3 * given[-1][None] ** 2)
    found = pattern_uncertainty.stretch_shapes(reading, design, lens)[0]
    thicker = 2 * tan(radians(20)) * design.drawn.reference_radius**2
    moved = {"root": design.drawn.root_radius**2, "tip": design.drawn.tip_radius**2}
    for name, wanted in (moved | {"thickness": thicker}).items():
        # Twelve circles over a third of the radius: chords of a parabola lie 1e-4 off it.
        assert found[SHARED.index(name)] == pytest.approx(wanted, rel=1e-3)


def test_a_larger_blank_moves_tips_and_floors_out_alike():
    for family in blank(observed(made())):
        assert shared(family.basis[0], "tip", "root") == pytest.approx([1, 1], rel=ROUNDING)


# --- shapes against the generating model ---------------------------------------------------------


def test_moving_the_axis_moves_flanks_and_tips_as_an_eccentric_gear_shows():
    x, y = 12.0, -5.0
    e, direction = np.hypot(x, y), np.degrees(np.arctan2(y, x))
    gear = made(eccentricity_um=e, eccentricity_direction_deg=direction, tips_about="teeth")
    seen, good = observed(gear), observed(made())
    change = seen.value - good.value
    expected = np.array([x, y]) @ eccentric_shapes(seen.design, seen.angle)
    # Second order: e^2 / r is 0.014 um.
    np.testing.assert_allclose(
        without_offsets(change, 24), without_offsets(expected, 24), rtol=0, atol=0.05
    )
    np.testing.assert_allclose(shared(change, "tip_x", "tip_y"), [x, y], rtol=0, atol=1e-3)


def test_a_displaced_gap_takes_the_flanks_on_its_two_sides_along():
    gear = made(pitch_scatter_um=8.0)
    change = observed(gear).value - observed(made()).value
    left, right = np.moveaxis(without_offsets(change, 24), 1, 0)
    gap = (right + np.roll(left, -1)) / 2
    np.testing.assert_allclose(
        gap_shift(gap).reshape(-1, 2), np.stack([left, right], axis=1), rtol=0, atol=SOLVED
    )


def test_sides_of_a_gap_move_by_themselves():
    left, right = np.arange(5.0), 10 + np.arange(5.0)
    both = gap_widening(left, right).reshape(-1, 2)
    # Gap 1 follows tooth 1: its left-hand boundary is tooth 1's right flank.
    assert both[0].tolist() == [4.0, 10.0]
    assert both[1].tolist() == [0.0, 11.0]


@pytest.mark.parametrize("form", [False, True])
def test_depth_changes_thickness_floor_and_slope_as_the_generating_model_cuts_them(form):
    kind = {"kind": "form-cutter", "gashes": 1} if form else {"gashes": 24}
    cut = [made(process=Process(depth_um=depth, **kind)) for depth in (20.0, 0.0)]
    seen = observed(cut[0])
    change = seen.value - observed(cut[1]).value
    names = ("thickness", "root", "slope_left", "slope_right")
    expected = [20 * deeper(seen.design, form).get(name, 0.0) for name in names]
    # The slope is that of a straight line through a slightly bent flank.
    np.testing.assert_allclose(shared(change, *names), expected, rtol=0.02, atol=0.15)
    floor = 20 * deeper(seen.design, form).get("floor", 0.0)
    assert shared(change, "floor")[0] == pytest.approx(floor, abs=1e-3)


def test_a_form_cutter_for_other_teeth_changes_slope_and_thickness_as_it_is_shaped():
    process = [Process(kind="form-cutter", gashes=1, cutter_teeth=n) for n in (20, 24)]
    cut = [made(process=p) for p in process]
    seen = observed(cut[0])
    change = seen.value - observed(cut[1]).value
    expected = cutter_for(seen.design, 20 / 24)
    got = shared(change, *expected)
    # The deviation is bent: a straight line through it depends a little on where it is sampled.
    np.testing.assert_allclose(got, list(expected.values()), rtol=0.04)


@pytest.mark.parametrize(("way", "fault"), [("radial", "runout_um"), ("axial", "wobble_um")])
def test_a_hob_that_runs_out_leaves_what_the_generating_model_cuts(way, fault):
    names = ("thickness", "slope_left", "slope_right")
    seen = observed(made(process=Process(gashes=24, **{fault: 12.0})))
    change = seen.value - observed(made(process=Process(gashes=24))).value
    wanted = np.array(shared(change, *names))
    (family,) = (one for one in running_out(seen, 1) if one.name == way)
    members = np.array([shared(row, *names) for row in family.basis])
    size = members @ wanted / (members**2).sum(axis=1)
    left = np.linalg.norm(wanted - size[:, None] * members, axis=1) / np.linalg.norm(wanted)
    # Phases an eighth of a turn apart, and cuts of 24 gashes: the best is a quarter off.
    assert left[size > 0].min() < 0.3


# --- uncertainties -------------------------------------------------------------------------------


@pytest.mark.parametrize("lens", [0.05, 1.0])
def test_errors_of_readings_are_as_large_as_the_covariance_says(lens):
    errors, gear = MeasuringErrors(lens=lens), made()
    true = observed(gear, errors).value
    squares = []
    for seed in range(16):
        seen = observed(gear, errors, seed)
        # Offsets that a reading leaves open get a variance so large that they do not count.
        free = seen.nuisance[:, seen.seen]
        whole = seen.covariance() + 1e8 * free.T @ free
        off = (seen.value - true)[seen.seen]
        squares.append(float(off @ np.linalg.solve(whole, off)))
    n = len(off) - 2
    # Mean of 16 chi-squares of n: standard deviation sqrt(2 n / 16). A few stated uncertainties
    # count what is shared more than once, so the errors may be smaller than stated, not larger.
    assert np.mean(squares) < n + 4 * np.sqrt(2 * n / 16)
    # Floor ratio and tips have allowances for gears as they are, which nothing was drawn from.
    assert np.mean(squares) > 0.8 * (n - 3)


def test_edge_noise_and_camera_are_told_apart_again():
    errors = MeasuringErrors(flank_um=1.7, lens=1.0)
    seen = observed(made(), errors, seed=1)
    assert seen.flank_noise == pytest.approx(1.7, rel=ROUNDING)
    flanks = seen.modes[:, : 2 * 24]
    # Lean and stretch of an unmeasured lens move flanks of a 24 mm wheel by micrometres.
    assert np.abs(flanks).max() > 3


def test_what_neighbours_do_not_differ_by_is_shared_by_those_that_face_alike():
    """Flanks stated to 8 µm, moved by light as they face, that err by 0.5 each."""
    errors = MeasuringErrors(flank_um=8.0, lens=0.05)
    seen = observed(made(), errors)
    facing = seen.angle + OUT * np.radians(70)
    rng = np.random.default_rng(4)
    place = OUT * 6 * np.cos(facing - 1) + 0.5 * rng.standard_normal((24, 2))
    own, alike = shared_by_neighbours(seen.design, seen.angle, place, np.full((24, 2), 8.0))
    # Twenty-four teeth tell the scatter to a fifth of itself.
    assert 0.5 < np.median(own) < 1.5
    # Together they are as large as they were stated, and light's part is well within them.
    whole = own.ravel() ** 2 + (alike[:, :48] ** 2).sum(axis=0)
    np.testing.assert_allclose(whole, 64.0, rtol=0.01)
    covariance = alike[:, :48].T @ alike[:, :48] + np.diag(own.ravel() ** 2)
    assert place.ravel() @ np.linalg.solve(covariance, place.ravel()) < 48
    # A step of all flanks behind one gap is no such thing.
    step = np.where(np.arange(24) < 9, 12.0, 0.0)[:, None] * np.ones(2)
    assert step.ravel() @ np.linalg.solve(covariance, step.ravel()) > 100


def test_noise_that_neighbours_show_is_each_flank_s_own():
    noise = 3.0 * np.random.default_rng(5).standard_normal((24, 2))
    seen = observed(made(), MeasuringErrors(), seed=1)
    own, alike = shared_by_neighbours(seen.design, seen.angle, noise, np.full((24, 2), 3.0))
    assert (own == 3.0).all()
    assert len(alike) == 0


def test_an_error_of_all_edges_is_shared_by_thickness_floor_and_tip():
    seen = observed(made(), MeasuringErrors(edge_um=2.0, scale=0.0, radius_um=0.01), seed=1)
    mode = seen.modes[0]
    thicker, root, tip = shared(mode, "thickness", "root", "tip")
    assert thicker == pytest.approx(2 * 2.0 / cos(radians(20)), rel=ROUNDING)
    assert (root, tip) == pytest.approx((2.0, 2.0), rel=ROUNDING)


def test_a_scale_error_is_shared_by_diameters_and_slopes():
    seen = observed(made(), MeasuringErrors(edge_um=0.01, scale=1e-3, radius_um=0.01))
    tip, thickness = shared(seen.modes[1], "tip", "thickness")
    assert tip == pytest.approx(13.0, rel=ROUNDING)
    assert thickness == pytest.approx(2 * tan(radians(20)) * 12.0, rel=ROUNDING)


def test_a_bore_is_as_sure_as_the_lens_and_the_flanks_do_not_explain():
    reading = stated_reading(made(), QUIET, None)
    summary = reading.summary.model_copy(update={"u_eccentricity_um": 5.0})
    design = design_of(reading)
    axis = eccentric_shapes(design, observed(made()).angle)
    # A lens that moves the teeth's axis by 3 um one way: 5, 4 and 3.
    found = pattern_uncertainty._bore_doubt(
        reading.model_copy(update={"summary": summary}), axis, np.full((24, 2), 1e-6), -3 * axis[:1]
    )
    assert found == pytest.approx(4.0, rel=1e-3)


def test_without_a_bore_the_axis_is_left_open():
    seen = observed(made(eccentricity_um=30), bore=False)
    assert not seen.bore
    assert len(seen.nuisance) == 4


def test_unseen_flanks_are_left_out():
    reading = stated_reading(made(), QUIET, None)
    hidden = reading.teeth[5].left.model_copy(
        update={"cumulative_pitch_um": None, "u_cumulative_pitch_um": None, "position_deg": None}
    )
    teeth = list(reading.teeth)
    teeth[5] = teeth[5].model_copy(update={"left": hidden})
    seen = observe(reading.model_copy(update={"teeth": tuple(teeth)})).seen
    assert not seen[10]
    assert seen[:48].sum() == 47


def test_flanks_that_something_lies_on_tell_no_pattern():
    reading = stated_reading(made(), QUIET, None)
    dirty = reading.teeth[5].left.model_copy(
        update={"status": "obstructed", "cumulative_pitch_um": 200.0}
    )
    teeth = list(reading.teeth)
    teeth[5] = teeth[5].model_copy(update={"left": dirty})
    seen = observe(reading.model_copy(update={"teeth": tuple(teeth)})).seen
    assert not seen[10]
    assert seen[:48].sum() == 47


def test_diameters_that_the_module_set_are_no_evidence():
    reading = stated_reading(made(), QUIET, None)
    notice = {"code": "scale_from_module", "message": "", "teeth": ()}
    reading = type(reading).model_validate(reading.model_dump() | {"warnings": (notice,)})
    seen = observe(reading).seen
    assert not shared(seen, "thickness", "root", "tip").any()
    assert shared(seen, "slope_left", "floor").all()


def test_a_reading_without_flanks_is_refused():
    with pytest.raises(UseError, match="only 0 flanks have a pitch figure, a pattern needs 8"):
        observe(nothing_seen())


# --- waves ---------------------------------------------------------------------------------------


def test_a_drive_wave_is_found_alike_on_both_sides():
    gear = made(periodic=({"per_turn": 3, "amplitude_um": 6.0, "phase_deg": 50},))
    waves = harmonics(observed(gear, MeasuringErrors(lens=0.05), seed=3))
    found = [wave for wave in waves if wave.found]
    assert [wave.per_turn for wave in found] == [3]
    for amplitude, u in zip(found[0].amplitude_um, found[0].u_amplitude_um, strict=True):
        assert amplitude == pytest.approx(6.0, abs=3 * u)
    # Both flanks of a gap move together, and stand half a pitch less a quarter apart.
    assert abs(found[0].apart_deg) < 3 * 360 / 24 / 2 + 10


def test_sides_of_an_eccentric_gear_are_twice_the_pressure_angle_apart():
    waves = harmonics(observed(made(eccentricity_um=20)))
    assert waves[0].found
    # To second order in an eccentricity of a six-hundredth of the radius.
    assert abs(waves[0].apart_deg) == pytest.approx(40, abs=0.01)
    assert waves[0].amplitude_um == pytest.approx((20 / cos(radians(20)),) * 2, rel=1e-4)


def test_a_wave_twice_a_turn_under_an_unmeasured_lens_is_mostly_the_cameras():
    waves = harmonics(observed(made(), MeasuringErrors(flank_um=0.3, lens=1.0), seed=1))
    assert waves[1].camera > 0.8
    assert waves[4].camera < 0.2


def test_noise_alone_rarely_makes_a_wave():
    gear = made()
    found = [
        any(w.found for w in harmonics(observed(gear, MeasuringErrors(), seed), 5))
        for seed in range(25)
    ]
    # 5 % by design; 6 or more of 25 come with a chance of one in a thousand.
    assert sum(found) < 6
