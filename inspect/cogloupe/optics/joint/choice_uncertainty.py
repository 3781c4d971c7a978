"""What each choice that could have gone the other way would have made of the edges."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from cogloupe.numerics.moving_average import running_mean
from cogloupe.optics.joint.choices import Choice, Other
from cogloupe.optics.joint.explanation import Look
from cogloupe_calibration.arrays import Floats

SMOOTH = 12
"""Edges that are averaged, so that noise is no doubt."""
TERMS = ("bevel", "shadow")
"""What edges may have."""
MOST_APART_PX = 6.0
"""How far two explanations of an edge count as apart at most: further off one of them has lost it
(our own judgement)."""


@dataclass(frozen=True)
class Doubts:
    """What choices leave in doubt, of the edges of the look that was chosen.

    Attributes
    ----------
    shift_px : float
        How far out of all edges their mean lies over the explanations, by their chances.
    common_px : float
        Standard uncertainty of all edges alike, out of or into the material, px.
    own_px : ndarray, shape (n,)
        The same of each edge by itself.
    """

    shift_px: float
    common_px: float
    own_px: Floats


def doubts_of(choice: Choice) -> Doubts:
    """Say what the choices left in doubt.

    Notes
    -----
    Terms of an edge exclude one another, so the mean over all of them is taken, weighed by their
    chances, of all edges alike: of single ones the best look knows most. Curve and colours were
    chosen each by itself; what they would have changed is doubt.
    """
    best = choice.best
    terms = [other for other in choice.others if other.source in TERMS]
    alone = [[other] for other in choice.others if other.source not in TERMS]
    shift, common, own = _mixture(best, terms)
    square, squares = common**2, own**2
    for others in alone:
        _, common, own = _mixture(best, others)
        square, squares = square + common**2, squares + own**2
    return Doubts(shift, sqrt(square), np.sqrt(squares))


def _mixture(best: Look, others: Sequence[Other]) -> tuple[float, float, Floats]:
    """Mean shift of all edges over explanations, and the spread of all alike and of each."""
    chance = np.array([1.0, *(other.odds / (1 - other.odds) for other in others)])
    chance /= chance.sum()
    none = np.zeros(len(best.profiles))
    apart = np.stack([none, *(_apart(best, other.look) for other in others)])
    own = np.stack([none, *(_own(best, other.look) for other in others)])
    middle = np.median(apart, axis=1)
    shift = float(chance @ middle)
    common = sqrt(max(float(chance @ middle**2) - shift**2, 0.0))
    return shift, common, np.sqrt(np.maximum(chance @ own**2 - (chance @ own) ** 2, 0.0))


def _own(best: Look, one: Look) -> Floats:
    """How far each edge by itself lies elsewhere: a gear moved or wider as a whole is no doubt."""
    apart = _apart(best, one)
    apart = apart - np.median(apart)
    normal = best.crossings.normal
    return np.asarray(apart - normal @ np.linalg.lstsq(normal, apart, rcond=None)[0])


def _apart(best: Look, one: Look) -> Floats:
    apart = running_mean(one.off(best)[None], SMOOTH)[0]
    return np.asarray(np.clip(apart, -MOST_APART_PX, MOST_APART_PX))
