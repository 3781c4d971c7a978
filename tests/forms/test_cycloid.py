"""Cycloidal and straight-sided flanks as curves: rolled circles, arcs, lines, pins, roundings."""

from math import cos, pi, sin

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.clock_wheel import CycloidalWheel, addendum_sizes
from cogloupe.forms.cycloid import CycloidalForm, Epicycloid, RoundTop
from cogloupe.forms.rack import Gear, gear_outline
from cogloupe.forms.straight import StraightForm, StraightWheel
from cogloupe_calibration.errors import UseError

from ..helpers.tolerances import ROUNDING, SOLVED

FORMS = {
    "wheel": CycloidalForm(Epicycloid(30.0, 2.0)),
    "few": CycloidalForm(Epicycloid(5.0, 8.0)),
    "leaf": CycloidalForm(RoundTop(4.0, 0.525)),
}


def clock_wheel(teeth=60, mate=8, fillet=0.2, thickness=pi / 2):
    form = CycloidalForm(Epicycloid(teeth / 2, mate / 4))
    return CycloidalWheel(
        teeth=teeth,
        module_mm=1.0,
        form=form,
        thickness_mm=thickness,
        root_radius=teeth / 2 - 1.57,
        tip_radius=teeth / 2 + 1.2,
        fillet_mm=fillet,
    )


def above(form, points=200):
    """Radii over the addendum, clear of the pitch point, where the curve bends without limit."""
    return np.linspace(form.pitch_radius * 1.001, form.end, points)


@pytest.mark.parametrize(("pitch", "rolling"), [(30.0, 2.0), (6.0, 18.0), (12.0, 1.5)])
def test_an_epicycloid_is_the_path_of_a_point_on_a_rolling_circle(pitch, rolling):
    turn = np.linspace(0, 0.6 * pi * rolling / pitch, 50)
    across, ratio = pitch + rolling, (pitch + rolling) / rolling
    x = across * np.cos(turn) - rolling * np.cos(ratio * turn)
    y = across * np.sin(turn) - rolling * np.sin(ratio * turn)
    curve = Epicycloid(pitch, rolling)
    # Radius to angle loses half the digits at the pitch point, where it starts square.
    off = curve.turn(np.hypot(x, y)) - np.unwrap(np.arctan2(y, x))
    np.testing.assert_allclose(off, 0, atol=1e-9)


def test_a_round_top_lies_on_its_circle():
    curve = RoundTop(4.0, 0.525)
    radius = np.linspace(4.0, 4.4, 30)
    turn = curve.turn(radius)
    along, beside = radius * np.cos(turn), radius * np.sin(turn)
    np.testing.assert_allclose(np.hypot(along - 4.0, beside - 0.525), 0.525, atol=ROUNDING)


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
def test_arm_and_length_are_those_of_the_curve(form):
    radius = above(form, 4001)
    slope = np.gradient(form.turn(radius), radius)
    lean = np.arctan(radius * slope)
    # Central differences of a step h are off by h^2 / 6 of the third derivative: under 1e-4.
    np.testing.assert_allclose(form.arm(radius)[9:-9], (radius * np.cos(lean))[9:-9], rtol=1e-4)
    run = np.trapezoid(np.hypot(1, radius * slope), radius)
    # Trapezia of 4,000 steps are off by the square of one.
    assert form.along(radius[-1]) - form.along(radius[0]) == pytest.approx(run, rel=1e-7)


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
def test_below_the_pitch_circle_the_flank_is_radial(form):
    radius = form.pitch_radius * np.array([0.8, 0.95, 1.0])
    np.testing.assert_array_equal(form.turn(radius), 0.0)
    np.testing.assert_allclose(form.arm(radius), radius, rtol=ROUNDING)
    np.testing.assert_allclose(np.diff(form.along(radius)), np.diff(radius), atol=ROUNDING)


