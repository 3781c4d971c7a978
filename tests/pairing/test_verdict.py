"""The one thing to know of a pair, with U heeded on either side of each limit."""

from types import SimpleNamespace

import pytest

from cogloupe.pairing.verdict import verdict_of

from ..helpers.pair_gears import perfect_gear

GEAR = perfect_gear(20)


def told(least=9.0, mean=0.05, tips=9.0, ratio=1.5, fillet=9.0, empty=False):
    """The verdict on figures uncertain by 1 (the ratio by 0.1), all well where not named."""

    def figure(value, u=1.0):
        return SimpleNamespace(value=value, u=u)

    backlash = SimpleNamespace(least=figure(least), mean=figure(mean))
    room = SimpleNamespace(
        tips_a=figure(9.0), tips_b=figure(tips), ratio=figure(ratio, 0.1),
        fillet_a=figure(9.0), fillet_b=figure(fillet),
    )  # fmt: skip
    return verdict_of(GEAR, GEAR, backlash, room, SimpleNamespace(empty=empty))


@pytest.mark.parametrize(
    ("figures", "verdict"),
    [
        ({}, "free"),
        ({"empty": True, "least": -9.0}, "cannot_run"),
        ({"least": -2.1}, "tight"),
        ({"least": -1.9}, "perhaps_tight"),
        ({"least": 1.9}, "perhaps_tight"),
        ({"least": 2.1}, "free"),
        ({"tips": -2.1}, "tight"),
        ({"tips": -1.9}, "free"),
        ({"ratio": 0.79}, "ratio"),
        ({"ratio": 0.81}, "free"),
        ({"fillet": -2.1}, "fillet"),
        ({"fillet": -1.9}, "free"),
        ({"mean": 5.0}, "play"),
    ],
)
def test_what_is_surely_so_is_told_and_the_gravest_first(figures, verdict):
    assert told(**figures) == verdict
