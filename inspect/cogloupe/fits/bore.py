"""Round things on a picture: the bore, the tip circle, and a pin or disc of known size."""

from dataclasses import dataclass, field, replace
from math import hypot, pi, sqrt

import cv2
import numpy as np

from cogloupe.numerics.circles import fit_circle, robust_circle
from cogloupe.optics.sampling import EdgePoints
from cogloupe_calibration import robust
from cogloupe_calibration.arrays import Floats

ROUND_SHARE = 0.6
"""Share of a hole's edge that must lie on one circle for it to serve as bore; a keyway takes less
than a quarter of the turn (common practice, no source)."""
FULL = 0.25
"""Share of its circle's area that a round hole holds at least; the frame may cut it, but a mark
along an arc holds next to nothing."""
LARGEST, CENTRAL = 0.97, 0.2
"""Radius up to which a hole may be the bore, and how far from the teeth's axis, in radii of the gap
floors: a rim must be left, and holes of crossed-out spokes lie further out (our own judgement)."""
NEAR_PX, NEAR = 0.6, 0.004
"""How near to one circle a hole's edge must lie, px and in radii of the gap floors (our own
judgement)."""
LOBES = range(3, 9)
"""Lobes of a bore that neither lens nor lean makes."""


@dataclass(frozen=True, kw_only=True)
class Bore:
    """A round hole at the middle of the gear, px.

    Attributes
    ----------
    centre : ndarray, shape (2,)
    u_centre, u_radius : float
        Standard uncertainties from the scatter of the edge about the circle.
    rms : float
        Root mean square distance of the edge from the circle.
    share : float
        Share of the edge that belongs to the circle.
    hole : int
        Which of the holes it is.
    rims_apart : float or None
        How far its rims lie apart on the picture at most, where its wall was looked for; None where
        that is not known.
    rims_way : ndarray, shape (2,)
        Unit vector along which they lie apart; noughts where that is not known.
    u_along : float
        What two rims that are both seen leave open of the centre along that way, px.
    """

    centre: Floats
    radius: float
    u_centre: float
    u_radius: float
    rms: float
    share: float
    hole: int = 0
    rims_apart: float | None = None
    rims_way: Floats = field(default_factory=lambda: np.zeros(2))
    u_along: float = 0.0

    @property
    def u_place(self) -> float:
        """Standard uncertainty of the centre in the way in which it is least sure, px."""
        return hypot(self.u_centre, self.u_along)


def find_bore(holes: tuple[EdgePoints, ...], axis: Floats, root_radius: float) -> Bore | None:
    """Find the round hole about the gear's axis.

    The round hole nearest to the axis, for its size; None where no hole is round and central.

    Parameters
    ----------
    holes : tuple of EdgePoints
        Edges of the holes in the gear.
    axis : ndarray, shape (2,)
        Axis of the teeth, px.
    root_radius : float
        Radius of the gap floors, px.
    """
    largest = LARGEST * root_radius
    bores = [
        replace(bore, hole=index)
        for index, hole in enumerate(holes)
        if (bore := round_outline(hole, root_radius, hollow=True)) is not None
    ]
    bores = [bore for bore in bores if bore.radius <= largest]
    central = [b for b in bores if np.hypot(*(b.centre - axis)) < CENTRAL * root_radius]
    return min(central, key=lambda b: np.hypot(*(b.centre - axis)) - 0.3 * b.radius, default=None)


def round_outline(edge: EdgePoints, size: float, hollow: bool) -> Bore | None:
    """Circle of an outline, where most of it lies on one; `size` sets what lies near, px."""
    rough = robust_circle(edge.xy, max(NEAR_PX, NEAR * size))
    if rough is None or rough.share < ROUND_SHARE:
        return None
    if cv2.contourArea(edge.xy.astype(np.float32)) < FULL * pi * rough.radius**2:
        return None
    # Blur moves a curved edge towards its centre of curvature; a hollow one curves the other way.
    xy = edge.straightened((-1 if hollow else 1) / rough.radius)
    x, y, radius = fit_circle(xy[rough.used])
    residual = np.hypot(*(xy - [x, y]).T) - radius
    limit = max(4 * robust.scatter(residual[rough.used]), 0.05)
    used = np.abs(residual) < limit
    if used.mean() < ROUND_SHARE / 1.5:
        return None
    x, y, radius = fit_circle(xy[used])
    residual = np.hypot(*(xy[used] - [x, y]).T) - radius
    rms = float(np.sqrt(np.mean(residual**2)))
    scatter = rms * sqrt(_run_factor(residual) / used.sum())
    u_centre = max(scatter * sqrt(2), _lobe(xy[used] - [x, y], residual))
    return Bore(
        centre=np.array([x, y]),
        radius=radius,
        u_centre=u_centre,
        u_radius=scatter,
        rms=rms,
        share=float(used.mean()),
    )


def _lobe(arm: Floats, residual: Floats) -> float:
    """Root mean square of the amplitudes of a circle's lobes.

    What makes lobes of three and more moves the centre by as much: its own form, and noise that
    neighbouring points share. (Two lobes are what lens and lean make of it.)
    """
    turn = np.arctan2(arm[:, 1], arm[:, 0])
    design = np.column_stack([f(k * turn) for k in LOBES for f in (np.cos, np.sin)])
    return float(np.sqrt(np.mean(np.linalg.lstsq(design, residual, rcond=1e-3)[0] ** 2)))


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
