"""Which teeth to put together, where the tooth numbers leave a choice."""

from dataclasses import dataclass
from math import gcd

import numpy as np

from cogloupe.pairing.composite import composite
from cogloupe.pairing.rolling import Mesh, Start, roll

MANY_STARTS = 400
"""Starts beyond which only every so many is tried."""


@dataclass(frozen=True, kw_only=True)
class Starts:
    """Kinematic error from every start that differs.

    Attributes
    ----------
    start : tuple of (int, int)
        Tooth 1 of A, and the gap of B it stands in.
    total_um : tuple of float
        Total single-flank deviation of the worse way round, on B's reference circle.
    """

    start: tuple[Start, ...]
    total_um: tuple[float, ...]

    @property
    def best(self) -> Start:
        """Start with the least."""
        return self.start[int(np.nanargmin(self.total_um))]


def try_starts(mesh: Mesh) -> Starts:
    """Try every start that leads to other teeth meeting.

    A tooth meets every gap whose number lies the greatest common divisor of the tooth numbers
    apart; with none, all starts are one.

    Parameters
    ----------
    mesh : Mesh
        A few places in a pitch do.
    """
    differing = gcd(mesh.a.teeth, mesh.b.teeth)
    gaps = range(1, differing + 1, max(differing // MANY_STARTS, 1))
    starts = tuple((1, gap) for gap in gaps)
    arc = 1000 * mesh.b.wheel.reference_radius
    totals = []
    for start in starts:
        lead = roll(mesh, start).lead
        totals.append(arc * max(composite(one).total for one in lead))
    return Starts(start=starts, total_um=tuple(totals))
