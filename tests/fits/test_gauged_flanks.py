"""Sizes gauged on fitted flanks, against handbook tables and against gauges put to an outline."""

from dataclasses import replace
from math import cos, pi, radians

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cogloupe.fits.flanks import fit_flanks
from cogloupe.fits.gauge_scale import _from_pins
from cogloupe.fits.gauged_flanks import (
    GaugedFlanks,
    base_pitches,
    gauged_flanks,
    nearest_span,
    over_pins,
    scale_for_over_pins,
    seated_pins,
    spans,
)
from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.involute import involute_curve
from cogloupe.forms.rack import Gear, gear_outline, over_pins_size, span_size
from cogloupe.inputs.settings import make_settings

from ..helpers.outlines import PX_PER_MM, traced
from ..helpers.polygon_gauges import (
    reference_facts,
    reference_rows,
    size_over_pins,
    span_between_anvils,
)
from ..helpers.tolerances import ROUNDING

SIZES = reference_facts("gear_sizes")
ISO_A = basic_rack("iso53-a", 1.0)
SHARE = 1e-6


def exact(gear, left=0.0, right=0.0):
    """Flanks of a gear without error but for angles by which they are out of place."""
    half = float(gear.half_tooth_angle(gear.base_radius))
    centre = 2 * pi / gear.teeth * np.arange(gear.teeth)
    unwound = np.stack([centre - half + left, centre + half + right], axis=1)
    ends = np.sqrt(np.array([gear.form_radius, gear.tip_radius]) ** 2 - gear.base_radius**2)
    return GaugedFlanks(
        gear.base_radius, unwound, np.linspace(*ends, 9), np.zeros((2, 9)), tuple(ends)
    )


def printed(size, half_last_place):
    return pytest.approx(size, abs=half_last_place + SHARE * size)


@pytest.mark.parametrize("row", reference_rows("span_sizes"), ids=lambda row: row["teeth"])
def test_every_span_of_a_perfect_gear_is_the_table_s(row):
    flanks = exact(Gear(int(row["teeth"]), 1.0, ISO_A))
    sizes, _ = spans(flanks, int(row["teeth_spanned"]))
    assert sizes == printed(float(row["size"]), 0.5e-5)


