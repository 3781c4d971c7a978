"""Shape of gaps from where their flanks lie."""

from types import SimpleNamespace

import numpy as np
import pytest

from cogloupe.evaluation.gap_shape import PerGap, _lean
from cogloupe.evaluation.shapes import _by_scale
from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.gap_theory import floor_ratio_of_moved
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
