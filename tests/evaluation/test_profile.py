"""What is not known of the slopes of all flanks together."""

from types import SimpleNamespace

import pytest

from cogloupe.evaluation.profile import common_slope_doubt

from ..fits.test_edge_model_check import leaning
from ..fits.test_flank_guard import Z, fits_of, traced


def test_what_leans_flanks_unlike_each_other_may_lean_all_alike():
    even = fits_of(traced(Z, noise=0.1))
    low, high = even.curve.roll_range

    def doubt_px(fits):
        seen = SimpleNamespace(
            fits=fits, outlines=SimpleNamespace(blur_px=1.0),
            teeth=SimpleNamespace(tip_radius=60.0, root_radius=50.0),
        )  # fmt: skip
        return common_slope_doubt(seen) * (high - low)

    # From end to end, in the root mean square of a straight line; a robust scatter of 48 flanks is
    # known to a seventh: three times that.
    assert doubt_px(leaning(even, 0.3)) == pytest.approx(12**0.5 * 0.3, rel=0.45)
    assert doubt_px(even) < 0.1
