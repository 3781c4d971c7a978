"""Which axis figures are about."""

from dataclasses import replace
from math import inf

import numpy as np
import pytest

from cogloupe.fits.bore_uncertainty import BOSS
from cogloupe.fits.datum import choose_datum
from cogloupe.fits.measure import measure_gear
from cogloupe.fits.teeth_axis import _place_rows, teeth_axis_shift
from cogloupe.inputs.settings import make_settings
from cogloupe.simulation import Camera, Faults, GearSpec, render
from cogloupe.uncertainty.flank_uncertainty import datum_doubt
from cogloupe_calibration.lens import UNMEASURED_LEAN
from cogloupe_calibration.scale import from_stated_scale

THICK_PX = 100.0
RIM_PX = np.array([1.5, -0.8])
"""Less than two standard leans move a rim of a gear so thick."""


@pytest.fixture(scope="module")
def measured():
    camera = Camera(mm_per_px=0.06, width_px=360, height_px=360, noise=0.0, oversample=2)
    spec = GearSpec(teeth=16, module_mm=1.0, bore_mm=5.0)
    image = render(spec, Faults(), camera, np.random.default_rng(1)).image
    settings = make_settings({"teeth": 16, "module_mm": 1.0})
    return measure_gear(image, settings, from_stated_scale(60.0))


def with_bore_moved(measured, thickness):
    moved = replace(measured.bore, centre=measured.bore.centre + RIM_PX)
    return replace(measured, bore=moved, thickness_px=thickness)


def test_a_bore_that_tips_and_teeth_bear_out_is_the_datum(measured):
    axes = choose_datum(measured, None)
    assert (axes.kind, axes.u_bore_px) == ("bore", 0.0)


@pytest.mark.parametrize("thickness", [inf, THICK_PX])
def test_a_bore_that_may_be_a_lower_rim_leaves_the_datum_to_the_tips(measured, thickness):
    axes = choose_datum(with_bore_moved(measured, thickness), None)
    assert axes.kind == "tips"
    # Beside the rims the edge's own noise is nothing.
    assert axes.u_bore_px == pytest.approx(np.hypot(*RIM_PX) / 3**0.5, rel=1e-3)


@pytest.mark.parametrize(("times", "kind"), [(-2.0, "tips"), (2.0, "bore")])
def test_tips_and_teeth_that_lie_apart_further_than_the_bore_leave_it_the_datum(
    measured, times, kind
):
    x, y = measured.tip_circle.centre + times * RIM_PX
    tips = replace(measured.tip_circle, x=x, y=y)
    axes = choose_datum(replace(with_bore_moved(measured, inf), tip_circle=tips), None)
    assert axes.kind == kind
    # Doubted all the same, by how far it lies off the tips.
    off = abs(times - 1) * np.hypot(*RIM_PX)
    assert axes.u_bore_px == pytest.approx(off / 3**0.5, rel=2e-2)


def test_a_bore_off_the_tips_of_a_sheet_is_the_datum(measured):
    thin = 0.2 * np.hypot(*RIM_PX) / UNMEASURED_LEAN
    axes = choose_datum(with_bore_moved(measured, thin), None)
    assert (axes.kind, axes.u_bore_px) == ("bore", 0.0)


def test_where_no_tips_are_seen_a_stated_thickness_is_the_doubt(measured):
    axes = choose_datum(replace(measured, tip_circle=None, thickness_px=THICK_PX), None)
    assert axes.kind == "bore"
    assert axes.u_bore_px == pytest.approx(THICK_PX * UNMEASURED_LEAN)


@pytest.mark.parametrize(("apart", "kind"), [(0.5, "bore"), (6.0, "tips")])
def test_rims_known_to_lie_together_leave_a_bore_off_the_tips_the_datum(measured, apart, kind):
    doubted = with_bore_moved(measured, inf)
    axes = choose_datum(replace(doubted, bore=replace(doubted.bore, rims_apart=apart)), None)
    assert axes.kind == kind
    assert axes.u_bore_px <= BOSS * apart


def test_what_rims_leave_open_lies_along_the_way_in_which_they_lie_apart(measured):
    doubted = with_bore_moved(measured, inf)
    way = np.array([0.8, 0.6])
    told = replace(doubted.bore, rims_apart=2.0, rims_way=way, u_along=0.5)
    doubted = replace(doubted, bore=told)
    u_px, along = datum_doubt(doubted, choose_datum(doubted, "bore"))
    assert u_px == told.u_centre
    # Both rims, and a boss that either may stand on.
    np.testing.assert_allclose(along, np.hypot(2.0 * BOSS, 0.5) * way)


def test_the_tips_of_an_arc_tell_the_axis_whatever_their_radius(measured):
    fits, shift = measured.fits, np.array([1.2, -0.7])
    moved = (_place_rows(fits, drive=False)[0][:, :2] @ shift).reshape(16, 2)
    unwound = fits.unwound + np.array([-1.0, 1.0]) * moved / fits.curve.measuring_arm
    way = 2 * np.pi / 16 * np.arange(16) + np.mean(fits.unwound[0])
    tips = 130.0 + shift @ [np.cos(way), np.sin(way)]
    unwound[6:], tips[6:] = np.nan, np.nan
    found = teeth_axis_shift(replace(fits, unwound=unwound), tips)
    # What is left of the gear's own axis and of noise on six teeth, px.
    np.testing.assert_allclose(found, shift, atol=0.1)
