"""The theoretical gap at the depth that was found, and the circles that limit the flanks."""

from math import pi

import numpy as np
import pytest

from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.check_sizes import shift_without_undercut
from cogloupe.forms.gap_theory import (
    NEAR_FLOOR,
    flank_limits,
    floor_ratio_of_moved,
    theoretical_gap,
)
from cogloupe.forms.rack import Gear, gear_outline

from ..helpers.polygon_gauges import crossings
from ..helpers.tolerances import ROUNDING

RACKS = ["iso53-a", "iso53-c", "full-depth-20", "full-depth-14.5"]


def theory(teeth=24, rack="iso53-a", shift=0.0, blur=0.0):
    gear = Gear(teeth, 1.0, basic_rack(rack, 1.0))
    floor = gear.root_radius + shift
    return theoretical_gap(gear, floor, gear.tip_radius, blur)


@pytest.mark.parametrize("rack", RACKS)
@pytest.mark.parametrize("shift", [-0.2, 0.0, 0.3])
def test_widths_are_the_generated_polygon_s_on_any_circle(rack, shift):
    found = theory(rack=rack, shift=shift)
    outline = gear_outline(found.wheel, flank_points=400)
    for radius in np.linspace(found.wheel.root_radius + 0.2, found.wheel.tip_radius - 0.05, 6):
        cut = crossings(outline, radius)
        gap = np.mod(np.roll(cut.left, -1) - cut.right, 2 * pi).mean() * radius
        # Chords of the polygon's fillet, 40 points, leave up to 1e-3 of a module.
        assert found.width(radius) == pytest.approx(gap, abs=1e-3)


def test_the_gap_is_generated_at_the_depth_of_the_floor():
    deeper = theory(shift=-0.1)
    assert deeper.wheel.profile_shift == pytest.approx(-0.1)
    # ISO 21771: a shift of x widens the gap on the reference circle by -2 x m tan a.
    widened = deeper.width(12.0) - theory().width(12.0)
    # Chords of 0.01 on flanks that bend by 1 / 4 lie 3e-6 inside them, on either side.
    assert widened == pytest.approx(0.2 * np.tan(np.radians(20)), abs=1e-5)


@pytest.mark.parametrize("rack", RACKS)
def test_the_floor_is_an_arc_about_the_axis(rack):
    found = theory(rack=rack)
    radius = np.hypot(*found.drawn.xy.T)
    # Chords of 0.01 on an arc of 10 lie 1e-6 inside it.
    assert radius.min() == pytest.approx(found.wheel.root_radius, abs=5e-6)
    flat = np.abs(found.drawn.station) < 0.02
    assert np.ptp(radius[flat]) < 1e-3


def test_blur_fills_the_corners_and_leaves_the_flanks():
    sharp, soft = theory(), theory(blur=0.06)
    near = sharp.wheel.root_radius + 0.25
    # The theory's own width knows no blur.
    assert soft.width(near) == pytest.approx(sharp.width(near), abs=ROUNDING)
    shown = 2 * near * float(soft.shown_angle(0, near))
    # s^2 / 2R along the normal on fillets of about half a module's radius, on both sides.
    assert sharp.width(near) - shown == pytest.approx(2 * 0.06**2 / (2 * 0.45), rel=0.5)
    assert float(soft.shown_angle(0, 12.0)) == pytest.approx(float(sharp.half_angle(0, 12.0)), 2e-3)


def test_a_floor_outside_the_rack_s_reach_has_no_theory():
    assert theory(shift=-1.2) is None
    assert theory(shift=np.nan) is None


@pytest.mark.parametrize("teeth", [8, 12, 16, 17, 18, 24])
def test_undercut_is_told_where_the_shift_is_too_small(teeth):
    gear = Gear(teeth, 1.0, basic_rack("iso53-a", 1.0))
    assert flank_limits(gear, 0.0).undercut == (shift_without_undercut(gear) > 0)


def test_a_mating_rack_stays_as_far_above_the_fillet_as_the_cutter_went_below_it():
    gear = Gear(24, 1.0, basic_rack("iso53-a", 1.0))
    # ISO 53 A: the rounding of 0.38 begins 1 module below the datum line, where the mate ends.
    assert flank_limits(gear, 0.0).margin == pytest.approx(0.0, abs=1e-3)
    # Teeth 0.1 modules thicker than the depth gives hold the mate 0.1 / 2 tan a further out.
    out = 0.1 / np.sin(np.radians(20))
    # The rounding of 0.38 is printed to two places: 0.002 of it, by 1 - sin a over sin a.
    assert flank_limits(gear, 0.1).margin == pytest.approx(out, abs=1e-3)


def test_a_mate_touches_the_fillet_of_a_rack_with_too_little_depth():
    gear = Gear(24, 1.0, basic_rack("full-depth-20", 1.0))
    limits = flank_limits(gear, 0.0)
    assert limits.margin < 0.01
    shallow = Gear(24, 1.0, basic_rack("full-depth-20", 1.0), 0.1)
    limits = flank_limits(shallow, 0.0)
    # First order in the shift: the clearance is cut by its square.
    assert limits.margin == pytest.approx(-0.1 / np.sin(np.radians(20)), abs=0.02)
    assert limits.rack_diameter < limits.form_diameter


def test_where_the_mate_reaches_inside_the_base_circle_it_is_drawn_there():
    gear = Gear(8, 1.0, basic_rack("iso53-a", 1.0))
    limits = flank_limits(gear, 0.0)
    assert limits.rack_diameter == pytest.approx(2 * gear.base_radius)
    assert limits.margin < 0


def test_a_gear_that_lies_where_it_should_has_the_rack_s_floor():
    gear = Gear(24, 1.0, basic_rack("iso53-a", 1.0), 0.2)
    assert floor_ratio_of_moved(gear, np.zeros_like) == pytest.approx(0, abs=1e-3)


def test_a_gear_that_is_seen_too_large_is_held_against_the_rack_at_the_depth_it_shows():
    right, more = theory(), 0.01
    deeper = theory(shift=more * right.wheel.root_radius)
    near, reference = deeper.wheel.root_radius + NEAR_FLOOR, 12.0
    seen = [(1 + more) * right.width(r / (1 + more)) for r in (near, reference)]
    ratio = seen[0] / seen[1] / (deeper.width(near) / deeper.width(reference))
    found = floor_ratio_of_moved(right.wheel, lambda radius: more * radius)
    # First order in what is moved; outlines are chords.
    assert found == pytest.approx(ratio - 1, abs=1e-3)
