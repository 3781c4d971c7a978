"""Mixtures of colours that part a gear from its ground."""

from types import SimpleNamespace

import numpy as np

from cogloupe.finding.mixtures import clearness
from cogloupe.numerics.circles import Circle


def test_where_one_side_is_not_seen_nothing_is_told_of_it():
    contour = np.array([[10, 10], [30, 10], [30, 30], [10, 30]])
    circle = Circle(20.0, 20.0, 14.0, 0.0, np.ones(4, bool))
    outline = SimpleNamespace(contour=contour, circle=circle)
    grey = np.full((40, 40), 90, np.float32)
    assert clearness(grey, np.zeros(grey.shape, bool), outline) == (0, 0, 0)
