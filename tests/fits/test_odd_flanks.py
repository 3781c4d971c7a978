"""Which flanks stand among the others as no cutter leaves them."""

from dataclasses import replace

import numpy as np
import pytest

from cogloupe.fits.odd_flanks import _in_gaps, odd_leans_px, other_edge_px

from .test_edge_model_check import leaning
from .test_flank_guard import Z, fits_of, traced

BAND_PX = 2.0


@pytest.fixture(scope="module")
def good():
    return fits_of(traced(Z, noise=0.1, seed=1))


def shifted(fits, by_px):
    """The same flanks, each so many px out of its place."""
    return replace(fits, unwound=fits.unwound + by_px / fits.curve.measuring_arm)


def one_flank(px):
    """A shift of the right flank of tooth 6 alone."""
    shift = np.zeros((Z, 2))
    shift[5, 1] = px
    return shift


def test_flanks_that_lean_as_all_do_are_hardly_doubted(good):
    px = 0.3
    odd = odd_leans_px(leaning(good, px, seed=4))
    # Three in four lean by less than 1.2 standard deviations, where the chance is one in twenty.
    assert np.quantile(odd, 0.75) < px / 2


def askew(fits, px):
    """The same flanks, that of `one_flank` with its ends so many px apart."""
    low, high = fits.curve.roll_range
    return replace(fits, slope=fits.slope + one_flank(px) / (high - low) / fits.curve.measuring_arm)


def test_a_flank_askew_is_in_doubt_by_half_of_what_parts_its_ends(good):
    odd = odd_leans_px(askew(leaning(good, 0.06), 3.0))
    assert np.delete(odd.ravel(), 11).max() < 0.3  # those lean by 0.18 px at most
    # The flank's own lean, three times 0.06 px at most, by the square root of three.
    assert odd[5, 1] == pytest.approx(1.5, abs=0.31)


def test_among_flanks_of_one_cutter_a_flank_askew_is_the_gears_own(good):
    assert not odd_leans_px(askew(good, 3.0)).any()


@pytest.mark.parametrize(
    ("off_px", "doubt_px"),
    [(0.0, 0.0), (BAND_PX, BAND_PX), (-BAND_PX, BAND_PX), (4 * BAND_PX, 0.0)],
    ids=["in place", "a band's width out", "a band's width in", "a fault of its own"],
)
def test_a_flank_off_by_a_bands_width_may_run_along_its_other_edge(good, off_px, doubt_px):
    doubt = other_edge_px(shifted(good, one_flank(off_px)), BAND_PX)
    # Flanks are placed to some hundredths of a pixel.
    np.testing.assert_allclose(doubt[5, 1], doubt_px, atol=0.05)
    assert (np.delete(doubt.ravel(), 11) < 0.01).all()


@pytest.mark.parametrize(
    ("right", "left", "chances"),
    [
        (0.0, 0.0, (0, 0)),
        (BAND_PX, 0.0, (1, 0)),
        (0.0, -BAND_PX, (0, 1)),
        (5.0, -5.0, (0, 0)),  # a step of the dividing
        (5.0 + BAND_PX, -5.0, (0.5, 0.5)),
        (5.0, 0.0, (0, 0)),  # a fault of its own
    ],
    ids=["in place", "right", "left", "moved", "moved and narrowed", "damaged"],
)
def test_a_gap_as_narrow_as_a_band_is_wide_has_a_flank_on_the_other_edge(right, left, chances):
    stray = np.random.default_rng(6).normal(0, 0.05, (Z, 2))
    stray[5, 1], stray[6, 0] = right, left
    found = _in_gaps(stray, BAND_PX, faulty=1e-4)
    # By far the likeliest each time, but for the least likelihood of a fault of its own.
    np.testing.assert_allclose([found[5, 1], found[6, 0]], chances, atol=0.01)


def test_of_flanks_that_stand_off_by_as_much_themselves_none_is_doubted(good):
    rough = shifted(good, np.random.default_rng(3).normal(0, BAND_PX / 2, (Z, 2)))
    assert not other_edge_px(rough, BAND_PX).any()


def test_without_a_band_none_is_doubted(good):
    assert not other_edge_px(shifted(good, one_flank(BAND_PX)), 0.0).any()
