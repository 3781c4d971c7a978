"""Which of two looks at a gear's edges is taken, and when a second one is called for."""

from dataclasses import replace

import numpy as np
import pytest

from cogloupe.fits.edge_model_check import UNLIKE_PX, agree, surer, unlike_px

from .test_flank_guard import Z, fits_of, moved, traced

SURELY = 3.0
"""Standard errors that chance leaves once in some hundreds."""


def leaning(fits, px, seed=1):
    """The same flanks, each leaning its own way by so many px, root mean square along it."""
    low, high = fits.curve.roll_range
    unit = px * np.sqrt(12) / (high - low) / fits.curve.measuring_arm
    return replace(fits, slope=fits.slope + unit * np.random.default_rng(seed).normal(size=(Z, 2)))


@pytest.fixture(scope="module")
def noisy():
    return [fits_of(traced(Z, noise=0.1, seed=seed)) for seed in (1, 2)]


def test_flanks_of_one_cutter_call_for_no_second_look(noisy):
    assert unlike_px(noisy[0]) < UNLIKE_PX


def test_flanks_that_lean_each_its_own_way_call_for_one(noisy):
    # Of 48 flanks a robust scatter is known to a seventh; three times that.
    assert unlike_px(leaning(noisy[0], 0.06)) == pytest.approx(0.06, rel=0.45)


def test_a_wrong_axis_leans_flanks_but_calls_for_none():
    # A pixel off its axis flanks lean by up to a tenth of a pixel, once a turn.
    wheel = traced(Z)
    off = replace(wheel, centre=np.add(wheel.centre, (0.7, -0.7)))
    assert unlike_px(fits_of(off)) < UNLIKE_PX


def test_two_looks_that_differ_by_noise_tie(noisy):
    assert abs(surer(*noisy)) < SURELY


def test_the_look_whose_flanks_lean_alike_is_taken(noisy):
    one, two = noisy
    assert surer(leaning(one, 0.1), two) > SURELY
    assert surer(one, leaning(two, 0.1)) < -SURELY


def test_a_missed_step_speaks_for_no_look(noisy):
    # Half the teeth stand half a tooth late, in both looks alike.
    one, two = (moved(fits, slice(Z // 2, Z), 0.25) for fits in noisy)
    assert abs(surer(one, two)) < SURELY
    assert surer(leaning(one, 0.1), two) > SURELY


def test_teeth_counted_from_another_one_are_the_same_teeth(noisy):
    one, two = noisy
    turned = {
        name: np.roll(getattr(two, name), -3, axis=0)
        for name in ("slope", "u_slope", "coverage", "rejected")
    }
    unwound = np.roll(two.unwound, -3, axis=0)
    unwound[-3:] += 2 * np.pi
    assert surer(one, replace(two, unwound=unwound, **turned)) == pytest.approx(surer(one, two))


def test_flanks_that_only_one_look_can_follow_speak_for_it(noisy):
    one, two = noisy
    lost = two.coverage.copy()
    lost[: Z // 2] = 0.5
    assert surer(one, replace(two, coverage=lost)) < -SURELY


def test_looks_that_lean_alike_show_how_the_gear_was_cut(noisy):
    one, two = (leaning(fits, 0.3, seed=5) for fits in noisy)
    assert agree(one, two)


def test_looks_further_apart_than_flanks_lean_unlike_do_not_agree(noisy):
    one = leaning(noisy[0], 0.06)
    off = 0.2 / one.curve.measuring_arm * np.random.default_rng(3).normal(size=(Z, 2))
    assert not agree(one, replace(noisy[1], unwound=noisy[1].unwound + off))
