"""Flanks followed round the turn."""

import cv2
import numpy as np
import pytest
from scipy.spatial import cKDTree

from cogloupe.finding.outline_fit import (
    FLANKS,
    FREE,
    STEPS,
    Pose,
    _moved,
    _moves,
    _parts,
    _path,
    follow,
)
from cogloupe.finding.periodicity import Rhythm


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


def edges_of(pose, out_px, side=420):
    """Directions of edges along a gear's outline, moved out of the material by so much."""
    found = np.zeros((side, side), complex)
    for xy, normal in _parts(pose):
        along = np.stack([-normal[..., 1], normal[..., 0]], axis=-1)
        for step in np.arange(-3, 3.1, 0.5):
            x, y = np.rint(xy + out_px * normal + step * along).astype(int).T
            np.add.at(found, (y, x), ((normal[..., 0] + 1j * normal[..., 1]) ** 2).T)
    return sum(
        f * cv2.GaussianBlur(part, (0, 0), 0.7)
        for f, part in (
            (1, np.ascontiguousarray(found.real)),
            (1j, np.ascontiguousarray(found.imag)),
        )
    )


def test_of_two_edges_side_by_side_the_clearer_one_is_followed():
    pose = Pose(teeth=8, x=205.0, y=210.0, tip_radius=180.0, turn=0.1, depth=81.0)
    # A bevel's edges, a thirtieth of a pitch apart: four pixels.
    beside = 0.035 * pose.pitch
    directions = (edges_of(pose, 0.0) + 0.8 * edges_of(pose, beside)).astype(np.complex64)
    rhythm = Rhythm(strength=0.5, teeth=8, x=206, y=211, tip_radius=180, turn=0.1)
    found = follow(directions, rhythm)
    flanks = np.concatenate([xy.reshape(-1, 2) for xy, _ in _parts(pose)[:FLANKS]])
    assert np.mean(cKDTree(found.outline).query(flanks)[0]) < beside / 8
