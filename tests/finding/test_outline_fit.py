"""Flanks followed round the turn."""

import numpy as np
import pytest

from cogloupe.finding.outline_fit import FREE, STEPS, Pose, _moved, _moves, _parts, _path


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


@pytest.mark.parametrize("vote", range(FREE))
def test_what_is_voted_on_moves_the_outline_as_is_said(vote):
    pose = Pose(teeth=12, x=300.0, y=280.0, tip_radius=140.0, turn=0.3, depth=40.0)
    by = 1e-4
    moved = _moved(pose, by * pose.pitch * np.eye(FREE)[vote])
    for (before, normal), (after, _), said in zip(
        _parts(pose), _parts(moved), _moves(pose)[..., vote], strict=True
    ):
        out = ((after - before) * normal).sum(axis=-1).mean(axis=1) / (by * pose.pitch)
        # Votes take a flank for one place at the tip circle, of which it has all radii.
        np.testing.assert_allclose(out, said, atol=0.35)
