"""Outlines of gaps: theirs as drawn, as a blurred picture shows them, distances from them."""

from dataclasses import replace
from math import pi

import numpy as np
import pytest

from cogloupe.cutting.hob_overrun import ended_gap, whole_reach
from cogloupe.forms.basic_racks import rack_for_angle
from cogloupe.forms.gap_outline import blurred, evenly, off_outline, whole_gap
from cogloupe.forms.rack import Gear, half_gap

from ..helpers.tolerances import ROUNDING, SOLVED


def gap(teeth=20, angle_deg=20.0, step=0.01):
    gear = Gear(teeth, 1.0, rack_for_angle(angle_deg, 1.0, dp=False))
    return gear, whole_gap(*half_gap(gear, 300, 300), step)


def test_a_whole_gap_runs_through_the_generated_points_on_both_sides():
    gear, outline = gap()
    radius, angle = half_gap(gear)
    for side in (-1, 1):
        points = np.stack([side * radius * np.sin(angle), radius * np.cos(angle)], axis=1)
        # Chords of 0.01 on a fillet of 0.4 lie 0.01^2 / 8 / 0.4 inside it.
        assert np.abs(off_outline(outline, points)[0]).max() < 4e-5


def test_stations_count_from_the_middle_of_the_floor():
    _, outline = gap()
    x = outline.xy[:, 0]
    assert np.interp(0.0, outline.station, x) == pytest.approx(0.0, abs=ROUNDING)
    assert np.all(np.sign(outline.station[np.abs(x) > 0.02]) == np.sign(x[np.abs(x) > 0.02]))


def test_normals_point_into_the_gap():
    gear, outline = gap()
    towards = np.array([0.0, gear.reference_radius + 1]) - outline.xy
    assert np.all((towards * outline.normal).sum(axis=1) > 0)
    np.testing.assert_allclose(np.hypot(*outline.normal.T), 1.0, rtol=ROUNDING)


def test_blur_moves_an_arc_by_half_its_square_over_the_radius():
    radius, blur = 0.5, 0.04
    turn = np.linspace(pi, 2 * pi, 2000)
    arc = evenly(np.stack([radius * np.cos(turn), 2 + radius * np.sin(turn)], axis=1), 0.002)
    seen = blurred(arc, blur)
    inner = np.abs(arc.station) < 0.4
    moved = radius - np.hypot(seen.xy[:, 0], seen.xy[:, 1] - 2)[inner]
    # The next term of the series is a quarter of the squared ratio of blur to radius: 0.2 %.
    np.testing.assert_allclose(moved, blur**2 / 2 / radius, rtol=0.01)


def test_points_moved_along_the_normal_lie_off_by_as_much():
    _, outline = gap()
    inside = slice(20, -20)
    off, nearest = off_outline(outline, (outline.xy + 0.03 * outline.normal)[inside])
    # The foot of a point lies on the chord that it was moved from.
    np.testing.assert_allclose(off, 0.03, atol=SOLVED)
    assert np.all(np.diff(nearest) >= 0)


@pytest.mark.parametrize(("teeth", "angle_deg"), [(12, 20.0), (20, 20.0), (60, 14.5)])
def test_a_long_hob_leaves_the_generated_gap(teeth, angle_deg):
    gear, outline = gap(teeth, angle_deg)
    off, _ = off_outline(outline, ended_gap(gear, 99.0, 1)[2:-2])
    # 48 places of the hob leave facets of some thousandths of a module on a pinion.
    assert np.abs(off).max() < 0.003


@pytest.mark.parametrize("side", [1, -1])
def test_a_hob_that_ends_early_leaves_metal_and_only_there(side):
    gear, outline = gap()
    off, _ = off_outline(outline, ended_gap(gear, 0.4 * whole_reach(gear), side)[2:-2])
    assert off.min() > -0.003
    high = outline.xy[off_outline(outline, ended_gap(gear, 2.0, side)[2:-2])[1]]
    left_over = high[off > 0.01]
    tips = left_over[np.hypot(*left_over.T) > gear.reference_radius]
    # It ends where the tips of the flank across the middle would have been cut.
    assert len(tips) > 3
    assert np.all(np.sign(tips[:, 0]) == -side)


def test_mirrored_hobs_leave_mirrored_gaps():
    gear = replace(gap()[0], profile_shift=0.1)
    one, other = ended_gap(gear, 1.8, 1), ended_gap(gear, 1.8, -1)
    np.testing.assert_allclose(one, other[::-1] * [-1, 1], atol=ROUNDING)
