"""Bores that show two rims, or none that could be a datum."""

from dataclasses import replace
from math import inf

import numpy as np
import pytest

from cogloupe.fits.bore import round_outline
from cogloupe.fits.bore_uncertainty import (
    axes_notices,
    left_open_by_rims,
    round_enough,
    upper_rim,
)
from cogloupe.optics.sampling import EdgePoints

CENTRE = np.array([200.0, 190.0])


def hole(lower=None, lower_radius=80.0, radius=80.0, oval=0.0, noise=0.02):
    """Points on what is left open by one circle, or by two that lie apart."""
    turn = np.linspace(0, 2 * np.pi, 500, endpoint=False)
    towards = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    reach = np.full(500, radius) * (1 + oval * np.cos(2 * turn))
    if lower is not None:
        along = towards @ lower
        below = along + np.sqrt(along**2 + lower_radius**2 - lower @ lower)
        reach = np.minimum(reach, below)
    reach = reach + np.random.default_rng(3).normal(0, noise, 500)
    flat = np.zeros(500)
    points = CENTRE + towards * reach[:, None]
    return EdgePoints(
        xy=points, normal=-towards, u=flat + noise, blur=flat, good=np.ones(500, bool)
    )


def bore_of(edge):
    bore = round_outline(edge, 200.0, hollow=True)
    assert bore is not None
    return bore


def test_one_rim_is_left_as_it_is():
    edge = hole()
    bore = bore_of(edge)
    assert upper_rim(edge, bore, CENTRE[None], 0.01) == (bore, 0.0)


def test_of_two_rims_the_larger_is_the_upper_one():
    edge = hole(lower=np.array([2.5, 1.5]), lower_radius=78.5)
    bore = bore_of(edge)
    upper, apart = upper_rim(edge, bore, CENTRE[None], 0.01)
    # Twice what places either arc.
    assert apart == pytest.approx(np.hypot(2.5, 1.5), abs=0.03)
    # Each arc of half a turn places its circle to 0.02 px / sqrt(250) times about 4.
    np.testing.assert_allclose(upper.centre, CENTRE, atol=0.1)
    assert np.hypot(*(bore.centre - CENTRE)) > 0.5
    assert upper.u_centre > bore.u_centre


def test_a_wave_that_the_edges_may_make_themselves_is_no_second_rim():
    edge = hole(lower=np.array([0.7, 0.8]), lower_radius=79.4)  # a wave of 0.2 px
    bore = bore_of(edge)
    assert upper_rim(edge, bore, CENTRE[None], 0.01)[1] > 0.5
    assert upper_rim(edge, bore, CENTRE[None], 0.15) == (bore, 0.0)


def test_a_larger_circle_off_the_teeth_is_no_upper_rim():
    edge = hole(lower=np.array([2.5, 1.5]), lower_radius=78.5)
    bore = bore_of(edge)
    tips = bore.centre + np.array([0.3, 0.2])  # nearer to the one circle than to the larger of two
    assert upper_rim(edge, bore, tips[None], 0.01) == (bore, 0.0)


def test_between_two_rims_alike_the_middle_is_taken_and_doubted():
    edge = hole(lower=np.array([3.0, 0.0]))
    upper, apart = upper_rim(edge, bore_of(edge), CENTRE[None], 0.01)
    # Each arc is placed to 0.005, as above.
    np.testing.assert_allclose(upper.centre, CENTRE + np.array([1.5, 0]), atol=0.01)
    assert upper.u_along == pytest.approx(apart / 2)
    # Each arc places its middle to 0.005 of the three pixels.
    np.testing.assert_allclose(np.abs(upper.rims_way), [1, 0], atol=0.01)


@pytest.mark.parametrize(("oval", "serves"), [(0.0, True), (0.03, False)])
def test_a_hole_that_is_not_round_is_no_datum(oval, serves):
    bore = round_outline(hole(oval=oval), 2000.0, hollow=True)
    assert bore is not None
    assert round_enough(bore) == serves


def test_middles_that_disagree_are_told():
    axes = {"teeth": CENTRE, "tips": CENTRE + 0.1, "bore": CENTRE + np.array([2.0, 0.0])}
    (notice,) = axes_notices(axes, {"teeth": 0.1, "tips": 0.1, "bore": 0.1}, 0.01)
    assert "bore" in notice.message
    assert "20 µm" in notice.message
    assert axes_notices(axes, {"teeth": 1.0, "tips": 1.0, "bore": 1.0}, 0.01) == ()


@pytest.mark.parametrize(
    ("bore", "teeth", "u_teeth", "furthest", "open_px"),
    [
        ((3.0, 0.0), (0.0, 0.0), 0.05, inf, 3 / 3**0.5),
        ((3.0, 0.0), (0.0, 0.0), 0.05, 4.0, 3 / 3**0.5),
        ((3.0, 0.0), (0.0, 0.0), 0.05, 2.0, 0.0),  # no lean moves a rim of a sheet so far
        ((3.0, 0.0), (-2.0, 1.0), 0.05, inf, 3 / 3**0.5),  # cut off centre as well: how far is open
        ((3.0, 0.0), (1.0, 0.0), 1.0, inf, 3 / 3**0.5),  # the teeth stray, and are nearer the tips
        ((3.0, 0.0), (2.0, 0.0), 1.0, inf, 0.0),  # they stray, and are nearer the bore
        ((3.0, 0.0), (3.0, 0.1), 0.05, inf, 0.0),  # the blank was turned off centre
        ((0.1, 0.0), (4.0, 0.0), 0.05, inf, 0.0),  # the teeth were cut off centre
    ],
    ids=[
        "apart",
        "thick",
        "thin",
        "all apart",
        "for the tips",
        "for the bore",
        "teeth bear it out",
        "tips bear it out",
    ],
)
def test_a_bore_that_neither_tips_nor_teeth_bear_out_is_left_open(
    bore, teeth, u_teeth, furthest, open_px
):
    seen = replace(bore_of(hole()), centre=np.array(bore))
    found = left_open_by_rims(seen, np.array([(0, 0), teeth]), np.array([0.05, u_teeth]), furthest)
    assert found == pytest.approx(open_px)


@pytest.mark.parametrize("doubt", ["u_centre", "u_along"])
@pytest.mark.parametrize(("u_tips", "open_px"), [(0.6, 0.0), (0.1, 3 / 3**0.5)])
def test_a_bore_ill_seen_is_not_borne_out_by_tips_that_are_known_better(doubt, u_tips, open_px):
    seen = replace(bore_of(hole()), centre=np.array([3.0, 0.0]), **{doubt: 1.5})
    found = left_open_by_rims(seen, np.zeros((2, 2)), np.full(2, u_tips), inf)
    assert found == pytest.approx(open_px)
