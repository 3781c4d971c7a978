"""Racks and the outline they generate, against tables and against a gear cut by subtraction."""

from math import ceil, cos, degrees, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from cogloupe.forms.basic_racks import (
    RACK_NAMES,
    BasicRack,
    basic_rack,
    full_radius,
    rack_for_angle,
)
from cogloupe.forms.check_sizes import shift_without_undercut
from cogloupe.forms.rack import Gear, gear_outline, half_gap, shift_for_thickness
from cogloupe_calibration.errors import UseError

from ..helpers.polygon_gauges import crossings, reference_facts
from ..helpers.tolerances import ROUNDING

RACKS = reference_facts("basic_racks")
FACTS = reference_facts("rack_facts")
LIMITS = FACTS["undercut_limit"]
PRINTED_LIMITS = FACTS["undercut_limit_printed"]


def natural_rack(angle_deg):
    """Older full depth with the rounding that ends the straight flank one addendum deep."""
    angle = radians(angle_deg)
    return BasicRack(f"natural {angle_deg}", angle, 1.0, 1.157, 0.157 / (1 - sin(angle)))


# --- proportions


@pytest.mark.parametrize("name", RACK_NAMES)
def test_rack_proportions_match_the_standard(name):
    fact = RACKS[name]
    rack = basic_rack(name, 25.4 / fact.get("diametral_pitch", 25.4))
    stated = fact.keys() & {"addendum", "dedendum", "fillet_radius"}
    # One of the roundings is printed to eight places.
    assert degrees(rack.pressure_angle) == pytest.approx(fact["pressure_angle_deg"], rel=1e-12)
    assert {k: getattr(rack, k) for k in stated} == pytest.approx(
        {k: fact[k] for k in stated}, rel=1e-7
    )


@pytest.mark.parametrize(
    ("angle_deg", "module", "dp", "name"),
    [
        (20, 1.0, False, "iso53-a"),
        (20, 25.4 / 48, True, "dp-fine-20"),
        (20, 25.4 / 20, True, "dp-fine-20"),
        (20, 25.4 / 16, True, "dp-coarse-20"),
        (14.5, 25.4 / 48, True, "full-depth-14.5"),
    ],
)
def test_rack_that_the_trade_would_reach_for(angle_deg, module, dp, name):
    assert rack_for_angle(angle_deg, module, dp).name == name


@pytest.mark.parametrize("name", RACK_NAMES)
@pytest.mark.parametrize("module", [0.3, 25.4 / 64, 25.4 / 48, 1.0, 2.0])
def test_rounding_of_every_rack_fits_its_tip(name, module):
    rack = basic_rack(name, module)
    assert rack.fillet_radius <= full_radius(rack.pressure_angle, rack.dedendum) + 1e-12


@pytest.mark.parametrize("angle_deg", [10, 14.5, 20, 25, 30])
@pytest.mark.parametrize("dedendum", [1.157, 1.25])
def test_full_radius_touches_tip_and_both_flanks(angle_deg, dedendum):
    """A circle of that radius laid in the rack's tip is as far from the tip as from each flank."""
    radius = full_radius(radians(angle_deg), dedendum)
    at_tip, at_top = (pi / 4 + h * tan(radians(angle_deg)) for h in (-dedendum, 4))
    centre = shapely.Point(0, radius - dedendum)
    for side in (-1, 1):
        flank = shapely.LineString([(side * at_tip, -dedendum), (side * at_top, 4)])
        assert abs(flank.distance(centre) - radius) < 1e-12  # rounding


def test_full_radius_of_iso53_d():
    radius = full_radius(radians(20), RACKS["iso53-d"]["dedendum"])
    assert abs(radius - FACTS["full_radius_iso53_d"]["value"]) <= 0.5e-4  # printed to 4 places


