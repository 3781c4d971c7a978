"""The involute function against tables, against its integral, and against the unwound string."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import quad

from cogloupe.forms.involute import angle_at_radius, inverse_involute, involute, roll_length

from ..helpers.polygon_gauges import reference_facts, reference_rows
from ..helpers.tolerances import ROUNDING

TABLE = [
    pytest.param(np.radians(float(row["angle_deg"])), float(row["involute"]), id=row["angle_deg"])
    for row in reference_rows("involute_function")
]
# The table prints ten places.
HALF_LAST_PLACE = 0.5e-10

angles = st.floats(1e-3, np.radians(80))


@pytest.mark.parametrize(("angle", "value"), TABLE)
def test_involute_matches_the_table(angle, value):
    assert abs(involute(angle) - value) <= HALF_LAST_PLACE


@pytest.mark.parametrize(("angle", "value"), TABLE)
def test_table_is_the_integral_of_the_squared_tangent(angle, value):
    # d(inv a)/da = tan^2 a: a way to the table that shares nothing with tan a - a, kept because
    # some published pages print wrong values.
    integral, _ = quad(lambda a: np.tan(a) ** 2, 0, angle, epsabs=1e-14)
    assert abs(integral - value) <= HALF_LAST_PLACE


@pytest.mark.parametrize(("angle", "value"), TABLE)
def test_inverse_matches_the_table(angle, value):
    # A place of the table is worth 1 / tan^2 a in the angle.
    assert abs(inverse_involute(value) - angle) <= HALF_LAST_PLACE / np.tan(angle) ** 2


@given(angles)
def test_inverse_undoes_the_involute(angle):
    # tan a - a loses digits as a^3 / 3 shrinks beside a: the rounding of tan a, in the angle.
    lost = 4 * np.finfo(float).eps * np.tan(angle) / np.tan(angle) ** 2
    assert_allclose(inverse_involute(involute(angle)), angle, rtol=1e-14, atol=lost)


@given(st.floats(0, 5))
def test_involute_undoes_the_inverse(value):
    # Near zero the involute is the cube of its angle: three times the angle's rounding.
    assert_allclose(involute(inverse_involute(value)), value, rtol=ROUNDING, atol=1e-15)


def test_inverse_keeps_the_shape_and_zero():
    assert_allclose(inverse_involute([[0.0, involute(0.3)]]), [[0.0, 0.3]], rtol=ROUNDING)


def test_no_involute_below_zero():
    assert np.isnan(inverse_involute(-1e-6))


@given(base=st.floats(0.5, 100), unwound=st.floats(0.01, 2))
def test_unwound_string_end_lies_on_the_involute(base, unwound):
    """A taut string unwound from the base circle by an angle ends on the involute."""
    tangent = base * np.array([np.cos(unwound), np.sin(unwound)])
    end = tangent + base * unwound * np.array([np.sin(unwound), -np.cos(unwound)])
    radius = np.hypot(*end)
    # Rounding of arccos near the base circle grows as 1 / tan a.
    tolerance = 1e-14 / unwound
    assert_allclose(roll_length(base, radius), base * unwound, rtol=1e-10)
    assert_allclose(
        involute(angle_at_radius(base, radius)), np.arctan2(end[1], end[0]), atol=tolerance
    )


def test_inside_the_base_circle_the_involute_has_not_begun():
    assert angle_at_radius(1.0, 0.9) == 0
    assert roll_length(1.0, 0.9) == 0


@pytest.mark.parametrize(
    "example", ["working_pressure_angle_19_37", "working_pressure_angle_16_40"]
)
def test_working_pressure_angle_of_spread_centres(example):
    fact = reference_facts("gear_sizes")[example]
    near, far = fact.get("centre_distance_in", (1.0, fact.get("centre_distance_ratio")))
    base = near * np.cos(np.radians(fact["pressure_angle_deg"]))
    working = np.degrees(angle_at_radius(base, far))
    assert abs(working - fact["working_angle_deg"]) <= 0.5e-3  # printed to a thousandth
