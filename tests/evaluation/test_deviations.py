"""Deviation definitions on hand-made angle lists, worked by hand beside each."""

from math import acos, cos, pi, radians, sin

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cogloupe.evaluation.deviations import (
    cumulative_pitch,
    eccentricity,
    first_harmonic,
    first_tooth,
    gap_width,
    pin_radius,
    single_pitch,
)
from cogloupe.fits.teeth_axis import thickness
from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.involute import involute
from cogloupe.forms.rack import Gear
from cogloupe.numerics.angles import wrapped

from ..helpers.polygon_gauges import reference_facts
from ..helpers.tolerances import ROUNDING

NAN = float("nan")
# Four teeth, 90 degrees apart, radius 1000 um: a degree is 17.4533 um. Left flanks lie at
# -100, -9, 80, 172; right flanks at -80, 10, 99, 190.
#   left pitches   1: -100 - 172 + 360 = 88 (-2)   2: 91 (+1)   3: 89 (-1)   4: 92 (+2)
#   right pitches  1: -80 - 190 + 360 = 90 (0)     2: 90 (0)    3: 89 (-1)   4: 91 (+1)
FOUR = np.radians([[-100.0, -80], [-9, 10], [80, 99], [172, 190]])
SINGLE_DEG = [[-2, 0], [1, 0], [-1, -1], [2, 1]]
CUMULATIVE_DEG = [[0, 0], [1, 0], [0, -1], [2, 0]]
DEGREE = 1000 * pi / 180
# Angles go through a difference of numbers near pi, whose rounding is 4e-16; times 1000.
ROUNDING_OF_1000 = 1e-11


def test_single_pitch_is_the_step_from_the_tooth_before_less_the_ideal():
    np.testing.assert_allclose(
        single_pitch(FOUR, 1000.0), DEGREE * np.array(SINGLE_DEG), atol=ROUNDING_OF_1000
    )


def test_cumulative_pitch_is_the_running_sum_from_tooth_one():
    expected = DEGREE * np.array(CUMULATIVE_DEG)
    np.testing.assert_allclose(cumulative_pitch(FOUR, 1000.0), expected, atol=ROUNDING_OF_1000)


def test_thickness_and_gap_are_arcs_between_the_right_flanks():
    # Teeth: 20, 19, 19, 18 degrees. Gaps: -80 to -9, 10 to 80, 99 to 172, 190 to 260.
    np.testing.assert_allclose(thickness(FOUR, 1000.0), DEGREE * np.array([20, 19, 19, 18]))
    np.testing.assert_allclose(gap_width(FOUR, 1000.0), DEGREE * np.array([71, 70, 73, 70]))


def test_one_long_pitch_shows_as_one_step_up_that_stays():
    # Tooth 3 of 5 and all after it stand 1 degree late: pitch 3 is long by 1, and the pitch that
    # closes the turn (tooth 1) is short by 1.
    angles = np.radians(np.array([0, 72, 145, 217, 289.0]))
    both = np.stack([angles, angles + 0.3], axis=1)
    np.testing.assert_allclose(
        single_pitch(both, 1000.0)[:, 0] / DEGREE, [-1, 0, 1, 0, 0], atol=ROUNDING_OF_1000
    )
    np.testing.assert_allclose(
        cumulative_pitch(both, 1000.0)[:, 1] / DEGREE, [0, 0, 1, 1, 1], atol=ROUNDING_OF_1000
    )


def test_a_flank_not_seen_costs_its_own_pitches_only():
    position = FOUR.copy()
    position[2, 0] = NAN
    expected_single = [[-2, 0], [1, 0], [NAN, -1], [NAN, 1]]
    expected_cumulative = [[0, 0], [1, 0], [NAN, -1], [2, 0]]
    np.testing.assert_allclose(
        single_pitch(position, 1000.0) / DEGREE, expected_single, atol=ROUNDING_OF_1000
    )
    np.testing.assert_allclose(
        cumulative_pitch(position, 1000.0) / DEGREE, expected_cumulative, atol=ROUNDING_OF_1000
    )
    assert np.isnan(thickness(position, 1.0)).tolist() == [False, False, True, False]
    assert np.isnan(gap_width(position, 1.0)).tolist() == [False, True, False, False]


def test_where_tooth_one_is_not_seen_the_sum_starts_at_the_first_that_is():
    position = FOUR.copy()
    position[0, 0] = NAN
    np.testing.assert_allclose(
        cumulative_pitch(position, 1000.0)[:, 0] / DEGREE, [NAN, 0, -1, 1], atol=ROUNDING_OF_1000
    )


