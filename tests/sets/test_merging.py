"""One gear out of the pictures of a set."""

import numpy as np
import pytest

from cogloupe.sets.merging import seen_whole


@pytest.mark.parametrize(("missing", "whole"), [(0, True), (4, True), (5, False)])
def test_a_gear_is_whole_with_three_teeth_of_four(missing, whole):
    gear = np.zeros((20, 3))
    # Either flank is enough to miss a tooth; its tip is not asked.
    gear[: missing // 2, 0] = gear[missing // 2 : missing, 1] = np.nan
    gear[:, 2] = np.nan
    assert seen_whole(gear) is whole
