"""Which stray of a whole outline is the edges' own, and which a fault of the gear."""

from dataclasses import replace
from math import sin

import numpy as np
import pytest

from cogloupe.fits.measure import measure_seen, see_gear
from cogloupe.fits.outline_offset import outline_offset
from cogloupe.forms.rack import Gear
from cogloupe.inputs.settings import make_settings
from cogloupe.simulation import Camera, Faults, GearSpec, render
from cogloupe_calibration.scale import from_stated_scale

MODULE_PX = 40.0
RACK = make_settings({"teeth": 20, "module_mm": 1.0}).basic_rack(1.0)
STATED = Gear(20, MODULE_PX, RACK)
LEAN = sin(RACK.pressure_angle)


def offset(tip=0.0, floor=0.0, flank=0.0):
    """What is said of an outline whose parts lie so far out, px along their normals."""
    found = replace(STATED, profile_shift=flank / (LEAN * MODULE_PX))
    tips, floors = np.full(20, STATED.tip_radius + tip), np.full(20, STATED.root_radius + floor)
    tips[3] = floors[5] = np.nan
    return outline_offset(STATED, found, tips, floors)


@pytest.mark.parametrize("off", [-3.0, 1.5])
def test_an_outline_that_is_off_all_round_says_by_how_much(off):
    assert offset(off, off, off) == pytest.approx(off)


@pytest.mark.parametrize(
    "parts",
    [
        {"tip": -3.0},
        {"floor": -3.0, "flank": -3.0 * LEAN},
        {"tip": 8.0, "floor": 8.0, "flank": 8.0 * LEAN},
        {"flank": -2.0},
        {"tip": -0.01 * STATED.tip_radius, "floor": -0.01 * STATED.root_radius, "flank": -0.3},
    ],
    ids=["small blank", "cut too deep", "shifted profile", "thinned teeth", "scale off by 1 %"],
)
def test_no_single_fault_of_the_gear_is_taken_for_it(parts):
    assert offset(**parts) == pytest.approx(0.0, abs=1e-9)  # sums of doubles


def test_what_is_not_seen_says_nothing():
    nothing = np.full(20, np.nan)
    assert outline_offset(STATED, STATED, nothing, nothing) == 0.0


@pytest.mark.parametrize(
    ("off_px", "edge", "doubt_px"),
    [(-2.0, "outer", 2.0), (0.0, "outer", 0.0), (-2.0, "inner", 0.0)],
)
def test_edges_taken_inside_the_true_ones_all_round_are_doubted_by_as_much(off_px, edge, doubt_px):
    camera = Camera(mm_per_px=0.06, width_px=360, height_px=360, noise=0.0, oversample=2)
    spec = GearSpec(teeth=16, module_mm=1.0, bore_mm=5.0)
    image = render(spec, Faults(), camera, np.random.default_rng(1)).image
    settings = make_settings({"teeth": 16, "module_mm": 1.0, "edge": edge})
    seen = see_gear(image, settings)
    outer = seen.outlines.outer
    moved = replace(outer, xy=outer.xy + off_px * outer.normal)
    seen = replace(seen, outlines=replace(seen.outlines, outer=moved))
    measured = measure_seen(image, seen, settings, from_stated_scale(60.0))
    # Each part is found to a few hundredths of a pixel.
    assert measured.outlines.u_explained_px == pytest.approx(doubt_px, abs=0.1)
    warned = any(notice.code == "outline_off" for notice in measured.notices)
    assert warned == (doubt_px > 0)