def test_rounding_of_iso53_a_ends_the_flank_one_addendum_deep():
    rack = basic_rack("iso53-a", 1.0)
    natural = FACTS["natural_radius_iso53_a"]["value"]
    straight = rack.dedendum - natural * (1 - sin(rack.pressure_angle))
    assert abs(rack.fillet_radius - natural) <= 0.5e-4  # printed to 4 places
    assert abs(straight - rack.addendum) <= 0.5e-4


@pytest.mark.parametrize("name", ["dp-fine-20", "dp-fine-14.5"])
def test_rounding_of_fine_pitch_ends_the_flank_one_addendum_deep(name):
    rack = basic_rack(name, 25.4 / 20)
    straight = rack.dedendum - rack.fillet_radius * (1 - sin(rack.pressure_angle))
    assert abs(straight - rack.addendum) <= 1e-12  # rounding


def test_rounding_that_does_not_fit_is_refused():
    blunt = BasicRack("too round", radians(20), 1.0, 1.25, 0.6)
    with pytest.raises(UseError, match=r"'too round' cannot be made: a rounding of 0\.6"):
        half_gap(Gear(20, 1.0, blunt))


def test_unknown_rack_is_refused_with_the_names():
    with pytest.raises(UseError, match="'iso53-e' is not known: use one of iso53-a"):
        basic_rack("iso53-e", 1.0)


@given(st.floats(10, 32))
def test_rack_for_any_angle_can_be_made(angle_deg):
    rack = rack_for_angle(angle_deg, 1.0, False)
    assert rack.fillet_radius > 0
    assert shapely.Polygon(gear_outline(Gear(30, 1.0, rack), flank_points=10)).is_valid


@pytest.mark.parametrize("angle_deg", [9.9, 32.1, 35])
def test_pressure_angle_outside_the_trade_is_refused(angle_deg):
    with pytest.raises(UseError, match="outside 10 to 32"):
        rack_for_angle(angle_deg, 1.0, False)


# --- depths, measured on the outline


def whole_depth_in(gear):
    radius = np.hypot(*gear_outline(gear).T)
    return (radius.max() - radius.min()) / 25.4


@pytest.mark.parametrize("name", ["full-depth-20", "full-depth-14.5"])
@pytest.mark.parametrize("dp", [12, 48, 64])
def test_full_depth_of_cut(name, dp):
    gear = Gear(30, 25.4 / dp, basic_rack(name, 25.4 / dp))
    assert_allclose(
        whole_depth_in(gear) * dp, FACTS["full_depth_whole_depth"]["value"], rtol=ROUNDING
    )


@pytest.mark.parametrize("name", ["dp-fine-20", "dp-fine-14.5"])
@pytest.mark.parametrize("dp", [20, 48, 64])
def test_fine_pitch_depth_of_cut(name, dp):
    fact = FACTS["fine_pitch_whole_depth"]
    gear = Gear(30, 25.4 / dp, basic_rack(name, 25.4 / dp))
    expected = fact["per_diametral_pitch"] / dp + fact["allowance_in"]
    assert_allclose(whole_depth_in(gear), expected, rtol=ROUNDING)


def test_48_dp_is_cut_about_45_thou_deep():
    gear = Gear(21, 25.4 / 48, basic_rack("full-depth-20", 25.4 / 48))
    # "About 45 thou": to the nearest half thou.
    assert abs(whole_depth_in(gear) - FACTS["depth_of_cut_48_dp"]["value_in"]) < 0.0005


@pytest.mark.parametrize("shift", [-0.4, 0.0, 0.5])
def test_blank_of_its_own_size_sets_the_tip_and_leaves_the_root(shift):
    rack = basic_rack("iso53-a", 1.0)
    radius = np.hypot(*gear_outline(Gear(24, 1.0, rack, shift, tip_radius_mm=12.9)).T)
    assert_allclose([radius.max(), radius.min()], [12.9, 12 - 1.25 + shift], rtol=ROUNDING)


# --- undercut


