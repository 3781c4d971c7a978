"""Explanations of a whole outline, chosen by what they leave."""

from types import SimpleNamespace

import pytest

from cogloupe.optics.joint import choices


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
