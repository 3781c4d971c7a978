"""One gear out of the pictures of a set."""

from types import SimpleNamespace

import numpy as np
import pytest

from cogloupe.sets.adjust import POSE
from cogloupe.sets.merging import _axis_modes, axis_design, seen_whole

from ..helpers.synthetic_sets import faulty_gear, view


@pytest.mark.parametrize(("missing", "whole"), [(0, True), (4, True), (5, False)])
def test_a_gear_is_whole_with_three_teeth_of_four(missing, whole):
    gear = np.zeros((20, 3))
    # Either flank is enough to miss a tooth; its tip is not asked.
    gear[: missing // 2, 0] = gear[missing // 2 : missing, 1] = np.nan
    gear[:, 2] = np.nan
    assert seen_whole(gear) is whole


def test_the_teeth_leave_their_axis_open_by_as_much_as_they_scatter():
    rng = np.random.default_rng(6)
    pose = view(faulty_gear(24, rng), 0.3, (800, 600)).pose
    along = pose[..., [POSE.index("x"), POSE.index("y")]].reshape(-1, 2)
    stated, axes = [], []
    for _ in range(300):
        gear = 0.2 * rng.standard_normal((24, 3))
        axes.append(np.linalg.lstsq(*axis_design(gear, pose), rcond=None)[0][:2])
        told = SimpleNamespace(
            views=[SimpleNamespace(pose=pose)], adjusted=SimpleNamespace(gear=gear)
        )
        modes = np.array(_axis_modes(told)).reshape(2, -1)
        shifts = np.linalg.lstsq(along, modes.T, rcond=None)[0]
        stated.append((shifts**2).sum(axis=1))
    # 300 draws tell their spread to 4 %; three of those.
    assert np.sqrt(np.mean(stated, axis=0)) == pytest.approx(np.std(axes, axis=0), rel=0.12)
