"""Several pictures of one gear adjusted together, on synthetic marks."""

from math import radians

import numpy as np
import pytest

from cogloupe.sets.adjust import TIP, adjust, lens_stands_still, rolled, scaled_inverse

from ..helpers.synthetic_sets import TRUE_TERMS, faulty_gear, view, wide_lens
from ..helpers.tolerances import ROUNDING

PLACES = ((800, 600), (830, 570), (760, 610), (790, 640))
Z = 23


def freed(marks, pose):
    """Flanks without what a turn, a shift or a thickness common to all does."""
    design = pose[:, :TIP, [0, 1, 2, 4]].reshape(-1, 4)
    flanks = marks[:, :TIP].ravel()
    return flanks - design @ np.linalg.lstsq(design, flanks, rcond=None)[0]


def turned(gear, degrees, rng=None, **changes):
    return [
        view(gear, radians(turn), place, rng=rng, **changes)
        for turn, place in zip(degrees, PLACES, strict=False)
    ]


@pytest.mark.parametrize(
    "degrees", [(0, 120, 240), (10, 95, 200), (0, 50, 140, 260)], ids=["thirds", "any", "four"]
)
def test_the_gear_is_told_from_the_camera(degrees):
    gear = faulty_gear(Z, np.random.default_rng(1))
    views = turned(gear, degrees)
    found = adjust(views, wide_lens(), wide_lens())
    left = freed(found.gear - gear, views[0].pose)
    # Without noise only the allowances pull: the data are some thousand times surer than they.
    assert np.abs(left).max() < 1e-3
    alone = freed(views[0].out - gear, views[0].pose)
    assert np.abs(alone).max() > 0.2


def test_one_turn_by_half_leaves_what_comes_twice_a_turn_open():
    """Unequal scales come round again after half a turn: no closure can tell them."""
    gear = faulty_gear(Z, np.random.default_rng(1))
    half = adjust(turned(gear, (0, 180)), wide_lens(), wide_lens())
    third = adjust(turned(gear, (0, 120, 240)), wide_lens(), wide_lens())
    assert half.lens.covariance[4][4] > 100 * third.lens.covariance[4][4]


def test_errors_lie_within_the_stated_covariance():
    rng = np.random.default_rng(7)
    ratios = []
    for _ in range(60):
        gear = faulty_gear(Z, rng)
        views = turned(gear, (5, 118, 247), rng)
        found = adjust(views, wide_lens(), wide_lens())
        left = freed(found.gear - gear, views[0].pose)
        modes = [*found.lens_modes, *found.pose_modes]
        square = sum(freed(mode, views[0].pose) ** 2 for mode in modes)
        ratios.append(left / np.sqrt(found.noise[:, :TIP].ravel() ** 2 + square))
    # 2760 values, alike within a picture only through few modes; the noise is found to 5 %.
    assert np.sqrt(np.mean(np.square(ratios))) == pytest.approx(1, abs=0.08)
    assert 0.93 < np.mean(np.abs(ratios) < 2) < 0.98


def test_lens_terms_are_found_within_their_uncertainty():
    rng = np.random.default_rng(3)
    found = adjust(turned(faulty_gear(Z, rng), (5, 118, 247), rng), wide_lens(), wide_lens())
    off = np.array(found.lens.terms) - TRUE_TERMS
    covariance = np.array(found.lens.covariance)
    # Chi-square of 8 terms: above 26 once in a thousand.
    assert off @ np.linalg.solve(covariance, off) < 26


def test_noise_larger_than_stated_is_found_out():
    rng = np.random.default_rng(5)
    views = [
        view(faulty_gear(Z, np.random.default_rng(1)), radians(turn), place, 0.015, rng)
        for turn, place in zip((0, 100, 220), PLACES, strict=False)
    ]
    boasting = [type(v)(v.out, v.u / 3, v.pose, v.lens, v.u_pose) for v in views]
    found = adjust(boasting, wide_lens(), wide_lens())
    # About 80 degrees of freedom and 20 stated ones leave a tenth of doubt.
    assert found.misfit == pytest.approx(3, rel=0.25)
    assert np.nanmean(found.noise[:, :TIP]) == pytest.approx(0.015 / np.sqrt(3), rel=0.25)


def test_dirt_on_a_flank_in_one_picture_is_left_out():
    rng = np.random.default_rng(2)
    gear = faulty_gear(Z, rng)
    views = turned(gear, (0, 120, 240), rng)
    views[1].out[6, 1] += 0.5
    found = adjust(views, wide_lens(), wide_lens())
    assert not found.used[1, 6, 1]
    assert (~found.used).sum() == 1
    # What noise of 0.015 leaves of a flank seen twice, four times over.
    assert np.abs(freed(found.gear - gear, views[0].pose)).max() < 0.03


def test_a_mark_that_one_picture_hides_comes_from_the_others():
    gear = faulty_gear(Z, np.random.default_rng(2))
    views = turned(gear, (0, 120, 240))
    views[0].out[4] = np.nan
    found = adjust(views, wide_lens(), wide_lens())
    assert np.isfinite(found.gear).all()
    assert found.noise[4, 0] == pytest.approx(found.noise[5, 0] * np.sqrt(1.5), rel=ROUNDING)


def test_rolling_renumbers_every_part():
    one = view(faulty_gear(Z, np.random.default_rng(4)), 0.0, PLACES[0])
    other = rolled(one, 5)
    np.testing.assert_array_equal(other.out[0], one.out[5])
    np.testing.assert_array_equal(other.lens[0], one.lens[5])


def test_unknowns_of_all_sizes_are_inverted_together():
    """A held lens term beside a free turn: eighteen digits apart, and tied to a third."""
    size = np.array([1e8, 1.0, 1e-2])
    tied = np.array([[1.0, 0.3, 0.0], [0.3, 1.0, 0.5], [0.0, 0.5, 1.0]])
    found = scaled_inverse(tied * size[:, None] * size)
    np.testing.assert_allclose(found * size[:, None] * size, np.linalg.inv(tied), rtol=ROUNDING)


def test_a_lens_that_was_found_before_moves_nothing_any_more():
    views = turned(faulty_gear(Z, np.random.default_rng(1)), (0, 120, 240))
    lens = adjust(views, wide_lens(), wide_lens()).lens
    assert lens_stands_still(views, lens, lens, within_px=1e-6)
    assert not lens_stands_still(views, wide_lens(), lens, within_px=0.01)
