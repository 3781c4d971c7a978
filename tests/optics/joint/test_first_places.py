"""First places of edges near a predicted outline."""

import numpy as np
import pytest

from cogloupe.optics.joint.first_places import _agreed, _between

PLACES = np.arange(-6.0, 6.5, 0.5)


@pytest.mark.parametrize(("lowest", "found"), [(10.3, 10.3), (9.8, 9.8), (-0.4, 0.0), (24.3, 24.0)])
def test_a_place_is_told_between_steps_and_not_beyond_the_last(lowest, found):
    votes = (np.arange(25.0)[:, None] - lowest) ** 2
    best = votes.argmin(axis=0)
    assert best + _between(votes, best) == pytest.approx(found)


def test_pieces_that_tell_nothing_follow_the_outline_of_those_that_do():
    turn = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    normal = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    # A pixel too wide and moved by two: a place for every way of facing.
    true = 1.0 + normal @ [2.0, -0.5]
    votes = np.minimum((PLACES[:, None] - true) ** 2, 4.0)
    votes[:, ::10] = 4.0
    found = PLACES[_agreed(votes, votes.argmin(axis=0), PLACES, normal)]
    # Steps are half a pixel wide.
    np.testing.assert_allclose(found, true, atol=0.5)
