"""Shape of tips and gaps on exact outlines whose rack is known."""

from dataclasses import replace

import numpy as np
import pytest

from cogloupe.fits.radii import floor_radii, tip_radii
from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.gap_theory import theoretical_widths
from cogloupe.forms.rack import Gear, gear_outline

from ..helpers.outlines import PX_PER_MM, traced
from ..helpers.polygon_gauges import crossings


def half_tip(gear):
    return float(gear.half_tooth_angle(gear.tip_radius)) * 0.7


def test_tips_lie_on_the_tip_circle():
    wheel = traced(noise=0.03)
    radii, circle = tip_radii(wheel.edges, wheel.teeth(), wheel.centre, half_tip(wheel.gear))
    true = 13.0 * PX_PER_MM
    # Some 12 points a tip on 0.03 px: 0.009 px; the worst of 24 within four of that.
    assert np.abs(radii.value - true).max() < 0.035
    np.testing.assert_allclose(radii.u, np.std(radii.value), rtol=0.6)
    assert (circle.x, circle.y) == pytest.approx(tuple(wheel.centre), abs=0.01)
    assert circle.radius == pytest.approx(true, abs=0.01)


def test_tips_about_another_axis_run_out_by_twice_its_distance():
    wheel = traced()
    axis = wheel.centre + np.array([0.6, 0.0])
    radii, _ = tip_radii(wheel.edges, wheel.teeth(), axis, half_tip(wheel.gear))
    # 24 tips at 15 degrees: the extremes lie at most 7.5 degrees from the offset's line.
    assert np.ptp(radii.value) == pytest.approx(1.2, abs=1.2 * (1 - np.cos(np.radians(7.5))) + 0.01)


def test_pointed_tips_give_no_radius():
    wheel = traced()
    radii, circle = tip_radii(wheel.edges, wheel.teeth(), wheel.centre, 1e-4)
    assert np.isnan(radii.value).all()
    assert circle is None


@pytest.mark.parametrize("rack", ["iso53-a", "iso53-c", "full-depth-20", "full-depth-14.5"])
def test_floors_lie_on_the_root_circle(rack):
    wheel = traced(rack=rack)
    in_px = replace(wheel.gear, module_mm=wheel.gear.module_mm * PX_PER_MM)
    floor = floor_radii(wheel.edges, wheel.teeth(), wheel.centre, in_px)
    # Points on chords of 1 px, 270 px from the axis: 0.0005 px; the outlines have no blur.
    assert floor.value == pytest.approx(wheel.gear.root_radius * PX_PER_MM, abs=0.01)


@pytest.mark.parametrize("rack", ["iso53-a", "iso53-c", "full-depth-14.5", "full-depth-20"])
@pytest.mark.parametrize("teeth", [17, 24, 60])
def test_the_theoretical_gap_is_the_generated_polygon_s(rack, teeth):
    gear = Gear(teeth, 1.0, basic_rack(rack, 1.0))
    outline = gear_outline(gear, flank_points=200)
    near, reference = theoretical_widths(gear)
    for width, radius in ((near, gear.root_radius + 0.25), (reference, teeth / 2)):
        cut = crossings(outline, radius)
        gap = np.mod(np.roll(cut.left, -1) - cut.right, 2 * np.pi).mean() * radius
        # Chords of the fillet's 40 points leave 1e-3 of a module near the floor.
        assert width == pytest.approx(gap, abs=1e-3)
