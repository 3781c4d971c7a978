"""Sizes taken off the generated outline with a polygon library, against handbook figures."""

from math import cos, degrees, pi, radians, sin, tan

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from cogloupe.forms.basic_racks import RACK_NAMES, basic_rack, rack_for_angle
from cogloupe.forms.rack import Gear, gear_outline, over_pins_size, pin_centre_radius, span_size

from ..helpers.polygon_gauges import (
    radius_of_equal_gap,
    reference_facts,
    reference_rows,
    size_over_pins,
    span_between_anvils,
    tooth_angles,
    tooth_thicknesses,
)

SIZES = reference_facts("gear_sizes")
RACK_FACTS = reference_facts("rack_facts")
ISO_A = basic_rack("iso53-a", 1.0)

# Of the size. With this many points a flank's sides stand 1e-7 of the size inside the curve.
SHARE = 1e-6
POINTS = 600


def fine_outline(gear, first_centre=-pi / 2, points=POINTS):
    return gear_outline(gear, first_centre, flank_points=points)


def measured_span(gear, teeth_spanned):
    # Anvils that reach half a module inside the reference circle clear floors and fillets.
    reach = gear.reference_radius - 0.5 * gear.module_mm
    return span_between_anvils(
        fine_outline(gear), 2 * pi / gear.teeth, -pi / 2, teeth_spanned, reach
    )


def measured_over_pins(gear, pin):
    gap = -pi / 2 + pi / gear.teeth
    innermost = gear.root_radius + 0.1 * gear.module_mm
    return size_over_pins(fine_outline(gear), gear.teeth, gap, pin, innermost)


def within(printed, half_last_place):
    return pytest.approx(printed, abs=half_last_place + SHARE * printed)


# --- span


@pytest.mark.parametrize("row", reference_rows("span_sizes"), ids=lambda row: row["teeth"])
def test_span_between_anvils_matches_the_table(row):
    gear = Gear(int(row["teeth"]), 1.0, ISO_A)
    size = float(row["size"])
    assert measured_span(gear, int(row["teeth_spanned"])) == within(size, 0.5e-5)
    # Half of the last place printed.
    assert span_size(gear, int(row["teeth_spanned"])) == pytest.approx(size, abs=0.5e-5)


def test_span_of_the_handbook_example():
    fact = SIZES["span"]
    gear = Gear(fact["teeth"], fact["module_mm"], ISO_A, fact["profile_shift"])
    assert measured_span(gear, fact["teeth_spanned"]) == within(fact["size_mm"], 0.5e-4)
    # Half of the last place printed.
    assert span_size(gear, fact["teeth_spanned"]) == pytest.approx(fact["size_mm"], abs=0.5e-4)


@pytest.mark.parametrize("turn", [-0.04, 0.03])
def test_anvils_may_roll_over_the_teeth_without_changing_the_span(turn):
    """Rocked a little, parallel anvils still touch the same two involutes."""
    gear = Gear(24, 1.0, ISO_A)
    rocked = span_between_anvils(fine_outline(gear, turn), pi / 12, 0.0, 3, 11.5)
    assert rocked == within(span_size(gear, 3), 0)


# --- over pins


@pytest.mark.parametrize("row", reference_rows("over_pins_sizes"), ids=lambda row: row["teeth"])
def test_size_over_seated_pins_matches_the_table(row):
    gear = Gear(int(row["teeth"]), 1.0, ISO_A)
    pin, size = SIZES["over_pins_table"]["pin"], float(row["size"])
    assert measured_over_pins(gear, pin) == within(size, 0.5e-5)
    # Half of the last place printed.
    assert over_pins_size(gear, pin) == pytest.approx(size, abs=0.5e-5)


def test_size_over_pins_of_the_handbook_example():
    fact = SIZES["over_pins"]
    gear = Gear(fact["teeth"], fact["module_mm"], ISO_A, fact["profile_shift"])
    assert measured_over_pins(gear, fact["pin_mm"]) == within(fact["size_mm"], 0.5e-4)
    # Half of the last place printed.
    assert over_pins_size(gear, fact["pin_mm"]) == pytest.approx(fact["size_mm"], abs=0.5e-4)


