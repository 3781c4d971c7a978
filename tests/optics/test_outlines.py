"""How far edges may lie elsewhere for want of knowing the light beside them."""

from math import sqrt

import numpy as np
import pytest
from scipy.special import ndtr

from cogloupe.optics.outlines import EDGE_LEVEL_ALLOWANCE, edge_shift

from ..helpers.any_camera import UNTOLD, edges_off


def test_an_edge_moves_as_stated_where_its_two_levels_are_wrong():
    rng = np.random.default_rng(20261130)
    place, blur, draws = np.linspace(-3, 3, 6001), 1.3, 4000
    step = ndtr(place / blur)
    # Each level is off by as much as leaves the mean of both off by the allowance.
    dark, bright = np.array([[0], [1]]) + sqrt(2) * EDGE_LEVEL_ALLOWANCE * rng.normal(
        size=(2, draws)
    )
    crossed = place[np.searchsorted(step, (dark + bright) / 2)]
    # So many draws tell a standard deviation to 1.1 %; the edge bends by less than 1 % within it.
    assert crossed.std() == pytest.approx(edge_shift(blur, 0.0), rel=0.04)


def test_what_is_seen_stands_for_the_allowance_where_it_is_more():
    assert edge_shift(1.0, 0.5) == 0.5


@pytest.mark.parametrize("kind", UNTOLD)
def test_the_true_edge_lies_within_what_the_light_leaves_in_doubt(kind):
    off = np.array([one.off / one.u_edge for one in edges_off(kind, 8)])
    # Of a hundred (`tests.benchmarks.level`) one to six lie beyond two standard uncertainties; of
    # eight more than two do so once in a hundred runs.
    assert np.sum(np.abs(off) > 2) <= 2
    # An uncertainty of three times what edges are off would say nothing.
    assert sqrt(np.mean(off**2)) > 1 / 3
