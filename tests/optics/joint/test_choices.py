"""Explanations of a whole outline, chosen by what they leave."""

from functools import cmp_to_key
from itertools import islice
from types import SimpleNamespace

import numpy as np
import pytest

from cogloupe.optics.joint import choices
from cogloupe.optics.joint.forward_model import Kind, Shadow


def seen_by(curve):
    greys = SimpleNamespace(curve=curve, weights=None)
    return SimpleNamespace(fit=SimpleNamespace(greys=greys), crossings=None, sound=True)


@pytest.mark.parametrize(("true", "chosen"), [(0.9, 0.9), (1.0, 1.0)])
def test_a_curve_between_the_usual_ones_is_found_where_neither_fits(monkeypatch, true, chosen):
    monkeypatch.setattr(choices, "with_curve", lambda _, curve: seen_by(curve).fit)
    monkeypatch.setattr(choices, "look", lambda fit, _: seen_by(fit.greys.curve))
    # What a wrong curve leaves grows as its square: the parabola through three of them is exact.
    left = lambda found: 0.5 + 1000 * (found.fit.greys.curve - true) ** 2  # noqa: E731
    monkeypatch.setattr(choices, "lopsided", left)
    found = choices._any_curve([seen_by(1.0), seen_by(0.0)])
    assert found.fit.greys.curve == pytest.approx(chosen)


@pytest.mark.parametrize(
    ("more", "sure", "sensible", "taken"),
    [(9, 9, True, True), (0, 9, True, False), (9, 0, True, False), (9, 9, False, False)],
)
def test_another_explanation_is_taken_where_it_is_better_and_sure_and_makes_sense(
    monkeypatch, more, sure, sensible, taken
):
    monkeypatch.setattr(choices, "gain", lambda *_: (more, sure))
    monkeypatch.setattr(choices, "_sensible", lambda _: sensible)
    best, other = seen_by(0.0), seen_by(1.0)
    assert (choices._better(best, [other]) is other) is taken


TOWARDS = np.linspace(-np.pi, np.pi, 9)
NORMAL = np.stack([np.cos(TOWARDS), np.sin(TOWARDS)], axis=1)
IN_SHADOW = NORMAL[:, 0] > 0
SHADOW = Shadow(shade=0.8, fall=(5.0, 0.0), soft_px=1.0)


def told(u_px, off_px=0.0, **kind):
    """A look that knows its edges so well, and sees them so far out of another's."""
    fit = SimpleNamespace(kind=Kind(**kind))
    placed = SimpleNamespace(u=np.full(9, u_px))
    return SimpleNamespace(
        fit=fit, placed=placed, crossings=SimpleNamespace(normal=NORMAL),
        off=lambda _: np.broadcast_to(off_px, 9),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("bright", "hued", "believed"),
    [
        (told(0.1), told(0.05), "hued"),
        (told(0.1), told(0.09), "bright"),
        (told(0.1), told(0.2, off_px=2.0), "hued"),
        (told(0.1), told(0.2, off_px=-2.0), "bright"),
        (told(0.1), told(0.9, off_px=2.0), "bright"),
        (told(0.1, width_px=2.0), told(0.2, off_px=2.0), "bright"),
        (told(0.1, shadow=SHADOW), told(0.2, off_px=2.0), "hued"),
        (told(0.1, shadow=SHADOW), told(0.05, off_px=0.3 + 2 * IN_SHADOW), "bright"),
    ],
    ids=[
        "clearer",
        "hardly clearer",
        "outer",
        "inner",
        "outer but vague",
        "beside a bevel",
        "outer in the light as well",
        "outer in a shadow only",
    ],
)
def test_colours_are_believed_that_know_their_edges_better_or_see_them_further_out(
    bright, hued, believed
):
    first, other = choices._clearer(bright, hued)
    assert (first is hued) == (believed == "hued")
    assert {id(first), id(other)} == {id(bright), id(hued)}


def test_narrow_bands_begin_with_the_single_edge_as_either_of_theirs(monkeypatch):
    monkeypatch.setattr(choices, "_with_band", lambda fit, width, blur: width)
    crossings = SimpleNamespace(recentred=lambda out_px: out_px)
    base = SimpleNamespace(blur=np.full(9, 2.0), fit=None, crossings=crossings)
    count = len(choices.NARROW_BLURS) * len(choices.NARROW_SHIFTS)
    starts = list(islice(choices._band_starts(base, None, None), count))
    for width in {width for width, _ in starts}:
        out = [out_px / width for each, out_px in starts if each == width]
        assert (min(out), max(out)) == (0, 1)


def test_what_might_be_right_instead_is_the_other_usual_curve(monkeypatch):
    looks = {curve: seen_by(curve) for curve in choices.CURVES}
    monkeypatch.setattr(choices, "with_curve", lambda _, curve: looks[curve].fit)
    monkeypatch.setattr(choices, "look", lambda fit, _: looks[fit.greys.curve])
    monkeypatch.setattr(choices, "unexplained", lambda _: 0.0)
    monkeypatch.setattr(choices, "lopsided", lambda found: 2.0 - found.fit.greys.curve)
    crossings = SimpleNamespace(recentred=lambda _: None)
    near = SimpleNamespace(crossings=crossings, near=lambda _: SimpleNamespace(out=0.0))
    choice = choices.choose(SimpleNamespace(greys=None), near, coloured=False)
    assert choice.best is looks[1.0]
    assert [other.look for other in choice.others] == [looks[0.0]]


def test_beginnings_of_a_band_are_carried_on_best_first(monkeypatch):
    monkeypatch.setattr(choices, "gain", lambda one, two: (two - one, 9.0))
    explained = [1.0, 1.3, 0.5, 1.1]
    assert sorted(explained, key=cmp_to_key(choices._best_first)) == sorted(explained)[::-1]
