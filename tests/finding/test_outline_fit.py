"""Flanks followed round the turn."""

import numpy as np

from cogloupe.finding.outline_fit import STEPS, _path


def test_a_flank_whose_edge_lies_astray_is_held_by_its_neighbours():
    votes = np.zeros((12, 2 * STEPS + 1))
    votes[:, STEPS] = 1.0
    # An edge nearly as clear, but some tenth of a pitch further on: a step there and one back.
    votes[5, STEPS], votes[5, STEPS + 20] = 0.0, 0.9
    np.testing.assert_array_equal(_path(votes), STEPS)


def test_a_row_of_flanks_is_followed_where_it_leads():
    votes = np.zeros((12, 2 * STEPS + 1))
    place = STEPS + np.array([0, 1, 2, 3, 2, 1, 0, -1, -2, -2, -1, 0])
    votes[np.arange(12), place] = 1.0
    np.testing.assert_array_equal(_path(votes), place)
