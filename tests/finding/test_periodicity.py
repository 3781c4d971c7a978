"""What repeats about a centre."""

import numpy as np

from cogloupe.finding import periodicity
from cogloupe.finding.periodicity import FLAT, Rhythm, View, strongest_rhythms


def test_a_better_centre_is_sought_where_the_rhythm_itself_was_seen(monkeypatch):
    """Of a gear that leans none of the views is clear, and a leaning one is the best."""

    def seen(directions, place, slant, teeth):
        strength = 0.2 if slant == FLAT else 0.3 + slant.oval[0]
        rhythms = [
            Rhythm(strength=strength - k / 100, teeth=20 + k, x=0, y=0, tip_radius=9, turn=0,
                   slant=slant)
            for k in (0, 1)
        ]  # fmt: skip
        return View(rhythms, None, teeth)

    sought = []
    monkeypatch.setattr(periodicity, "_places", lambda *_: [(0.0, 0.0)])
    monkeypatch.setattr(periodicity, "_about", seen)
    monkeypatch.setattr(periodicity, "may_be_meant", lambda *_: True)
    monkeypatch.setattr(
        periodicity, "_bettered", lambda _, view, told: sought.append((view, told)) or []
    )
    first = strongest_rhythms(np.zeros((9, 9), complex))[0]
    assert first.slant != FLAT
    assert [told.slant for _, told in sought] == [first.slant, FLAT, FLAT]
    assert all(told in view.rhythms for view, told in sought)
