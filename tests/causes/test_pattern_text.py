"""What a cause looks like, in words."""

from types import SimpleNamespace

import numpy as np

from cogloupe.causes.pattern_layout import SHARED
from cogloupe.causes.pattern_text import say_lean

TEETH = 24


def test_gaps_that_lean_are_told_by_the_slopes_of_both_sides():
    shape = np.zeros(2 * TEETH + len(SHARED))
    shape[2 * TEETH + SHARED.index("slope_left")] = 3.0
    shape[2 * TEETH + SHARED.index("slope_right")] = -2.5
    told = say_lean(SimpleNamespace(shape=shape), SimpleNamespace(teeth=TEETH))
    assert "+3.0 µm left and -2.5 µm right" in told