def test_a_side_not_seen_at_all_stays_empty():
    position = np.column_stack([FOUR[:, 0], np.full(4, NAN)])
    for figure in (single_pitch, cumulative_pitch):
        assert np.isnan(figure(position, 1.0)[:, 1]).all()
        assert np.isfinite(figure(position, 1.0)[:, 0]).all()


POSITIONS = st.integers(5, 120).flatmap(
    lambda z: st.lists(st.floats(-0.4, 0.4), min_size=2 * z, max_size=2 * z).map(
        lambda shares: (
            2 * pi / z * (np.arange(z)[:, None] + np.array([-0.25, 0.25]))
            + 2 * pi / z * np.reshape(shares, (z, 2)) / 2
        )
    )
)


@given(POSITIONS)
def test_single_pitches_close_the_turn(position):
    # z differences of angles up to 2 pi, each rounded to 1e-15.
    assert np.abs(single_pitch(position, 1.0).sum(axis=0)).max() < 1e-12


@given(POSITIONS)
def test_teeth_and_gaps_fill_the_circle(position):
    whole = thickness(position, 1.0).sum() + gap_width(position, 1.0).sum()
    assert whole == pytest.approx(2 * pi, abs=ROUNDING)


@given(POSITIONS)
def test_cumulative_pitch_is_the_sum_of_single_pitches(position):
    single = single_pitch(position, 1.0)
    summed = np.cumsum(single, axis=0) - single[0]
    np.testing.assert_allclose(cumulative_pitch(position, 1.0), summed, atol=ROUNDING)


@given(POSITIONS, st.floats(-20, 20))
def test_turning_the_whole_gear_changes_no_deviation(position, turn):
    for figure in (single_pitch, cumulative_pitch, thickness, gap_width):
        np.testing.assert_allclose(
            figure(position + turn, 1.0), figure(position, 1.0), atol=ROUNDING
        )


@given(POSITIONS, st.integers(0, 200))
def test_renumbering_moves_the_figures_with_their_teeth(position, k):
    np.testing.assert_allclose(
        single_pitch(np.roll(position, -k, axis=0), 1.0),
        np.roll(single_pitch(position, 1.0), -k, axis=0),
        atol=ROUNDING,
    )


@given(POSITIONS)
def test_mirroring_swaps_the_flanks_and_keeps_a_long_pitch_long(position):
    # On the mirrored picture tooth j is tooth z + 1 - j, its left flank the former right one. Its
    # pitch reaches back to tooth j - 1, which was the tooth after.
    mirrored = -position[::-1, ::-1]
    back = np.roll(single_pitch(position, 1.0)[::-1, ::-1], 1, axis=0)
    np.testing.assert_allclose(single_pitch(mirrored, 1.0), back, atol=ROUNDING)


@pytest.mark.parametrize(
    ("centres_deg", "first"),
    [
        ((-90.0, 0, 90, 180), 0),  # exactly at twelve o'clock
        ((-91.0, -1, 89, 179), 1),  # a degree before: the next one clockwise
        ((-89.0, 1, 91, 181), 0),
        ((0.0, 90, 180, 270), 3),  # -90 written as 270
        ((181.0, 271, 1, 91), 1),
    ],
)
def test_tooth_one_is_the_first_at_or_after_twelve_o_clock(centres_deg, first):
    assert first_tooth(np.radians(centres_deg), 1e-6) == first


def test_what_the_picture_cannot_tell_does_not_decide_the_numbering():
    centres = np.radians([-90 - 1e-4, 0, 90, 180])
    assert first_tooth(centres, 1e-5) == 0  # 1e-4 degrees is 1.7e-6 rad
    assert first_tooth(centres, 1e-7) == 1


def test_first_tooth_passes_over_teeth_not_seen():
    assert first_tooth(np.array([NAN, 0.1, 1.7, 3.2]), 1e-6) == 1


def test_a_harmonic_is_found_with_its_direction_also_from_part_of_the_turn():
    angle = np.radians([0, 40, 95, 150, 200, 280, 330])
    values = 5 + 3 * np.cos(angle - radians(110))
    values[4] = NAN
    harmonic, leverage = first_harmonic(values, angle)
    assert abs(harmonic) == pytest.approx(3, abs=ROUNDING)
    assert np.degrees(np.angle(harmonic)) == pytest.approx(110, abs=ROUNDING)
    assert leverage > 2 / 7  # never better than all seven spread evenly


def test_evenly_spread_values_give_the_textbook_leverage():
    angle = np.arange(12) * pi / 6
    assert first_harmonic(np.cos(angle), angle)[1] == pytest.approx(2 / 12)


def test_three_values_make_no_harmonic():
    harmonic, leverage = first_harmonic(np.array([1.0, 2, 3, NAN]), np.arange(4.0))
    assert np.isnan(harmonic)
    assert np.isnan(leverage)