def test_half_the_mates_pitch_radius_drives_a_radial_flank_evenly():
    # The reason for the trade's choice: wheel of 60, pinion of 8, line of centres along x.
    wheel, mate, centres = 30.0, 4.0, 34.0
    form = CycloidalForm(Epicycloid(wheel, mate / 2))
    radius = np.linspace(wheel, wheel + 1.2, 40001)
    for turned in np.radians([0.5, 2.0, 4.0]):
        # The flank stands turned past the line of centres and falls back towards its tooth.
        angle = turned - form.turn(radius)
        x, y = radius * np.cos(angle) - centres, radius * np.sin(angle)
        facing = pi - turned * wheel / mate
        # Distance of the curve from the leaf's radial line, which it touches and never crosses.
        off = -x * sin(facing) + y * cos(facing)
        inside = np.hypot(x, y) < mate
        # The nearest of 40,001 points lies 1.5e-5 along the curve from where it touches, and the
        # square of that off the line.
        assert np.abs(off[inside]).min() < SOLVED
        assert (off[inside] > -1e-9).all() or (off[inside] < 1e-9).all()


def test_blur_sees_a_bounded_bend_at_the_pitch_point():
    form = FORMS["wheel"]
    # Over a reach s the tangent turns by the curve's own 2 sqrt-like rise; far from there the mean
    # is the curvature of an epicycloid, (R + 2 p) / (4 p (R + p) sin(roll / 2)).
    assert 0 < form.bend(30.0, 1, 0.05) < 1 / 0.05
    roll = form.addendum.roll(np.array(31.0))
    own = 34 / (4 * 2 * 32 * np.sin(roll / 2))
    # The mean over a reach s differs from the middle by s^2 / 6 of its second derivative: 1e-5.
    assert form.bend(31.0, 1, 0.01) == pytest.approx(own, rel=1e-4)
    assert form.bend(29.0, 1, 0.05) == 0


@settings(max_examples=25, deadline=None)
@given(teeth=st.integers(20, 120), mate=st.integers(6, 16), pin=st.floats(1.6, 1.8))
def test_a_seated_pin_touches_both_flanks_of_the_outline(teeth, mate, pin):
    wheel = clock_wheel(teeth, mate)
    half = pi / teeth - wheel.half_angles(wheel.reference_radius)[1]
    seat, _ = wheel.flank.pin_radius(half[None], wheel.reference_radius, pin)
    # Tooth 1 stands on the axis x = 0; the gap after it is half a pitch further.
    middle = -pi / 2 + pi / teeth
    centre = shapely.Point(seat[0] * cos(middle), seat[0] * sin(middle))
    outline = shapely.LinearRing(gear_outline(wheel, flank_points=1500))
    # Chords of 1/1500 of a flank of 2.5 modules bent at most at 1 / 0.1: 4e-5 modules.
    assert outline.distance(centre) == pytest.approx(pin / 2, abs=1e-4)


def test_a_wider_gap_lets_the_pin_sink_by_its_half_growth_over_the_tangent():
    form, half = FORMS["wheel"], np.array([pi / 120])
    seat, lean = form.pin_radius(half, 30.0, 1.728)
    lower, _ = form.pin_radius(half + 1e-6, 30.0, 1.728)
    # First order in a change of 1e-6 rad in 0.026.
    assert (seat - lower)[0] / 1e-6 == pytest.approx(seat[0] / np.tan(lean[0]), rel=1e-3)


def test_a_pin_that_finds_no_seat_has_none():
    # Too large for the round tops to hold, and so small that it drops through.
    seat, _ = FORMS["leaf"].pin_radius(np.array([0.001, 1.2]), 4.0, 3.0)
    assert np.isnan(seat).all()


@pytest.mark.parametrize("fillet", [0.0, 0.1, 0.25])
def test_the_outline_is_whole_and_its_roundings_touch_flank_and_floor(fillet):
    wheel = clock_wheel(30, 7, fillet)
    outline = gear_outline(wheel, flank_points=400)
    polygon = shapely.Polygon(outline)
    assert polygon.is_valid
    radius, angle = wheel.half_gaps(50, 400)
    assert radius[0] == pytest.approx(wheel.root_radius, abs=ROUNDING)
    assert radius[-1] == wheel.tip_radius
    np.testing.assert_array_equal(angle[0], angle[1])
    if fillet:
        # The arc starts level with the floor and ends along the radius.
        x, y = radius * np.sin(angle[0]), radius * np.cos(angle[0])
        step = np.arctan2(np.diff(y), np.diff(x)) + angle[0][:-1]
        # The arc's 400 points turn by pi / 2 together: half a step is 0.002.
        assert step[0] == pytest.approx(0, abs=0.004)
        assert step[398] == pytest.approx(pi / 2, abs=0.01)


def test_a_rounding_that_does_not_fit_is_refused():
    with pytest.raises(UseError, match="does not fit the floor"):
        clock_wheel(30, 7, 0.9).half_gaps()


