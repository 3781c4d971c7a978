"""What profiles of an outline have in common."""

import numpy as np

from cogloupe.optics.joint.shared_terms import facing

from ...helpers.tolerances import ROUNDING


def test_harmonics_of_the_way_an_outline_faces_are_no_sums_of_one_another():
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    normal = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    found = facing(normal, 4)
    np.testing.assert_allclose(found[:, :2], normal, atol=ROUNDING)
    np.testing.assert_allclose(found.T @ found / 60, np.eye(8) / 2, atol=ROUNDING)