def test_a_pin_in_an_even_gap_sits_where_the_handbook_puts_it():
    # Over pins, m 1, z 20, pin 1.7: 22.2941 (handbook worked example, from memory).
    gear = Gear(20, 1.0, basic_rack("iso53-a", 1.0))
    half = gear.half_tooth_angle(10.0)
    centre = 2 * pi / 20 * np.arange(20)
    position = np.stack([centre - half, centre + half], axis=1)
    radius = pin_radius(position, gear.base_radius, 10.0, 1.7)
    # Half of the last place printed.
    np.testing.assert_allclose(2 * radius + 1.7, 22.2941, atol=5e-5)


def test_a_wider_gap_lets_the_pin_sink_by_half_its_width_over_tan():
    gear = Gear(24, 2.0, basic_rack("iso53-a", 2.0))
    half = gear.half_tooth_angle(24.0)
    centre = 2 * pi / 24 * np.arange(24)
    position = np.stack([centre - half, centre + half], axis=1)
    wider = position.copy()
    wider[3, 1] -= 0.001 / 24  # gap 4 wider by a micrometre, on its near side
    sunk = pin_radius(position, gear.base_radius, 24.0, 3.456)
    sunk = sunk - pin_radius(wider, gear.base_radius, 24.0, 3.456)
    at_pin = acos(gear.base_radius / pin_radius(position, gear.base_radius, 24.0, 3.456)[0])
    # dr = r_b dgap / (2 sin a_p); first order in a change of 4e-5 rad.
    expected = gear.base_radius * (0.001 / 24) / (2 * sin(at_pin))
    assert sunk[3] == pytest.approx(expected, rel=2e-4)
    assert np.delete(np.abs(sunk), 3).max() < ROUNDING


def test_an_eccentric_gear_shows_the_figures_of_the_reference():
    facts = reference_facts("cutting_errors")["eccentricity"]
    z, m, e = facts["teeth"], facts["module_mm"], facts["eccentricity_um"] / 1000
    gear = Gear(z, m, basic_rack("iso53-a", m))
    position = positions_about_offset_axis(gear, e)
    radius_um = 1000 * gear.reference_radius
    single, cumulative = single_pitch(position, radius_um), cumulative_pitch(position, radius_um)
    # The reference is printed to 0.001 um; which tooth stands where moves the extremes, so the
    # teeth lie as they do there: tooth 1 along the offset.
    assert np.ptp(cumulative, axis=0).max() == pytest.approx(
        facts["cumulative_pitch_total_um"], abs=0.02
    )
    assert np.abs(single).max() == pytest.approx(facts["single_pitch_max_um"], abs=0.001)
    assert 1000 * np.ptp(thickness(position, gear.reference_radius)) == pytest.approx(
        facts["tooth_thickness_range_um"], abs=0.001
    )


def test_a_pin_that_touches_on_the_measuring_circle_tells_the_eccentricity():
    gear, e = Gear(24, 2.0, basic_rack("iso53-a", 2.0)), 0.020
    position = positions_about_offset_axis(gear, e)
    # Touching there, the pressure angle at its centre is a + pi / 2z, and for every pin
    # inv a_p = inv a + pin / (d cos a) - pi / 2z.
    at_pin = radians(20) + pi / 48
    opened = involute(at_pin) - involute(radians(20)) + pi / 48
    pins = pin_radius(position, gear.base_radius, 24.0, opened * 48 * cos(radians(20)))
    vector, _ = eccentricity(pins, position[:, 1] + gap_width(position, 0.5))
    # What is left is of second order: e / r = 0.0008 of e.
    assert vector.real == pytest.approx(e, rel=1e-3)
    assert vector.imag == pytest.approx(0, abs=1e-3 * e)
    # The gaps nearest to the offset's line lie half a pitch from it.
    assert np.ptp(pins) == pytest.approx(2 * e * cos(pi / 24), rel=1e-3)


def positions_about_offset_axis(gear, e):
    """Angles on the reference circle about a datum, the gear's axis lying e along x from it."""
    z = gear.teeth
    centre = 2 * pi / z * np.arange(z)
    found = []
    for sign in (-1, 1):
        own = np.full(z, gear.reference_radius)
        for _ in range(30):
            angle = centre + sign * gear.half_tooth_angle(own)
            x, y = e + own * np.cos(angle), own * np.sin(angle)
            own = own + gear.reference_radius - np.hypot(x, y)
        found.append(np.arctan2(y, x))
    return np.unwrap(np.stack(found, axis=1), axis=0)


def test_wrapped_angles_lie_from_minus_pi_to_below_pi():
    np.testing.assert_allclose(
        wrapped(np.array([pi, -pi, 3 * pi, 0.5, 2 * pi + 0.5])), [-pi, -pi, -pi, 0.5, 0.5]
    )