def undercut_limit(rack):
    """Teeth from which no shift is needed: the shift that is falls evenly with their number."""
    ten, twenty = (shift_without_undercut(Gear(z, 1.0, rack)) for z in (10, 20))
    return 10 + 10 * ten / (ten - twenty)


@pytest.mark.parametrize(
    ("angle_deg", "exact"),
    [*zip(LIMITS["pressure_angle_deg"], LIMITS["exact"], strict=True)],
)
def test_undercut_limit_matches_the_table(angle_deg, exact):
    assert abs(undercut_limit(natural_rack(angle_deg)) - exact) <= 0.5e-4  # printed to 4 places


@pytest.mark.parametrize(
    ("angle_deg", "teeth"),
    [*zip(PRINTED_LIMITS["pressure_angle_deg"], PRINTED_LIMITS["teeth"], strict=True)],
)
def test_printed_limit_is_the_next_whole_tooth(angle_deg, teeth):
    assert ceil(undercut_limit(natural_rack(angle_deg))) == teeth


def corner_at_flank_foot(gear):
    """Turn of the outline where fillet meets involute, in degrees, as its points get closer.

    A fillet that runs tangentially into the flank leaves no turn; one that cuts the involute off
    leaves a corner.
    """

    def turn(points):
        radius, angle = half_gap(gear, points, points)
        x, y = (radius * f(angle) for f in (np.sin, np.cos))
        heading = np.arctan2(*np.diff([y, x], axis=1)[:, points - 2 : points])
        return degrees(heading[1] - heading[0])

    # Half the spacing halves the turn that is curvature; what is left is the corner.
    return 2 * turn(800) - turn(400)


# The curvature is not quite constant from point to point: up to 0.002 degrees are left of it.
SMOOTH_DEG = 0.01


@pytest.mark.parametrize("angle_deg", LIMITS["pressure_angle_deg"])
def test_one_tooth_below_the_limit_the_fillet_cuts_the_involute(angle_deg):
    rack = natural_rack(angle_deg)
    gear = Gear(ceil(undercut_limit(rack)) - 1, 1.0, rack)
    assert gear.undercut
    assert abs(corner_at_flank_foot(gear)) > SMOOTH_DEG


@pytest.mark.parametrize("angle_deg", LIMITS["pressure_angle_deg"])
def test_above_the_limit_the_fillet_runs_into_the_involute(angle_deg):
    rack = natural_rack(angle_deg)
    gear = Gear(ceil(undercut_limit(rack)), 1.0, rack)
    assert not gear.undercut
    assert abs(corner_at_flank_foot(gear)) < SMOOTH_DEG


@pytest.mark.parametrize(("over", "cut"), [(-0.02, True), (0.02, False)])
def test_shift_lifts_the_undercut(over, cut):
    """With x = 1 - z / limit the rack's flank ends just at the base circle's tangent point."""
    rack = natural_rack(20)
    gear = Gear(12, 1.0, rack, 1 - 12 / undercut_limit(rack) + over)
    assert gear.undercut is cut
    assert (abs(corner_at_flank_foot(gear)) > SMOOTH_DEG) is cut


# --- a gear cut by subtraction: the rack is laid on the blank at many positions and taken away

STEP = 1.5e-3  # turn of the blank between positions, rad
CORNER_SIDES = 200  # sides of a quarter of the cutter's rounding


def cutter_tooth(gear):
    """Tooth of the cutting rack over the middle of a gap; sharp, then rounded by opening."""
    rack, m = gear.rack, gear.module_mm
    datum = gear.reference_radius + gear.profile_shift * m
    tip, top = datum - rack.dedendum * m, datum + 4 * m
    at_tip, at_top = (pi / 4 * m + (y - datum) * tan(rack.pressure_angle) for y in (tip, top))
    sharp = shapely.Polygon([(-at_tip, tip), (at_tip, tip), (at_top, top), (-at_top, top)])
    rounding = rack.fillet_radius * m
    return sharp.buffer(-rounding, join_style="mitre").buffer(rounding, quad_segs=CORNER_SIDES)


