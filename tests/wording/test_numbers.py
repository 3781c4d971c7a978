import pytest
from hypothesis import given
from hypothesis import strategies as st

from cogloupe.report.gear_name import gear_name, stated_in_dp
from cogloupe.wording.numbers import clock, length, resolved, rounded, tooth_list, with_uncertainty

from ..helpers.report_examples import example_gear


@pytest.mark.parametrize(
    ("value", "u", "number", "limit"),
    [
        (12.345, 1.05, "12.3", "2.1"),
        (12.345, 0.0123, "12.345", "0.025"),
        (1456.0, 61.5, "1460", "120"),
        (0.0004, 0.0498, "0.00", "0.10"),  # U 0.0996 rounds up to 0.10, not to 0.100
        (7.26, 4.98, "7", "10"),  # U 9.96 rounds up to 10, not to 10.0
        (0.25, 0.5, "0.3", "1.0"),  # a half goes away from zero
        (-0.04, 0.5, "0.0", "1.0"),  # no minus on a zero
        (-12.36, 0.5, "−12.4", "1.0"),
        (1234567.0, 40000.0, "1235000", "80000"),
    ],
)
def test_uncertainty_has_two_digits_and_the_figure_ends_at_the_same_place(value, u, number, limit):
    assert rounded(value, u) == (number, limit)


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e6))
def test_rounding_moves_a_figure_by_less_than_a_tenth_of_its_uncertainty(value, u):
    number, limit = rounded(value, u)
    # Two significant digits: the last place is at most U / 10, rounding half of it.
    assert float(limit) == pytest.approx(2 * u, rel=0.05)
    assert abs(float(number.replace("−", "-")) - value) <= 0.05 * 2 * u * 1.01 + 1e-9


@pytest.mark.parametrize(
    ("value", "u", "unit", "text"),
    [
        (12.34, 1.05, "µm", "12.3 ± 2.1 µm"),
        (2.0, 1.05, "µm", "not resolved (U = 2.1 µm)"),
        (-2.0, 1.05, "µm", "not resolved (U = 2.1 µm)"),
        (2.1, 1.05, "µm", "2.1 ± 2.1 µm"),  # as large as its U: resolved
        (20.123, 0.04, "°", "20.123 ± 0.080°"),
        (1.04, 0.01, "", "1.040 ± 0.020"),
        (None, 1.0, "µm", "not seen"),
        (None, None, "µm", "not seen"),
        (float("nan"), 1.0, "µm", "not seen"),
        (12.3456, None, "µm", "12.35 µm (U not known)"),
        (0.0, None, "µm", "0 µm (U not known)"),
        (0.0, 0.0, "µm", "0 µm"),  # set to zero, as the cumulative pitch of tooth 1 is
    ],
)
def test_figure_is_worded_with_its_uncertainty(value, u, unit, text):
    assert with_uncertainty(value, u, unit) == text


def test_plus_is_written_where_the_sign_matters():
    assert with_uncertainty(12.3, 0.5, "µm", signed=True) == "+12.3 ± 1.0 µm"
    assert with_uncertainty(-12.3, 0.5, "µm", signed=True) == "−12.3 ± 1.0 µm"


@pytest.mark.parametrize(
    ("value", "u", "expected"),
    [
        (2.0, 1.0, True),
        (1.99, 1.0, False),
        (-3.0, 1.0, True),
        (None, 1.0, False),
        (0.1, None, True),
    ],
)
def test_figure_is_resolved_from_its_expanded_uncertainty_on(value, u, expected):
    assert resolved(value, u) is expected


def test_lengths_of_diametral_pitch_gears_carry_thou_or_inches():
    # 1.016 mm = 40 thou and 11.43 mm = 0.45 in by definition of the inch.
    assert length(1.016, 0.0127, inches=True) == "1.016 ± 0.025 mm (40.0 ± 1.0 thou)"
    assert length(11.43, 0.0127, inches=True) == "11.430 ± 0.025 mm (0.4500 ± 0.0010 in)"
    assert length(1.016, 0.0127, inches=False) == "1.016 ± 0.025 mm"
    assert length(None, None, inches=True) == "not seen"
    assert length(0.01, 0.01, inches=True) == "not resolved (U = 0.020 mm)"


@pytest.mark.parametrize(
    ("module_mm", "name"),
    [
        (0.5, "module 0.5 mm"),
        (1.0, "module 1 mm"),
        (25.4 / 48, "48 DP"),
        (25.4 / 32, "32 DP"),
        (25.4 / 64, "64 DP"),
        (0.5293, "47.99 DP"),  # estimated from a picture, 0.02 % off
        (0.77, "module 0.77 mm"),  # neither
        (2.54, "10 DP"),
    ],
)
def test_gear_is_named_by_the_system_it_was_made_in(module_mm, name):
    gear = example_gear(21, module_mm)
    assert gear_name(gear) == f"21 teeth, {name}, 20°"
    assert stated_in_dp(gear) == ("DP" in name)


@pytest.mark.parametrize(
    ("angle", "text"),
    [
        (-90, "12 o'clock"),
        (0, "3 o'clock"),
        (90, "6 o'clock"),
        (180, "9 o'clock"),
        (-180, "9 o'clock"),
        (-30, "2 o'clock"),
        (-75, "half past 12"),
        (330, "2 o'clock"),
        (262, "half past 11"),
        (269, "12 o'clock"),
    ],
)
def test_direction_is_given_on_the_clock(angle, text):
    assert clock(angle) == text


@pytest.mark.parametrize(
    ("numbers", "text"),
    [((), ""), ((4,), "4"), ((1, 2), "1, 2"), ((1, 2, 3, 7, 9, 10, 11), "1–3, 7, 9–11")],
)
def test_runs_of_teeth_are_joined(numbers, text):
    assert tooth_list(numbers) == text