def test_flanks_that_meet_below_the_tip_end_in_a_ridge():
    wheel = clock_wheel(30, 6)
    taller = CycloidalWheel(
        teeth=30,
        module_mm=1.0,
        form=wheel.form,
        thickness_mm=pi / 2,
        root_radius=13.4,
        tip_radius=17.0,
    )
    radius, angle = taller.half_gaps()
    assert radius[-1] == pytest.approx(taller.ridge)
    # The ridge is found to 1e-5 of the radius.
    assert angle[0][-1] == pytest.approx(pi / 30, abs=2e-5)


@settings(max_examples=30, deadline=None)
@given(
    left=st.floats(-0.9, 2.0), right=st.floats(-0.9, 2.0), place=st.floats(-pi, pi),
    side=st.integers(0, 1),
)  # fmt: skip
def test_a_straight_flank_is_a_straight_line(left, right, place, side):
    form = StraightForm((left, right))
    radius = np.linspace(8.0, 10.0, 20)
    angle = place + (form.turn(radius, side) if side == 0 else -form.turn(radius, side))
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    ends = np.array([x[-1] - x[0], y[-1] - y[0]])
    off = (x - x[0]) * ends[1] - (y - y[0]) * ends[0]
    assert np.abs(off).max() < ROUNDING
    passing = abs(x[0] * ends[1] - y[0] * ends[0]) / np.hypot(*ends)
    assert passing == pytest.approx(abs((left, right)[side]), abs=ROUNDING)


def test_a_found_tilt_gives_back_the_form_it_was_found_against():
    true, guess, radius = StraightForm((3.0, -0.5)), StraightForm((2.0, 0.0)), 9.0
    step = np.array([radius - 1e-4, radius + 1e-4])
    tilt = [
        np.diff((guess.turn(step, s) - true.turn(step, s)) * guess.arm(radius, s))[0] / 2e-4
        for s in (0, 1)
    ]
    # A tilt is told on one circle: exact there, where the lines are one and the same.
    found = guess.tilted(radius, np.array(tilt)).passing
    np.testing.assert_allclose(found, true.passing, atol=SOLVED)


def test_a_straight_wheel_has_the_thickness_it_was_given():
    wheel = StraightWheel(
        teeth=20,
        module_mm=1.0,
        form=StraightForm((2.0, 0.0)),
        thickness_mm=1.3,
        root_radius=9.2,
        tip_radius=10.8,
    )
    outline = gear_outline(wheel, flank_points=50)
    assert shapely.Polygon(outline).is_valid
    both = wheel.half_angles(10.0)
    assert both.sum() * 10.0 == pytest.approx(1.3)
    assert wheel.half_angles(10.8)[0] < wheel.half_angles(10.8)[1]


@pytest.mark.parametrize(
    "wheel",
    [
        clock_wheel(),
        StraightWheel(
            teeth=20,
            module_mm=1.0,
            form=StraightForm((2.0, 0.0)),
            thickness_mm=1.3,
            root_radius=9.2,
            tip_radius=10.8,
        ),
        Gear(20, 1.0, basic_rack("iso53-a", 1.0), 0.1),
    ],
)
def test_another_unit_changes_lengths_and_no_angle(wheel):
    other = wheel.scaled(25.0)
    (radius, angle), (large, same) = wheel.half_gaps(20, 20), other.half_gaps(20, 20)
    np.testing.assert_allclose(large, radius * 25.0, rtol=ROUNDING)
    np.testing.assert_allclose(same, angle, atol=ROUNDING)
    at = np.array([wheel.reference_radius, wheel.flank_end if wheel.flank_end < 99 else 10.5])
    np.testing.assert_allclose(
        other.flank.arm(at * 25.0), wheel.flank.arm(at) * 25.0, rtol=ROUNDING
    )


def test_what_made_the_addendum_is_said_as_it_is_stated():
    assert addendum_sizes(clock_wheel(60, 8)) == (4.0, None)
    leaf = CycloidalWheel(
        teeth=8,
        module_mm=1.0,
        form=FORMS["leaf"],
        thickness_mm=1.05,
        root_radius=2.4,
        tip_radius=4.5,
    )
    assert addendum_sizes(leaf) == (None, 0.525)
    assert addendum_sizes(Gear(20, 1.0, basic_rack("iso53-a", 1.0))) == (None, None)