def cut_half_gap(gear):
    """Sector of a blank, from just past the middle of a gap to the middle of a tooth, as cut."""
    blank_radius, reference = gear.tip_radius, gear.reference_radius
    reach = sqrt(blank_radius**2 - gear.root_radius**2) + gear.module_mm
    turn = np.arange(-reach / reference, reach / reference, STEP)[:, None]
    x, y = shapely.get_coordinates(cutter_tooth(gear)).T
    x, y = x + reference * turn, np.broadcast_to(y, (turn.size, y.size))
    placed = shapely.polygons(
        np.stack([x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)], -1)
    )
    rim = np.linspace(-0.02, 1, 200) * pi / gear.teeth
    blank = shapely.Polygon([(0, 0), *(blank_radius * np.stack([np.sin(rim), np.cos(rim)], 1))])
    return blank.difference(shapely.union_all(placed))


def scallop(gear):
    """Height of the ridges left between positions, and of the sides of the cutter's rounding."""
    rack, m = gear.rack, gear.module_mm
    rounding = rack.fillet_radius * m
    # Between positions a straight side of the cutter turns by STEP about the curve it envelops,
    # of radius rho, and leaves rho STEP^2 / 8: the flank at the tip, the floor on the root circle.
    flank = max(sqrt(gear.tip_radius**2 - gear.base_radius**2), gear.root_radius) * STEP**2 / 8
    # Its rounding slides by STEP times the distance to the pitch point; farthest where the
    # fillet ends, on the line of action.
    height = (rack.dedendum - rack.fillet_radius - gear.profile_shift) * m
    slide = (height / sin(rack.pressure_angle) + rounding) * STEP
    side = pi / 2 / CORNER_SIDES
    return max(flank, slide**2 / (8 * rounding)) + rounding * side**2 / 8


@pytest.mark.parametrize(
    ("name", "teeth", "shift"),
    [
        ("iso53-a", 8, 0.0),
        ("iso53-a", 10, -0.3),
        ("iso53-d", 12, 0.4),
        ("full-depth-14.5", 20, 0.0),
        ("iso53-d", 21, 0.0),
        ("iso53-a", 40, -0.5),
        ("dp-fine-20", 40, 0.5),
    ],
)
def test_outline_is_what_the_rack_leaves(name, teeth, shift):
    gear = Gear(teeth, 1.0, basic_rack(name, 1.0), shift)
    cut = cut_half_gap(gear)
    radius, angle = half_gap(gear, 300, 300)
    outline = np.stack([radius * np.sin(angle), radius * np.cos(angle)], axis=1)
    edge = shapely.get_coordinates(cut)
    # The gap's edge without the rim of the blank, its flat floor and the sides of the sector.
    inner = np.hypot(*edge.T) < gear.tip_radius - 1e-3
    edge = edge[inner & (np.hypot(*edge.T) > gear.root_radius + 1e-3) & (edge[:, 0] > 0)]
    ridges = scallop(gear)
    assert ridges < 3e-5  # fine enough to tell
    assert shapely.distance(shapely.points(outline), cut.boundary).max() < ridges
    assert shapely.distance(shapely.points(edge), shapely.LineString(outline)).max() < ridges


# --- properties of the whole outline


@st.composite
def gears(draw, most_teeth=200):
    """A gear whose teeth are not pointed: one that can be made."""
    module = draw(st.floats(0.3, 2.0))
    gear = Gear(
        teeth=draw(st.integers(6, most_teeth)),
        module_mm=module,
        rack=basic_rack(draw(st.sampled_from(RACK_NAMES)), module),
        profile_shift=draw(st.floats(-0.5, 0.8)),
    )
    assume(gear.half_tooth_angle(gear.tip_radius) * gear.teeth > 0.1)
    return gear


