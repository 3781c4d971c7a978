"""What edges are seen by."""

import numpy as np
import pytest

from cogloupe.finding.edge_directions import _planes


def split(left, right):
    return np.repeat(np.array([[left] * 8 + [right] * 8], np.uint8), 16, axis=0)


@pytest.mark.parametrize(
    ("left", "right", "seen_by"),
    [
        ((40, 40, 40), (200, 200, 200), 1),
        ((90, 60, 30), (30, 60, 90), 2),
        ((60, 90, 60), (75, 60, 75), 2),
    ],
    ids=["brightness", "red against blue", "green against both"],
)
def test_an_edge_is_looked_for_in_the_colours_that_show_it(left, right, seen_by):
    planes = _planes(split(left, right))
    assert len(planes) == seen_by
    # The last one, full scale 1: the edge as its own difference of colours shows it.
    wanted = {1: 160, 2: 120 if left[0] > left[2] else 45}[seen_by] / 255
    assert np.ptp(planes[-1]) == pytest.approx(wanted, rel=1e-6)  # single precision