@pytest.mark.parametrize("shift", [-0.4, 0.5])
def test_size_over_pins_of_shifted_teeth(shift):
    gear = Gear(21, 25.4 / 48, rack_for_angle(14.5, 25.4 / 48, True), shift)
    pin = 1.728 * gear.module_mm
    assert measured_over_pins(gear, pin) == within(over_pins_size(gear, pin), 0)


def test_pins_are_seated_gap_by_gap():
    """Each gap has its own width, so each its own radius for the pin."""
    gear = Gear(20, 1.0, ISO_A)
    narrow = pi / 20 - float(gear.half_tooth_angle(gear.base_radius))
    radii = pin_centre_radius(gear.base_radius, np.array([narrow, narrow + 1e-3]), 1.7)
    assert radii.shape == (2,)
    # Flanks 1e-3 rad further apart each let the pin sink by 1e-3 r_b / sin a_M at the start.
    sink = 1e-3 * gear.base_radius / sin(np.arccos(gear.base_radius / radii[0]))
    assert_allclose(radii[0] - radii[1], sink, rtol=0.01)  # the wedge angle changes on the way


# --- thickness


@pytest.mark.parametrize("name", RACK_NAMES)
@pytest.mark.parametrize(("teeth", "shift"), [(12, 0.3), (21, 0.0), (21, -0.3), (40, 0.5)])
def test_thickness_on_the_reference_circle(name, teeth, shift):
    rack = basic_rack(name, 1.5)
    gear = Gear(teeth, 1.5, rack, shift)
    expected = 1.5 * (pi / 2 + 2 * shift * tan(rack.pressure_angle))
    measured = tooth_thicknesses(fine_outline(gear), gear.reference_radius)
    assert measured.size == teeth
    assert_allclose(measured, expected, rtol=SHARE)


@pytest.mark.parametrize("dp", [12, 48, 64])
def test_full_depth_tooth_is_half_the_pitch_thick(dp):
    fact = RACK_FACTS["full_depth_tooth"]
    gear = Gear(30, 25.4 / dp, basic_rack("full-depth-14.5", 25.4 / dp))
    thickness_in = tooth_thicknesses(fine_outline(gear), gear.reference_radius) / 25.4
    assert_allclose(thickness_in * dp, fact["value"], atol=0.5e-4)  # printed to 4 places


def chord_and_height(gear):
    """Chordal thickness and chordal height on the reference circle, and the half angle."""
    outline = fine_outline(gear)
    half = tooth_angles(outline, gear.reference_radius).mean() / 2
    chord = 2 * gear.reference_radius * sin(half)
    height = np.hypot(*outline.T).max() - gear.reference_radius * cos(half)
    return chord, height, half


def test_chordal_thickness_of_the_published_example():
    fact = SIZES["chordal_thickness"]
    gear = Gear(fact["teeth"], fact["module_mm"], ISO_A, fact["profile_shift"])
    chord, height, half = chord_and_height(gear)
    assert gear.tip_radius - gear.reference_radius == pytest.approx(fact["addendum_mm"])
    assert 2 * half * gear.reference_radius == within(fact["arc_thickness_mm"], 0.5e-4)
    assert degrees(half) == within(fact["half_angle_deg"], 0.5e-5)
    assert chord == within(fact["chordal_thickness_mm"], 0.5e-4)
    assert height == within(fact["chordal_height_mm"], 0.5e-4)


@pytest.mark.parametrize("row", reference_rows("chordal_thickness"), ids=lambda row: row["teeth"])
def test_chordal_thickness_matches_the_handbook_row(row):
    chord, height, _ = chord_and_height(Gear(int(row["teeth"]), 1.0, ISO_A))
    # Printed to 4 places, the last up to one out.
    assert chord == pytest.approx(float(row["thickness"]), abs=1.5e-4)
    assert height == pytest.approx(float(row["height"]), abs=1.5e-4)


# --- two gears together


