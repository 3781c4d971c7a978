"""Shape of tips and gaps on exact outlines whose rack is known."""

from dataclasses import replace

import numpy as np
import pytest

from cogloupe.deviations import wrapped
from cogloupe.gaps import flank_angles_at, floor_radii, gap_shape, theoretical_widths, tip_radii
from cogloupe.rack import Gear, basic_rack, gear_outline

from .outlines import PX_PER_MM, traced
from .polygon_gauges import crossings

Z = 24


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


def test_gaps_are_as_wide_as_the_polygon_on_any_circle():
    wheel = traced()
    teeth = wheel.teeth()
    for radius in (11.2, 12.0, 12.7):
        angle, u = flank_angles_at(
            wheel.edges, teeth, wheel.centre, np.full((Z, 2), radius * PX_PER_MM), 4.0
        )
        cut = crossings(gear_outline(wheel.gear), radius)
        width = np.mod(cut.right - cut.left, 2 * np.pi).mean()
        # Chords of 1 px on a flank curved by 60 px leave 0.002 px, the parabola a little more.
        np.testing.assert_allclose(
            wrapped(angle[:, 1] - angle[:, 0]), width, atol=0.01 / radius / PX_PER_MM
        )
        assert np.isfinite(u).all()


def test_a_circle_off_the_teeth_meets_no_flank():
    wheel = traced()
    angle, _ = flank_angles_at(
        wheel.edges, wheel.teeth(), wheel.centre, np.full((Z, 2), 14.0 * PX_PER_MM), 3.0
    )
    assert np.isnan(angle).all()


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


def test_widths_near_the_floor_are_the_rack_s():
    wheel = traced(rack="iso53-c", step=0.3)
    floor = np.full(Z, wheel.gear.root_radius * PX_PER_MM)
    shape = gap_shape(wheel.edges, wheel.teeth(), wheel.centre, floor, PX_PER_MM)
    near, _ = theoretical_widths(wheel.gear)
    # The fillet bends within the 5 px that the parabola reads.
    np.testing.assert_allclose(shape.near_floor, near * PX_PER_MM, atol=0.1)
    assert (shape.floor_width < shape.near_floor).all()
    assert np.ptp(shape.floor_width) < 0.5


@pytest.mark.parametrize(("rack", "rounding"), [("iso53-c", 0.25), ("iso53-b", 0.30)])
def test_fillets_are_at_least_the_rack_s_rounding(rack, rounding):
    wheel = traced(60, rack=rack, step=0.3)
    floor = np.full(60, wheel.gear.root_radius * PX_PER_MM)
    fillet = gap_shape(wheel.edges, wheel.teeth(), wheel.centre, floor, PX_PER_MM).fillet_radius
    # The generated curve is the rack's rounding where it ends on the floor and flattens upwards.
    assert (fillet / PX_PER_MM > rounding * 0.95).all()
    assert (fillet / PX_PER_MM < rounding * 2.2).all()


def test_where_too_few_pixels_lie_on_a_floor_s_end_its_width_stays_empty():
    # At 25 px a module some three points lie within 1 px of the height at which the floor ends.
    wheel = traced(rack="iso53-c")
    floor = np.full(Z, wheel.gear.root_radius * PX_PER_MM)
    shape = gap_shape(wheel.edges, wheel.teeth(), wheel.centre, floor, PX_PER_MM)
    assert np.isnan(shape.floor_width).all()
    assert np.isfinite(shape.near_floor).all()


def test_a_sharper_cutter_leaves_a_sharper_fillet():
    sizes = []
    for rack in ("iso53-c", "iso53-b", "iso53-a"):
        wheel = traced(40, rack=rack, step=0.3)
        floor = np.full(40, wheel.gear.root_radius * PX_PER_MM)
        shape = gap_shape(wheel.edges, wheel.teeth(), wheel.centre, floor, PX_PER_MM)
        sizes.append(np.median(shape.fillet_radius))
    assert sizes == sorted(sizes)