@pytest.mark.parametrize("row", reference_rows("over_pins_sizes"), ids=lambda row: row["teeth"])
def test_every_size_over_pins_of_a_perfect_gear_is_the_table_s(row):
    teeth, pin = int(row["teeth"]), SIZES["over_pins_table"]["pin"]
    sizes = over_pins(*seated_pins(exact(Gear(teeth, 1.0, ISO_A)), pin)[:2], pin)
    assert len(sizes) == (teeth // 2 if teeth % 2 == 0 else teeth)
    assert sizes == printed(float(row["size"]), 0.5e-5)


@given(st.integers(9, 120), st.floats(-0.3, 0.5), st.sampled_from(["iso53-a", "full-depth-14.5"]))
@settings(max_examples=30, deadline=None)
def test_gauges_follow_the_formulas_of_iso_21771(teeth, shift, rack):
    gear = Gear(teeth, 1.0, basic_rack(rack, 1.0), shift)
    flanks = exact(gear)
    assert spans(flanks, 3)[0] == pytest.approx(span_size(gear, 3), rel=SHARE)
    radius, angle, _ = seated_pins(flanks, 1.728)
    assert over_pins(radius, angle, 1.728) == pytest.approx(over_pins_size(gear, 1.728), rel=SHARE)
    assert base_pitches(flanks) == pytest.approx(2 * pi * gear.base_radius / teeth, rel=SHARE)


def moved(teeth=24, scatter=0.004, seed=3):
    """Gear of module 1 whose flanks are each out of place by an angle."""
    rng = np.random.default_rng(seed)
    return rng.normal(0, scatter / teeth * 2, (2, teeth))


def test_spans_of_uneven_teeth_are_those_between_anvils_on_the_outline():
    left, right = moved()
    gear = Gear(24, 1.0, ISO_A)
    outline = gear_outline(gear, -pi / 2, left, right, flank_points=600)
    sizes = spans(exact(gear, left, right), 3)[0]
    for first in (0, 7, 22):
        # The anvils stand over teeth first + 1 to first + 3; each rocks to its own two flanks.
        centre = -pi / 2 + 2 * pi / 24 * first
        found = span_between_anvils(outline, 2 * pi / 24, centre, 3, 11.5)
        # Anvils rigged square to the middle of the teeth meet flanks a few um apart in angle:
        # second order, 1e-7; the polygon's sides 1e-6.
        assert sizes[first] == pytest.approx(found, abs=3e-6)


def test_sizes_over_pins_of_uneven_gaps_are_those_on_the_outline():
    left, _ = moved()
    right = -np.roll(left, -1)  # so that a gap keeps its middle, along which the pins are pushed
    gear = Gear(24, 1.0, ISO_A)
    outline = gear_outline(gear, -pi / 2, left, right, flank_points=600)
    radius, angle, _ = seated_pins(exact(gear, left, right), 1.728)
    sizes = over_pins(radius, angle, 1.728)
    gap = -pi / 2 + pi / 24
    found = size_over_pins(outline, 24, gap, 1.728, gear.root_radius + 0.1)
    assert sizes[0] == pytest.approx(found, rel=SHARE)


# Points on chords of 1 px stand 0.002 px inside: 1e-4 of a module. Against 20 degrees the flanks
# bend by 0.6 px, which the robust fit and 24 straight stretches follow to a tenth.
@pytest.mark.parametrize(("stated_deg", "near"), [(14.5, 1e-4), (15.5, 4e-4), (20.0, 4e-3)])
@pytest.mark.parametrize(("teeth", "count"), [(12, 2), (24, 2), (60, 3)])
def test_a_wrong_pressure_angle_leaves_the_sizes_as_they_are(teeth, count, stated_deg, near):
    """Teeth of 14.5 degrees fitted against another angle: a micrometer knows of none."""
    wheel = traced(teeth, rack="full-depth-14.5")
    base = teeth / 2 * cos(radians(stated_deg)) * PX_PER_MM
    low = max(wheel.gear.form_radius * PX_PER_MM, base * 1.001) + 1
    curve = involute_curve(base, teeth / 2 * PX_PER_MM, low, (teeth / 2 + 0.95) * PX_PER_MM)
    flanks = gauged_flanks(fit_flanks(wheel.edges, wheel.teeth(), wheel.centre, curve))
    size = spans(flanks, count)[0] / PX_PER_MM
    pin = 1.728 * PX_PER_MM
    across = over_pins(*seated_pins(flanks, pin)[:2], pin) / PX_PER_MM
    assert size == pytest.approx(span_size(wheel.gear, count), abs=near)
    assert across == pytest.approx(over_pins_size(wheel.gear, 1.728), abs=near)
    pitch = base_pitches(flanks) / PX_PER_MM
    assert pitch == pytest.approx(pi * cos(radians(14.5)), abs=near)


def test_a_hollow_flank_takes_its_depth_off_where_the_anvils_touch():
    flanks = exact(Gear(24, 1.0, ISO_A))
    hollow = replace(flanks, off=np.full((2, 9), -0.003))
    assert spans(flanks, 3)[0] - spans(hollow, 3)[0] == pytest.approx(0.006, abs=ROUNDING)


def test_traced_flanks_give_the_sizes_of_the_gear():
    wheel = traced()
    base = wheel.gear.base_radius * PX_PER_MM
    curve = involute_curve(base, 12 * PX_PER_MM, 11.5 * PX_PER_MM, 12.9 * PX_PER_MM)
    flanks = gauged_flanks(fit_flanks(wheel.edges, wheel.teeth(), wheel.centre, curve))
    sizes, roll = spans(flanks, 3)
    # Points on chords of 1 px stand up to 0.002 px inside.
    assert sizes == pytest.approx(span_size(wheel.gear, 3) * PX_PER_MM, abs=0.02)
    assert flanks.touches(roll).all()
    assert nearest_span(flanks, sizes.mean() + 5.0) == 3


@pytest.mark.parametrize("pin", [1.5, 1.728, 1.9])
def test_the_scale_is_found_at_which_the_size_over_pins_fits(pin):
    gear = Gear(21, 1.0, ISO_A)
    flanks = exact(gear.scaled(37.0))  # px
    size = over_pins_size(gear, pin)
    assert scale_for_over_pins(flanks, pin, size) == pytest.approx(1 / 37, rel=ROUNDING)


def test_unseen_flanks_leave_only_their_own_places_empty():
    gear = Gear(24, 1.0, ISO_A)
    left = np.zeros(24)
    left[5] = np.nan
    sizes = spans(exact(gear, left), 3)[0]
    assert np.flatnonzero(np.isnan(sizes)).tolist() == [5]
    radius = seated_pins(exact(gear, left), 1.728)[0]
    assert np.flatnonzero(np.isnan(radius)).tolist() == [4]


def test_edges_that_lie_wrongly_spoil_a_scale_by_pins_as_it_says():
    gear, level_px = Gear(24, 50.0, basic_rack("iso53-a", 50.0)), 0.5
    settings, size_mm = make_settings({"pin_diameter": "1.728mm"}), over_pins_size(gear, 86.4) / 50
    sure, doubted = (_from_pins(settings, exact(gear), size_mm, u, 0.0) for u in (0.0, level_px))
    by_edges = np.sqrt(doubted.relative_u**2 - sure.relative_u**2)
    assert by_edges == pytest.approx(level_px * abs(doubted.by_edge), rel=1e-6)