def facing_pair(teeth, module, rack, centre_distance, points=POINTS):
    """Outlines of two gears, a tooth of the first in the middle of a gap of the second."""
    first, second = (Gear(z, module, rack) for z in teeth)
    other = fine_outline(second, pi + pi / second.teeth, points) + np.array([centre_distance, 0])
    pair = shapely.Polygon(fine_outline(first, 0.0, points)), shapely.Polygon(other)
    shapely.prepare(list(pair))
    return pair


def measured_normal_backlash(teeth, module, rack, centre_distance, points=POINTS):
    """Twice the least distance between the flanks of a tooth that stands midway in its gap.

    Facing involutes are everywhere the same distance apart along the line of action.
    """
    return 2 * shapely.distance(*facing_pair(teeth, module, rack, centre_distance, points))


def test_backlash_of_spread_centres():
    fact = SIZES["backlash_20_40"]
    spread = 30 + fact["centre_distance_growth_mm"]
    backlash = measured_normal_backlash(fact["teeth"], 1.0, ISO_A, spread)
    # Sides of both outlines stand up to 1e-6 mm inside their flanks.
    assert backlash == pytest.approx(fact["normal_backlash_mm"], abs=2e-6)
    on_working_circle = backlash / cos(np.arccos(30 * cos(radians(20)) / spread))
    assert on_working_circle == pytest.approx(fact["working_circle_backlash_mm"], abs=2e-6)


@pytest.mark.parametrize(
    ("angle_deg", "ratio"),
    [
        *zip(
            SIZES["backlash_per_centre_distance"]["pressure_angle_deg"],
            SIZES["backlash_per_centre_distance"]["ratio"],
            strict=True,
        )
    ],
)
def test_centre_distance_that_a_thou_of_backlash_takes(angle_deg, ratio):
    growth = 0.01
    rack = rack_for_angle(angle_deg, 1.0, False)
    normal = measured_normal_backlash((40, 40), 1.0, rack, 40 + growth)
    # The ratio holds for small growth; this growth lowers it by this share (next term of the
    # series). Printing and the outlines' sides leave 2.6e-4 and 1.5e-4.
    bend = growth / (2 * 40 * tan(radians(angle_deg)) ** 2)
    measured = growth / (normal / cos(radians(angle_deg)))
    assert measured * (1 + bend) == pytest.approx(ratio, rel=4e-4)


def test_pitch_circle_of_a_48_dp_gear_of_21_teeth():
    """The circle on which teeth and gaps are equal, found on the outline."""
    fact = RACK_FACTS["pitch_circle_48_dp_21_teeth"]
    gear = Gear(21, 25.4 / 48, rack_for_angle(20, 25.4 / 48, True))
    radius = radius_of_equal_gap(
        fine_outline(gear), 21, gear.root_radius + 0.2, gear.tip_radius - 0.1
    )
    assert 2 * radius / 25.4 == within(fact["diameter_in"], 0)


def test_two_such_gears_run_at_their_pitch_diameter():
    """There they touch without backlash, and without biting into each other."""
    centre_distance = RACK_FACTS["pitch_circle_48_dp_21_teeth"]["diameter_in"] * 25.4
    module = 25.4 / 48
    rack = rack_for_angle(20, module, True)
    assert measured_normal_backlash((21, 21), module, rack, centre_distance) < 2e-6
    one, other = facing_pair((21, 21), module, rack, centre_distance)
    # Sides lie inside the flanks, so all that can overlap is rounding.
    assert shapely.intersection(one, other).area < 1e-12


@given(
    st.sampled_from([(19, 37), (21, 21), (24, 60)]),
    st.floats(0.3, 2.0),
    st.floats(0.005, 0.2),
)
@settings(max_examples=6, deadline=None)
def test_any_growth_of_centre_distance_opens_backlash(teeth, module, growth):
    nominal = module * sum(teeth) / 2
    backlash = measured_normal_backlash(teeth, module, ISO_A, nominal + growth * module, 200)
    # j_n = 2 da sin a, and a little more as the working pressure angle grows with da.
    least = 2 * growth * module * sin(radians(20))
    working = np.arccos(nominal * cos(radians(20)) / (nominal + growth * module))
    # Sides stand inside their flanks, here by up to 1e-5 modules, so distances come out too large.
    assert least < backlash < 2 * growth * module * sin(working) + 2e-5 * module
