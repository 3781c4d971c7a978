"""The axes that can be seen: of the bore, of the teeth, of the tips."""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from cogloupe.circles import Circle, fit_circle, robust_circle
from cogloupe.edges import EdgePoints

Floats = NDArray[np.float64]

ROUND_SHARE = 0.6
"""Share of a hole's edge that must lie on one circle for it to serve as bore; a keyway takes less
than a quarter of the turn (common practice, no source)."""


@dataclass(frozen=True)
class Bore:
    """A round hole at the middle of the gear, px.

    Attributes
    ----------
    centre : ndarray, shape (2,)
    radius : float
    u_centre, u_radius : float
        Standard uncertainties from the scatter of the edge about the circle.
    rms : float
        Root mean square distance of the edge from the circle.
    share : float
        Share of the edge that belongs to the circle.
    """

    centre: Floats
    radius: float
    u_centre: float
    u_radius: float
    rms: float
    share: float


def find_bore(holes: tuple[EdgePoints, ...], axis: Floats, root_radius: float) -> Bore | None:
    """Find the round hole about the gear's axis.

    Parameters
    ----------
    holes : tuple of EdgePoints
        Edges of the holes in the gear.
    axis : ndarray, shape (2,)
        Axis of the teeth, px.
    root_radius : float
        Radius of the gap floors, px.

    Returns
    -------
    Bore or None
        The round hole nearest to the axis, for its size; None where no hole is round and central.
    """
    bores = [bore for hole in holes if (bore := _round(hole, root_radius)) is not None]
    central = [b for b in bores if np.hypot(*(b.centre - axis)) < 0.2 * root_radius]
    return min(central, key=lambda b: np.hypot(*(b.centre - axis)) - 0.3 * b.radius, default=None)


def _round(hole: EdgePoints, root_radius: float) -> Bore | None:
    """Circle of a hole, where most of its edge lies on one."""
    rough = robust_circle(hole.xy, max(0.6, 0.004 * root_radius))
    if rough is None or rough.share < ROUND_SHARE or rough.radius > 0.97 * root_radius:
        return None
    # The hole is hollow: its edge curves the other way, by one over the radius.
    xy = hole.straightened(-1 / rough.radius)
    x, y, radius = fit_circle(xy[rough.used])
    residual = np.hypot(*(xy - [x, y]).T) - radius
    limit = max(4 * 1.4826 * float(np.median(np.abs(residual[rough.used]))), 0.05)
    used = np.abs(residual) < limit
    if used.mean() < ROUND_SHARE / 1.5:
        return None
    x, y, radius = fit_circle(xy[used])
    residual = np.hypot(*(xy[used] - [x, y]).T) - radius
    rms = float(np.sqrt(np.mean(residual**2)))
    scatter = rms * sqrt(_run_factor(residual) / used.sum())
    return Bore(np.array([x, y]), radius, scatter * sqrt(2), scatter, rms, float(used.mean()))


def _run_factor(residual: Floats, lags: int = 40) -> float:
    """Variance factor of a mean from the correlation along the edge: 1 + 2 sum rho."""
    variance = float(np.mean(residual**2))
    total = 1.0
    for lag in range(1, min(lags, len(residual) // 4)):
        rho = float(np.mean(residual[lag:] * residual[:-lag])) / max(variance, 1e-18)
        if rho < 2 / sqrt(len(residual)):
            break
        total += 2 * rho
    return total


def tip_circle(xy: Floats) -> Circle | None:
    """Circle through the tip lands.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Edge points on the tip lands, px.

    Returns
    -------
    Circle or None
    """
    return robust_circle(xy, 1.5) if len(xy) >= 12 else None
