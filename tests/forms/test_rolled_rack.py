"""The theory of gaps beside a rack that is rolled round a blank, position by position."""

from math import pi, radians

import numpy as np
import pytest
import shapely

from cogloupe.forms.basic_racks import BasicRack
from cogloupe.forms.rack import Gear, half_gap

from ..benchmarks.traced_gear import CutGear, flanks_about, gap, outline
from ..helpers.tolerances import SOLVED

# 400 positions leave flats of 10 nm on an involute. On a fillet a corner of 0.38 mm moves by 8 um
# from one to the next, which leaves 20 nm, and its 64 chords in a quarter lie 30 nm inside it.
ROLLED_MM = 1e-4


def cut(teeth, angle_deg=20.0, shift=0.0, depth=1.25, corner=0.38, **faults):
    plain = {"gap_shift_um": (0.0,) * teeth, "gap_widening_um": (0.0,) * teeth}
    return CutGear(
        teeth=teeth,
        module_mm=1.0,
        pressure_angle_deg=angle_deg,
        profile_shift=shift,
        depth=depth,
        corner=corner,
        bore_mm=3.0,
        first_gap_deg=0.0,
        **{**plain, "offset_um": 0.0, "offset_deg": 0.0, **faults},
    )


@pytest.mark.parametrize(
    ("teeth", "angle_deg", "shift", "depth", "corner"),
    [
        (24, 20.0, 0.0, 1.25, 0.38),
        (60, 20.0, -0.1, 1.25, 0.2),
        (13, 20.0, 0.4, 1.25, 0.3),
        (9, 20.0, 0.0, 1.25, 0.38),  # undercut
        (40, 14.5, 0.0, 1.157, 0.209),
    ],
)
def test_a_generated_gap_is_what_a_rolling_rack_sweeps(teeth, angle_deg, shift, depth, corner):
    gear = cut(teeth, angle_deg, shift, depth, corner)
    rack = BasicRack("as rolled", radians(angle_deg), 1.0, depth, corner)
    radius, angle = half_gap(Gear(teeth, 1.0, rack, shift), 60, 60)
    points = shapely.points(radius * np.sin(angle), radius * np.cos(angle))
    below_tips = radius < gear.tip_radius_mm - 0.01
    away = shapely.distance(gap(gear).exterior, points[below_tips])
    assert away.max() < ROLLED_MM


def test_flanks_of_a_perfect_gear_lie_half_a_gap_either_side_of_their_gaps():
    gear = cut(20)
    flanks = flanks_about(outline(gear), (0.0, 0.0), gear.reference_radius_mm)
    # A gap of the standard rack is half a pitch wide: a quarter of 18 degrees either side.
    middle = 18.0 * np.arange(20)
    tolerance = np.degrees(ROLLED_MM / gear.reference_radius_mm)
    np.testing.assert_allclose(flanks.left_deg, middle + 4.5, atol=tolerance)
    np.testing.assert_allclose(flanks.right_deg, middle + 13.5, atol=tolerance)


def test_a_gap_set_wrong_moves_both_its_flanks_and_no_other():
    shifts = np.zeros(20)
    shifts[7] = 100.0
    gear = cut(20, gap_shift_um=tuple(shifts))
    centre, radius = (0.0, 0.0), gear.reference_radius_mm
    true, moved = (flanks_about(outline(g), centre, radius) for g in (cut(20), gear))
    for side in ("left_deg", "right_deg"):
        off = np.radians(getattr(moved, side) - getattr(true, side)) * radius * 1000
        assert np.count_nonzero(np.abs(off) > 0.01) == 1
        assert off.max() == pytest.approx(100.0, abs=SOLVED)


def test_teeth_off_the_bore_leave_their_offset_s_first_harmonic():
    gear = cut(30, offset_um=50.0, offset_deg=40.0)
    body, radius = outline(gear), gear.reference_radius_mm
    about_bore = flanks_about(body, (0.0, 0.0), radius)
    about_teeth = flanks_about(body, gear.teeth_axis_mm, radius)
    assert np.ptp(np.diff(about_teeth.left_deg)) * pi / 180 * radius < 2 * ROLLED_MM
    off = np.radians(about_bore.left_deg - about_teeth.left_deg) * radius * 1000
    # Sideways offset and, through the flank's slope, the offset outwards: e / cos(20 deg).
    assert np.ptp(off) / 2 == pytest.approx(50.0 / np.cos(radians(20.0)), rel=0.01)
