"""Which tooth counts a set-up divides, by its motor or by hand.

Counting in exact fractions; common practice, no source.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from cogloupe.planning.indexing import (
    StepRule,
    Train,
    drift_steps,
    repeats,
    steps_at_teeth,
    steps_per_tooth,
)


@dataclass(frozen=True)
class Division:
    """Whether a tooth count comes out.

    Attributes
    ----------
    teeth : int
        Number of teeth.
    exact : bool
        Every tooth gets the same whole number of steps, and the turn closes.
    closes : bool
        No error is carried from one turn of the work to the next.
    drift_steps : Fraction
        Steps too many (or too few, below zero) in each turn of the work.
    largest_single_steps : Fraction
        Largest error of one pitch, steps.
    """

    teeth: int
    exact: bool
    closes: bool
    drift_steps: Fraction
    largest_single_steps: Fraction


@dataclass(frozen=True)
class PlateSetting:
    """One way to divide by hand on a plate of hole circles.

    Attributes
    ----------
    circle : int
        Holes in the circle.
    turns : int
        Whole turns of the crank for each tooth.
    holes : int
        Further holes for each tooth.
    """

    circle: int
    turns: int
    holes: int


def division(train: Train, teeth: int, rule: StepRule) -> Division:
    """Tell whether a set-up divides a tooth count.

    Parameters
    ----------
    train : Train
        The set-up.
    teeth : int
        Number of teeth.
    rule : {'accumulator', 'nearest', 'fixed'}
        How the controller rounds.

    Returns
    -------
    Division
    """
    made = steps_at_teeth(train, teeth, rule)[:-1]
    due = steps_per_tooth(train, teeth)
    # Tooth 1 closes the turn: its pitch runs from the last tooth's place to a full turn.
    places = [*(Fraction(count) for count in made), train.steps_per_turn]
    largest = max(abs(after - before - due) for before, after in pairwise(places))
    drift = drift_steps(train, teeth, rule)
    exact = largest == 0 and drift == 0 and repeats(train, teeth)
    return Division(teeth, exact, drift == 0, drift, largest)


def undivided(train: Train, counts: Iterable[int], rule: StepRule) -> tuple[Division, ...]:
    """Tooth counts that a set-up cannot divide exactly.

    Parameters
    ----------
    train : Train
        The set-up.
    counts : iterable of int
        Tooth counts to look at.
    rule : {'accumulator', 'nearest', 'fixed'}
        How the controller rounds.

    Returns
    -------
    tuple of Division
        Those that are not exact, in the order given.
    """
    divisions = (division(train, teeth, rule) for teeth in counts)
    return tuple(d for d in divisions if not d.exact)


def plate_settings(
    turns_per_work_turn: Fraction, teeth: int, circles: Iterable[int]
) -> tuple[PlateSetting, ...]:
    """Hole circles that divide a tooth count exactly, by hand on a worm's crank.

    Parameters
    ----------
    turns_per_work_turn : Fraction
        Turns of the crank to one turn of the work.
    teeth : int
        Number of teeth.
    circles : iterable of int
        Holes in each circle of the plates.

    Returns
    -------
    tuple of PlateSetting
        In the order of the circles; empty where none fits.
    """
    settings = []
    for circle in circles:
        holes = turns_per_work_turn / teeth * circle
        if holes.denominator == 1:
            settings.append(PlateSetting(circle, *divmod(int(holes), circle)))
    return tuple(settings)
