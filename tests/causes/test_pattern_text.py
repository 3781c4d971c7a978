"""What a cause looks like, in words."""

from fractions import Fraction
from types import SimpleNamespace

import numpy as np
import pytest

from cogloupe.causes.fault_patterns import waves
from cogloupe.causes.pattern_layout import SHARED
from cogloupe.causes.pattern_text import say_lean

TEETH = 24


def test_gaps_that_lean_are_told_by_the_slopes_of_both_sides():
    shape = np.zeros(2 * TEETH + len(SHARED))
    shape[2 * TEETH + SHARED.index("slope_left")] = 3.0
    shape[2 * TEETH + SHARED.index("slope_right")] = -2.5
    told = say_lean(SimpleNamespace(shape=shape), SimpleNamespace(teeth=TEETH))
    assert "+3.0 µm left and -2.5 µm right" in told


@pytest.mark.parametrize("times", [1, 3, 11])
def test_waves_of_a_part_of_the_machine_come_as_often_as_it_does(times):
    observed = SimpleNamespace(design=SimpleNamespace(teeth=TEETH))
    (_, known, *_) = waves(observed, [Fraction(times)])
    (member,) = known.plus
    for row in known.basis[member]:
        strength = np.abs(np.fft.rfft(row[: 2 * TEETH].reshape(TEETH, 2)[:, 0]))
        assert strength.argmax() == times
