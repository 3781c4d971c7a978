"""Dividing by whole pulses and steps, against counting by hand and against a counting loop."""

from fractions import Fraction
from itertools import pairwise
from math import floor, pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cogloupe.planning.dividing_plates import PlateSetting, plate_settings
from cogloupe.planning.indexing import STEP_RULES, Division, DriveTrain, undivided

from ..helpers.polygon_gauges import reference_facts
from ..helpers.tolerances import ROUNDING, SOLVED

FACT = reference_facts("rack_facts")["hobbing_indexing_21_teeth"]
BENCH = DriveTrain(Fraction(2400), 600)
DIVIDER = DriveTrain(Fraction(2400))

trains = st.builds(
    DriveTrain,
    st.integers(200, 4000).map(Fraction),
    st.integers(50, 4000),
    st.integers(1, 3),
)


def counting_controller(train, teeth, rule):
    """Steps at each tooth as an integer accumulator makes them, pulse by pulse.

    Each pulse adds the steps that one turn of the work takes; a step is made, and the pulses of
    one turn of the work taken off, as often as that many have come together.
    """
    add = int(train.steps_per_turn) * train.hob_starts
    full = train.pulses_per_hob_turn * teeth
    held = full if rule == "nearest" else 0  # half a step, once both are doubled
    add, full = 2 * add, 2 * full
    steps, made = 0, [0]
    needed = [k * train.pulses_per_hob_turn // train.hob_starts for k in range(teeth + 1)]
    for pulse in range(1, needed[-1] + 1):
        held += add
        while held >= full:
            held -= full
            steps += 1
        made.extend(steps for _ in range(needed.count(pulse)))
    return tuple(made)


def test_common_hobbing_set_up_steps_once_in_five_and_a_quarter_pulses():
    train = DriveTrain(
        Fraction(FACT["motor_steps_per_work_turn"]), FACT["encoder_pulses_per_hob_turn"]
    )
    assert Division(train, 21).pulses_per_step == Fraction(21, 4) == FACT["pulses_per_step"]
    assert Division(train, 21).steps_per_tooth == Fraction(800, 7)


@pytest.mark.parametrize(
    ("rule", "pattern"),
    # Steps are due after 5.25, 10.5, 15.75 and 21 pulses; or at halves of 5.25 before those.
    [("accumulator", (6, 5, 5, 5)), ("nearest", (5, 5, 6, 5))],
)
def test_pattern_of_whole_pulses_is_as_counted_by_hand(rule, pattern):
    assert Division(BENCH, 21, rule).pulse_pattern == pattern


@given(st.integers(1, 400), st.integers(1, 200), st.sampled_from(["accumulator", "nearest"]))
def test_pattern_uses_up_its_pulses_in_unlike_whole_numbers_at_most_one_apart(num, den, rule):
    division = Division(DriveTrain(Fraction(den), num), 1, rule)
    ratio, pattern = division.kept, division.pulse_pattern
    assert ratio == Fraction(num, den)
    assert sum(pattern) == ratio.numerator
    assert len(pattern) == ratio.denominator
    assert max(pattern) - min(pattern) <= 1


@pytest.mark.parametrize("rule", ["accumulator", "nearest"])
@pytest.mark.parametrize(
    ("train", "teeth"),
    [
        (BENCH, 21),
        (DriveTrain(Fraction(2400), 600, 2), 21),
        (DriveTrain(Fraction(800), 37, 3), 17),
        (DriveTrain(Fraction(3200), 100), 13),  # more steps than pulses
    ],
)
def test_steps_at_teeth_are_those_of_an_integer_accumulator(train, teeth, rule):
    assert Division(train, teeth, rule).steps_made == counting_controller(train, teeth, rule)


def test_one_rounded_count_of_pulses_cuts_twenty_teeth_where_21_were_asked_for():
    # 5 pulses instead of 5.25: 600 / 5 = 120 steps a hob turn, and 2400 / 120 = 20.
    assert Division(BENCH, 21, "fixed").kept == 5
    assert Division(BENCH, 21, "fixed").teeth_cut == 20
    assert Division(BENCH, 21, "fixed").drift_steps == 120
    assert not Division(BENCH, 21, "fixed").closes


def test_one_rounded_count_of_steps_leaves_the_rest_at_the_closing_tooth():
    # 2400 / 21 = 114.29, so 21 x 114 = 2394: six steps short at the end.
    assert Division(DIVIDER, 21, "fixed").drift_steps == -6
    arc = DIVIDER.step_arc_um(10.0)
    single = Division(DIVIDER, 21, "fixed").spacing(10.0).single_um
    np.testing.assert_allclose(single[1:], -2 / 7 * arc, rtol=ROUNDING)
    assert single[0] == pytest.approx((6 - 2 / 7) * arc, rel=ROUNDING)


@given(trains, st.integers(5, 150), st.sampled_from(["accumulator", "nearest"]))
def test_carried_remainder_never_drifts(train, teeth, rule):
    assert Division(train, teeth, rule).drift_steps == 0
    assert Division(train, teeth, rule).teeth_cut == teeth


@given(trains, st.integers(5, 150), st.sampled_from(STEP_RULES))
def test_pitch_errors_of_a_closed_gear_sum_to_zero(train, teeth, rule):
    found = Division(train, teeth, rule).spacing(20.0)
    # Of floating sums of arcs below a whole turn, 63 mm.
    assert abs(found.single_um.sum()) < 1e-6
    np.testing.assert_allclose(
        found.cumulative_um, np.cumsum(found.single_um) - found.single_um[0], atol=SOLVED
    )


@given(trains, st.integers(5, 150))
def test_carried_remainder_keeps_a_tooth_within_a_step_and_a_pulse(train, teeth):
    found = Division(train, teeth, "accumulator").spacing(20.0)
    bound = train.step_arc_um(20.0) + train.pulse_arc_um(teeth, 20.0)
    assert found.cumulative_um.max() < 1e-6
    assert found.cumulative_um.min() > -bound * (1 + 1e-9)


@given(st.integers(200, 4000), st.integers(5, 150), st.fractions(0, 1))
def test_largest_pitch_error_is_the_same_wherever_the_count_starts(steps, teeth, phase):
    due = Fraction(steps, teeth)
    places = [floor(k * due + phase) for k in range(teeth + 1)]
    by_count = max(abs(b - a - due) for a, b in pairwise(places))
    train = DriveTrain(Fraction(steps))
    assert Division(train, teeth, "accumulator").largest_single_steps == by_count


def test_arcs_of_step_and_pulse_share_out_the_pitch_circle():
    assert BENCH.step_arc_um(11.1125) == pytest.approx(1000 * pi * 11.1125 / 2400)
    assert BENCH.pulse_arc_um(21, 11.1125) == pytest.approx(1000 * pi * 11.1125 / 12600)


def test_spacing_of_the_21_tooth_wheel_is_five_sevenths_of_a_step():
    # 114 or 115 steps where 114 2/7 are due.
    found = Division(BENCH, 21, "accumulator").spacing(11.1125)
    arc = BENCH.step_arc_um(11.1125)
    assert set(np.diff(Division(BENCH, 21).steps_made)) == {114, 115}
    assert found.largest_single_um == pytest.approx(5 / 7 * arc, rel=ROUNDING)
    assert found.total_um == pytest.approx(6 / 7 * arc, rel=ROUNDING)


def test_counts_that_divide_2400_are_the_only_exact_ones():
    not_exact = {d.teeth for d in undivided(BENCH, range(8, 121), "accumulator")}
    exact = {z for z in range(8, 121) if 2400 % z == 0}
    assert not_exact == set(range(8, 121)) - exact


def test_repeated_whole_pulses_serve_only_where_the_ratio_is_whole():
    # Pulses to a step are z / 4.
    closing = {z for z in range(8, 121) if Division(BENCH, z, "fixed").closes}
    assert closing == {z for z in range(8, 121) if z % 4 == 0}


@pytest.mark.parametrize(
    ("train", "teeth", "same"),
    [
        (BENCH, 21, True),
        (DriveTrain(Fraction(2400), 500, 3), 20, False),  # 3333 1/3 pulses a turn
        (DriveTrain(Fraction(7400, 3), 600), 21, False),  # steps a turn no whole number
        (DriveTrain(Fraction(7400, 3)), 21, False),
    ],
)
def test_turns_repeat_only_with_whole_pulses_and_steps(train, teeth, same):
    assert Division(train, teeth).repeats is same


def test_rates_at_a_spindle_speed():
    found = Division(BENCH, 21, "accumulator").rates(120.0)
    # 600 pulses x 2 turns a second; a step in 5.25 of them on average, in 5 at the shortest.
    assert found.pulse_hz == pytest.approx(1200)
    assert found.step_hz == pytest.approx(1200 / 5.25)
    assert found.peak_step_hz == pytest.approx(240)
    assert found.work_rpm == pytest.approx(120 / 21)


def test_steps_falling_due_in_one_pulse_have_no_finite_peak_rate():
    assert Division(DriveTrain(Fraction(3200), 100), 13, "accumulator").rates(
        60.0
    ).peak_step_hz == float("inf")


@pytest.mark.parametrize("ask", [lambda d: d.pulses_per_step, lambda d: d.rates(60.0)])
def test_pulses_are_not_invented_without_an_encoder(ask):
    with pytest.raises(ValueError, match="without an encoder"):
        ask(Division(DIVIDER, 21, "nearest"))


def test_plate_settings_are_those_of_the_dividing_head():
    # 40:1, 21 teeth: one turn and 19 holes of 21; 13 teeth: 3 turns and 3 of 39 (common practice).
    assert plate_settings(Fraction(40), 21, (15, 20, 21)) == (PlateSetting(21, 1, 19),)
    assert plate_settings(Fraction(40), 13, (38, 39)) == (PlateSetting(39, 3, 3),)
    assert plate_settings(Fraction(40), 127, (38, 39, 49)) == ()


@given(st.integers(20, 120), st.integers(5, 200), st.integers(10, 100))
def test_plate_setting_brings_the_work_round_once(worm, teeth, circle):
    for found in plate_settings(Fraction(worm), teeth, (circle,)):
        assert teeth * (found.turns * circle + found.holes) == worm * circle
        assert found.holes < circle
