"""Dividing by hand on a worm's plates of hole circles, in exact fractions.

Counting; common practice, no source.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True)
class PlateSetting:
    """One way to divide by hand on a plate of hole circles.

    `turns` are whole turns of the crank for each tooth, `holes` further ones.
    """

    circle: int
    turns: int
    holes: int


def plate_settings(
    turns_per_work_turn: Fraction, teeth: int, circles: Iterable[int]
) -> tuple[PlateSetting, ...]:
    """Hole circles that divide a tooth count exactly, at so many turns of a crank to the work's.

    In the order of the circles; empty where none fits.
    """
    settings = []
    for circle in circles:
        holes = turns_per_work_turn / teeth * circle
        if holes.denominator == 1:
            settings.append(PlateSetting(circle, *divmod(int(holes), circle)))
    return tuple(settings)
