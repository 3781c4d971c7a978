"""Shape of gaps from where their flanks lie."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from cogloupe.evaluation.gap_shape import PerGap, _flatness, _floor_rise, _lean
from cogloupe.evaluation.shapes import _by_scale
from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.gap_theory import floor_ratio_of_moved, theoretical_gap
from cogloupe.forms.rack import Gear


def test_a_gap_leans_by_what_its_middle_moves_between_two_circles():
    # From 10 to 12 px the middle line moves by 0.1 px on the circle between them.
    near, tip = (PerGap(np.zeros(1), np.zeros(1), 0.0, 0.0, radius) for radius in (10.0, 12.0))
    low, high = ((np.array([a]), np.array([0.002])) for a in (0.02, 0.02 + 0.1 / 11))
    lean = _lean(near, low, tip, high)
    assert lean.value[0] == pytest.approx(np.arctan(0.1 / 2))
    assert lean.own[0] == pytest.approx(11 * 0.002 * np.sqrt(2) / 2)


def test_what_the_scale_does_to_a_floor_ratio_is_told_for_each_whole_of_it():
    wheel = Gear(24, 1.0, basic_rack("iso53-a", 1.0))
    grows = _by_scale(None, None, SimpleNamespace(wheel=wheel))
    # Of a scale two thousandths too large, to first order.
    wanted = floor_ratio_of_moved(wheel, lambda radius: 0.002 * radius)
    assert 0.002 * grows == pytest.approx(wanted, rel=0.03)


def test_floors_are_as_flat_as_they_lie():
    gear = Gear(24, 1.0, replace(basic_rack("iso53-a", 1.0), fillet_radius=0.1))
    theory = theoretical_gap(gear, gear.root_radius, gear.tip_radius, 0.0)
    half = theory.width(gear.root_radius + 0.01) / 2
    # Three gaps: a flat floor, one that falls by 40 um across, and one of which half was seen.
    x = np.tile(np.linspace(-0.999, 0.999, 400) * half, 3)
    gap = np.repeat([0, 1, 2], 400)
    height = _floor_rise(theory, theory.shown, x) + np.where(gap == 1, 0.02 * x / half, 0.0)
    seen = (gap < 2) | (x > 0)
    folded = SimpleNamespace(
        away=np.abs(x[seen]), radius=1.0, side=(x < 0)[seen].astype(int), height=height[seen],
        gap=gap[seen],
    )  # fmt: skip
    measured = SimpleNamespace(
        scale=SimpleNamespace(mm_per_px=0.01), outlines=SimpleNamespace(blur_px=0.0),
        fits=SimpleNamespace(scatter=0.02, correlation=1.0),
    )  # fmt: skip
    found = _flatness(measured, theory, folded, 3).value
    assert found[0] == pytest.approx(0, abs=1e-9)
    # Between the middles of the first and the last of five stretches.
    assert found[1] == pytest.approx(0.04 * 4 / 5, rel=0.02)
    assert np.isnan(found[2])
