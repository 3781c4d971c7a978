"""What each choice that could have gone the other way would have made of the edges."""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from cogloupe.numerics.moving_average import running_mean
from cogloupe.optics.joint.choices import Other
from cogloupe.optics.joint.looks import Look

SMOOTH = 12
"""Edges that are averaged, so that noise is no doubt."""
MOST_APART_PX = 6.0
"""How far two explanations of an edge count as apart at most: further off one of them has lost it
(our own judgement)."""


@dataclass(frozen=True)
class Doubt:
    """Standard uncertainty of edges from a choice, px.

    Attributes
    ----------
    source : str
        ``curve``, ``bevel``, ``shadow``, ``colours``, ``bevel`` or ``burnt``.
    common_px : float
        Of all edges alike, out of or into the material.
    apart_px : float
        Of each flank by itself, or by the way it faces.
    """

    source: str
    common_px: float
    apart_px: float


def doubt_of(best: Look, other: Other) -> Doubt:
    """Say what a choice leaves in doubt.

    Parameters
    ----------
    best : Look
        What was believed.
    other : Other
        What might be right instead, of the same edges.

    Returns
    -------
    Doubt
        Standard deviations of edges that lie at the one or the other by the odds.
    """
    apart = running_mean(other.look.off(best)[None], SMOOTH)[0]
    apart = np.clip(apart, -MOST_APART_PX, MOST_APART_PX)
    share = sqrt(other.odds * (1 - other.odds))
    middle = float(np.median(apart))
    normal = best.crossings.normal
    # A gear that is moved as a whole is no doubt about its flanks.
    moved = normal @ np.linalg.lstsq(normal, apart - middle, rcond=None)[0]
    return Doubt(other.source, share * abs(middle), share * float(np.std(apart - middle - moved)))
