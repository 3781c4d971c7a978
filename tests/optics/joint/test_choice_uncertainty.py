"""What choices leave in doubt: means over what may be right, and how far that lies apart."""

from types import SimpleNamespace

import numpy as np
import pytest

from cogloupe.optics.joint.choice_uncertainty import Doubts, doubts_of
from cogloupe.optics.joint.choices import Choice, Other
from cogloupe.optics.joint.from_prediction import _doubted
from cogloupe.optics.sampling import EdgePoints

from ...helpers.tolerances import ROUNDING

TURN = np.linspace(0, 2 * np.pi, 600, endpoint=False)
NORMAL = np.stack([np.cos(TURN), np.sin(TURN)], axis=1)


def seen(out):
    """A look whose edges lie so far out of those of another one."""
    return SimpleNamespace(
        profiles=TURN, crossings=SimpleNamespace(normal=NORMAL), off=lambda _: out + 0 * TURN
    )


def doubts(*others):
    return doubts_of(Choice(seen(0.0), tuple(Other(*other) for other in others)))


def test_explanations_that_tie_are_averaged_and_their_difference_told():
    found = doubts(("bevel", seen(2.0), 0.5))
    assert found.shift_px == pytest.approx(1.0)
    assert found.common_px == pytest.approx(1.0)
    assert found.own_px == pytest.approx(0.0, abs=ROUNDING)


def test_what_was_surely_ruled_out_moves_nothing():
    found = doubts(("bevel", seen(2.0), 1e-9), ("shadow", seen(-3.0), 1e-9))
    # Twice the chance of the one, three times that of the other.
    assert found.shift_px == pytest.approx(0.0, abs=1e-8)
    assert found.common_px < 1e-3


def test_curve_and_colours_are_told_and_move_nothing():
    found = doubts(("curve", seen(0.5), 0.5), ("colours", seen(0.5), 0.5))
    assert found.shift_px == 0
    assert found.common_px == pytest.approx(np.hypot(0.25, 0.25))


def test_a_stretch_seen_elsewhere_is_doubted_alone():
    stray = np.where(np.abs(TURN - np.pi) < 0.1, 4.0, 0.0)
    found = doubts(("colours", seen(stray), 0.25))
    # By chances of a quarter and three: 4 px times the root of 3/16, less what moves all.
    assert found.own_px[300] == pytest.approx(4 * np.sqrt(3 / 16), rel=0.1)
    assert np.median(found.own_px) < 0.2
    assert found.common_px == 0


def test_beside_the_usual_doubt_of_all_edges_each_stretch_keeps_what_it_has_more():
    ring = 100 * NORMAL
    crossings = SimpleNamespace(moved=lambda: ring, normal=NORMAL)
    best = SimpleNamespace(crossings=crossings, fit=SimpleNamespace(every=1))
    flat = np.zeros(len(ring))
    points = EdgePoints(xy=ring, normal=NORMAL, u=flat, blur=flat, good=flat == 0)
    own_px = np.where(np.abs(TURN - np.pi) < 0.1, 0.5, 0.3)
    found, usual = _doubted(points, Choice(best, ()), Doubts(0.2, 0.0, own_px))
    assert usual == pytest.approx(0.3)
    assert found.doubt == pytest.approx(np.where(own_px > 0.4, 0.4, 0.0), abs=ROUNDING)
    assert ((found.xy - ring) * NORMAL).sum(axis=1) == pytest.approx(0.2)
