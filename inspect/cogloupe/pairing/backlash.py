"""Backlash at every mesh position of a pair, and the spots where it is least.

Lengths mm, as arcs on the working pitch circles.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from cogloupe.pairing.centre_distance import backlash_mm
from cogloupe.pairing.known import Known
from cogloupe.pairing.rolling import Mesh, Rolled, Start, touching
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import UseError

TIGHTEST = 6
"""Tight spots that are named."""


@dataclass(frozen=True)
class Spot:
    """A tight spot.

    Attributes
    ----------
    place : float
        Pitches turned from the start.
    left, right : (int, int)
        Teeth of A and B whose left and right flanks touch there.
    """

    backlash: float
    place: float
    left: tuple[int, int]
    right: tuple[int, int]

    @property
    def squeezed(self) -> tuple[Literal["a", "b", ""], int, int]:
        """Whose tooth is caught in a gap of the other, its number and the gap's; or neither's."""
        if self.left[0] == self.right[0]:
            return "a", self.left[0], self.right[1]
        if self.left[1] == self.right[1]:
            return "b", self.left[1], self.right[0]
        return "", 0, 0


@dataclass(frozen=True, kw_only=True)
class Backlash:
    """Backlash as an arc on the working pitch circles.

    Attributes
    ----------
    square : float
        Times an arc: distance square to the flanks.
    per_radian : (float, float)
        Times an angle of A, of B: an arc.
    tightest : tuple of Spot
        The tightest steps, tightest first; neighbours count once.
    known : float
        Share of the mesh positions whose flanks were seen.
    """

    least: Known
    mean: Known
    most: Known
    square: float
    per_radian: tuple[float, float]
    tightest: tuple[Spot, ...]
    known: float


def find_backlash(
    mesh: Mesh, rolled: Rolled, start: Start, u: tuple[float, float, float]
) -> Backlash:
    """Find the backlash over a period, and where it is least.

    Parameters
    ----------
    u : (float, float, float)
        Standard uncertainties of the least, the mean and the most, as angles of B.

    Raises
    ------
    UseError
        Where not one mesh position shows all flanks that might touch.
    """
    free, radius = backlash_mm(mesh, rolled), mesh.working_radius
    known = np.isfinite(free)
    if not known.any():
        raise UseError(
            f"no mesh position of {mesh.a.name} and {mesh.b.name} shows all flanks that might "
            "touch: take pictures that show more of the teeth"
        )
    return Backlash(
        least=Known(float(np.nanmin(free)), u[0] * radius),
        mean=Known(float(np.nanmean(free)), u[1] * radius),
        most=Known(float(np.nanmax(free)), u[2] * radius),
        square=mesh.b.arm / radius,
        per_radian=(mesh.centre_mm - radius, radius),
        tightest=_tightest(mesh, free, start),
        known=float(known.mean()),
    )


def _tightest(mesh: Mesh, free: Floats, start: Start) -> tuple[Spot, ...]:
    """The tightest places of steps that are tighter than both neighbours."""
    known = np.where(np.isfinite(free), free, np.inf)
    least = known.min(axis=1)
    lower = (least <= np.roll(least, 1)) & (least < np.roll(least, -1)) & np.isfinite(least)
    steps = np.flatnonzero(lower) if lower.any() else np.array([int(np.argmin(least))])
    return tuple(
        _spot(mesh, known, start, int(step)) for step in steps[np.argsort(least[steps])][:TIGHTEST]
    )


def _spot(mesh: Mesh, known: Floats, start: Start, step: int) -> Spot:
    phase = int(np.argmin(known[step]))
    place = step + (phase + 0.5) / known.shape[1] - 0.5
    sides = (touching(mesh, side, start, np.array([place])) for side in (0, 1))
    left, right = ((int(a[0]), int(b[0])) for _, a, b in sides)
    return Spot(float(known[step, phase]), place, left, right)