# Coordinates are up to a few hundred mm and go through a dozen roundings.
ROUNDING_MM = 1e-11


@given(gears())
@settings(max_examples=60, deadline=None)
def test_outline_is_a_valid_polygon_about_the_axis(gear):
    polygon = shapely.Polygon(gear_outline(gear, flank_points=20))
    assert polygon.is_valid
    assert polygon.contains(shapely.Point(0, 0))


@given(gears(60), st.floats(-7, 7))
@settings(max_examples=30, deadline=None)
def test_turning_the_first_tooth_turns_the_outline(gear, turn):
    c, s = cos(turn), sin(turn)
    turned = gear_outline(gear, 0.0, flank_points=10) @ np.array([[c, s], [-s, c]])
    assert_allclose(gear_outline(gear, turn, flank_points=10), turned, atol=ROUNDING_MM)


@given(st.integers(6, 60), st.floats(-0.3, 0.3), st.floats(0.3, 2.0))
@settings(max_examples=30, deadline=None)
def test_outline_grows_with_the_module(teeth, shift, module):
    rack = basic_rack("iso53-a", 1.0)
    unit, other = (gear_outline(Gear(teeth, m, rack, shift), flank_points=10) for m in (1, module))
    assert_allclose(other, module * unit, atol=ROUNDING_MM)


@given(gears(60))
@settings(max_examples=30, deadline=None)
def test_outline_is_its_own_mirror_image(gear):
    outline = gear_outline(gear, flank_points=10)  # tooth 1 stands on the axis x = 0
    # Area is all that is asked of the mirror image: the points themselves run the other way.
    mirrored = shapely.Polygon(outline * [-1, 1])
    left_over = shapely.symmetric_difference(shapely.Polygon(outline), mirrored).area
    assert left_over < ROUNDING_MM * shapely.Polygon(outline).length


@given(st.data())
@settings(max_examples=20, deadline=None)
def test_offset_moves_its_own_flank_only(data):
    gear = Gear(17, 1.0, basic_rack("iso53-a", 1.0))
    tooth, side = data.draw(st.integers(1, 17)), data.draw(st.sampled_from(["left", "right"]))
    offset = np.zeros(17)
    offset[tooth - 1] = data.draw(st.floats(-0.01, 0.01))
    plain = crossings(gear_outline(gear), gear.reference_radius)
    moved = crossings(gear_outline(gear, **{f"{side}_offset": offset}), gear.reference_radius)
    # The outline begins on tooth 1's right flank, so the first left flank met is tooth 2's.
    expected = {"left": np.zeros(17), "right": np.zeros(17)} | {side: np.roll(offset, -1)}
    for each in ("left", "right"):
        by = getattr(moved, each) - getattr(plain, each)
        by = np.mod(by + pi, 2 * pi) - pi  # a flank may pass from pi to -pi
        assert_allclose(by, expected[each], rtol=0, atol=1e-12)


def test_first_tooth_stands_at_twelve_o_clock_and_numbers_run_clockwise():
    gear = Gear(17, 1.0, basic_rack("iso53-a", 1.0))
    found = crossings(gear_outline(gear), gear.reference_radius)
    centres = found.left + np.mod(found.right - found.left, 2 * pi) / 2
    steps = np.mod(centres + pi / 2, 2 * pi) * 17 / (2 * pi)
    # First met is tooth 2; y is down, so growing polar angle is clockwise on the picture.
    assert_allclose(steps, np.roll([*range(17)], -1), atol=1e-12)


@given(gears())
@settings(max_examples=60, deadline=None)
def test_shift_comes_back_from_the_tooth_thickness(gear):
    half = float(gear.half_tooth_angle(gear.reference_radius))
    angle = gear.rack.pressure_angle
    shift = shift_for_thickness(gear.teeth, gear.module_mm, angle, half)
    assert abs(shift - gear.profile_shift) < ROUNDING
