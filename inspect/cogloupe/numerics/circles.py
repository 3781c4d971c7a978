"""Circles fitted to points."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cogloupe_calibration.arrays import Floats

TRIPLES = 300
"""Triples of points that are tried, drawn with a fixed seed so that results repeat: where three
points in ten belong to the circle, all miss it once in four thousand times."""


@dataclass(frozen=True)
class Circle:
    """A fitted circle.

    Attributes
    ----------
    x, y, radius : float
        Centre and radius, in the points' unit.
    rms : float
        Root mean square distance of the used points from it.
    used : ndarray, shape (n,), bool
        Points that took part.
    """

    x: float
    y: float
    radius: float
    rms: float
    used: NDArray[np.bool_]

    @property
    def centre(self) -> Floats:
        """Centre as an array (x, y)."""
        return np.array([self.x, self.y])

    @property
    def share(self) -> float:
        """Share of the points that took part."""
        return float(self.used.mean())


def fit_circle(xy: Floats) -> tuple[float, float, float]:
    """Least-squares circle: algebraic start, then three Gauss-Newton steps on true distances.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        At least three points.

    Returns
    -------
    x, y, radius : float

    References
    ----------
    The algebraic start is Kasa's; the refinement is the ordinary orthogonal-distance fit.
    """
    origin = xy.mean(axis=0)
    x, y = (xy - origin).T
    design = np.stack([2 * x, 2 * y, np.ones_like(x)], axis=1)
    cx, cy, c = np.linalg.lstsq(design, x**2 + y**2, rcond=None)[0]
    radius = float(np.sqrt(max(c + cx**2 + cy**2, 0.0)))
    for _ in range(3):
        dx, dy = x - cx, y - cy
        distance = np.maximum(np.hypot(dx, dy), 1e-12)
        design = np.stack([dx / distance, dy / distance, np.ones_like(x)], axis=1)
        step = np.linalg.lstsq(design, distance - radius, rcond=None)[0]
        cx, cy, radius = cx + step[0], cy + step[1], radius + float(step[2])
    return float(cx + origin[0]), float(cy + origin[1]), radius


def robust_circle(xy: Floats, tolerance: float) -> Circle | None:
    """Circle through the most points, then fitted to those within a tolerance of it.

    None for fewer than five points, or where no triple gives a circle.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Points, some of which may not belong to the circle.
    tolerance : float
        Distance within which a point belongs, in the points' unit.
    """
    if len(xy) < 5:
        return None
    rng = np.random.default_rng(20)
    triples = xy[rng.integers(0, len(xy), (TRIPLES, 3))]
    centres, radii = _through_three(triples)
    sample = xy[:: max(1, len(xy) // 600)]
    distance = np.hypot(*(sample[None] - centres[:, None]).transpose(2, 0, 1))
    votes = (np.abs(distance - radii[:, None]) < tolerance).sum(axis=1)
    best = int(np.argmax(votes))
    if votes[best] < 5:
        return None
    circle = (*centres[best], radii[best])
    for _ in range(4):
        used = np.abs(np.hypot(*(xy - circle[:2]).T) - circle[2]) < tolerance
        if used.sum() < 5:
            return None
        circle = fit_circle(xy[used])
    residual = np.hypot(*(xy - circle[:2]).T) - circle[2]
    used = np.abs(residual) < tolerance
    if not used.any():
        return None
    rms = float(np.sqrt(np.mean(residual[used] ** 2)))
    return Circle(circle[0], circle[1], circle[2], rms, used)


def _through_three(triples: Floats) -> tuple[Floats, Floats]:
    """Centre and radius of the circle through each three points; far away where they line up."""
    a, b, c = triples[:, 0], triples[:, 1] - triples[:, 0], triples[:, 2] - triples[:, 0]
    cross = 2 * (b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0])
    cross = np.where(np.abs(cross) < 1e-9, 1e-9, cross)
    bb, cc = (b**2).sum(axis=1), (c**2).sum(axis=1)
    ux = (c[:, 1] * bb - b[:, 1] * cc) / cross
    uy = (b[:, 0] * cc - c[:, 0] * bb) / cross
    return a + np.stack([ux, uy], axis=1), np.hypot(ux, uy)
