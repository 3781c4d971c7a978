"""The mean of all gaps of a gear, and what is not known of it."""

from types import SimpleNamespace

import numpy as np
import pytest

from cogloupe.evaluation.mean_gap import _lens_stretch, _mean_and_covariance, _point_noise
from cogloupe_calibration.lens import TERMS, make_lens


def lens_open_in(term, u=0.01):
    """A lens of which one term only is not known, its middle the gear's."""
    own = np.array([u if name == term else 0.0 for name in TERMS])
    return make_lens((500.0, 400.0), 640.0, np.zeros(len(TERMS)), np.diag(own**2))


GEAR = SimpleNamespace(
    fits=SimpleNamespace(
        centre=np.array([500.0, 400.0]), curve=SimpleNamespace(measuring_radius=320.0)
    )
)


def test_radial_distortion_stretches_teeth_along_the_radius_more_than_across():
    # r + k r^3 grows by 1 + 3 k r^2 along the radius and by 1 + k r^2 across it; r is a half.
    assert _lens_stretch(GEAR, lens_open_in("k1")) == pytest.approx(2 * 0.01 / 4, rel=0.02)


@pytest.mark.parametrize("term", ["e1", "p1", "g1", "g2"])
def test_what_stretches_teeth_on_one_side_shrinks_them_on_the_other(term):
    assert _lens_stretch(GEAR, lens_open_in(term)) == pytest.approx(0, abs=1e-6)


def test_places_that_two_gaps_show_tell_no_scatter():
    table = np.random.default_rng(1).normal(0, 1, (4, 12))
    table[2:, 5:] = np.nan
    known = _mean_and_covariance(table, 0.1)[2]
    assert known.tolist() == [True] * 5 + [False] * 7


def test_more_points_to_a_place_have_less_noise():
    fits = SimpleNamespace(scatter=0.04, correlation=2.0)
    measured = SimpleNamespace(fits=fits, scale=SimpleNamespace(mm_per_px=0.02))
    few, many = (_point_noise(measured, 0.02 * px) for px in (4, 16))
    assert many == pytest.approx(few / 2)
