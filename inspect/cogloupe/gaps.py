"""The shape of the gaps and of the tips: radii of floor and tip, depth, widths, fillet.

Lengths are px of the picture, angles rad. "Near the floor" is on a circle `NEAR_FLOOR` modules
above the floor that was found; the same circle is used on the theoretical gap.
"""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from cogloupe.circles import Circle
from cogloupe.datum import tip_circle
from cogloupe.deviations import wrapped
from cogloupe.edges import EdgePoints
from cogloupe.grouped import grouped_polynomials
from cogloupe.teeth import ToothMap, polar
from cogloupe.tooth_form import Wheel

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

NEAR_FLOOR = 0.25
FLOOR_MIDDLE = 0.12
"""Half width, in modules, of the middle of the floor whose radius is taken."""
FLOOR_EDGE = 0.05
"""Height above the floor, in modules, at which the floor is said to end."""


@dataclass(frozen=True)
class Radii:
    """Radii about an axis with standard uncertainties; NaN where not measured."""

    value: Floats
    u: Floats


@dataclass(frozen=True)
class GapShape:
    """Widths of each gap (z of each), px, with standard uncertainties from edge noise."""

    near_floor: Floats
    u_near_floor: Floats
    floor_width: Floats
    u_floor_width: Floats
    fillet_radius: Floats
    u_fillet_radius: Floats


def tip_radii(
    edges: EdgePoints, teeth: ToothMap, axis: Floats, half_tip: float, crested: bool = False
) -> tuple[Radii, Circle | None]:
    """Radius of every tip land about an axis, and the circle through all of them.

    Parameters
    ----------
    edges, teeth
        The outline and its teeth.
    axis : ndarray, shape (2,)
        Axis, px.
    half_tip : float
        Half the angle a tip land subtends, rad.
    crested : bool
        True for tips that are rounded or come to a ridge: the radius is that of the crest.

    Returns
    -------
    Radii
        One a tooth; the land's own corners, two blurs wide, are left out.
    Circle or None
        Circle through the lands.
    """
    radius, angle = polar(edges.xy, axis)
    outwards = (edges.normal * (edges.xy - axis)).sum(axis=1) / radius
    away = np.abs(wrapped(angle - teeth.centre_angle[teeth.tooth]))
    clear = half_tip - 2.5 * edges.blur / np.maximum(radius, 1.0)
    on_land = (outwards > 0.9) & (away < clear) & (radius > teeth.mid_radius) & edges.good
    index = np.flatnonzero(on_land)
    lands = edges.take(index)
    xy = lands.straightened(1 / teeth.tip_radius)
    radius = polar(xy, axis)[0]
    tooth = teeth.tooth[index]
    across = wrapped(angle[index] - teeth.centre_angle[tooth]) / half_tip * crested
    mean, u = grouped_polynomials(tooth, across, radius, teeth.teeth, 2 if crested else 0)
    return Radii(mean[:, 0], u), tip_circle(xy)


def floor_radii(edges: EdgePoints, teeth: ToothMap, axis: Floats, gear: Wheel) -> Radii:
    """Radius of every gap's floor about an axis.

    Parameters
    ----------
    edges, teeth
        The outline and its teeth.
    axis : ndarray, shape (2,)
        Axis, px.
    gear : Wheel
        The theoretical gear in px, for how the floor rises into the fillets.

    Returns
    -------
    Radii
        One a gap: the middle of the floor, less what the fillets and blur make it rise there.
    """
    radius, angle = polar(edges.xy, axis)
    gap, middle = gap_of(teeth)
    module, blur = gear.module_mm, float(np.median(edges.blur))
    across = np.abs(wrapped(angle - middle[gap]) * radius)
    outwards = (edges.normal * (edges.xy - axis)).sum(axis=1) / radius
    low = (across < max(FLOOR_MIDDLE * module, 2.5)) & (outwards > 0.7) & edges.good
    low &= radius < teeth.mid_radius
    theory_radius, theory_angle = gear.half_gaps()
    rise_at = theory_angle.mean(axis=0) * theory_radius

    def rise(x: Floats) -> Floats:
        return np.asarray(np.interp(np.abs(x), rise_at, theory_radius - theory_radius[0]))

    # Blur averages the floor along itself: the edge seen lies at the Gaussian mean of its rise.
    nodes, weights = np.polynomial.hermite_e.hermegauss(9)
    seen = rise(across[low][:, None] + blur * nodes) @ (weights / weights.sum())
    level = radius[low] - seen + blur**2 / (2 * teeth.root_radius)
    fitted, u = grouped_polynomials(gap[low], np.zeros(level.size), level, teeth.teeth, 0)
    return Radii(fitted[:, 0], np.hypot(u, float(rise(np.array(blur))) / 4))


def gap_of(teeth: ToothMap) -> tuple[Ints, Floats]:
    """Gap of every outline point, and where the gaps are.

    Parameters
    ----------
    teeth : ToothMap

    Returns
    -------
    gap : ndarray, shape (n,), int
        Index of the tooth before the point's gap.
    middle : ndarray, shape (z,)
        Rough angle of every gap's middle, rad.
    """
    z = teeth.teeth
    gap = np.where(teeth.side == 1, teeth.tooth, (teeth.tooth - 1) % z)
    following = np.append(teeth.centre_angle[1:], teeth.centre_angle[0] + 2 * pi)
    return gap, (teeth.centre_angle + following) / 2


def flank_angles_at(
    edges: EdgePoints, teeth: ToothMap, axis: Floats, radius: Floats, reach: float
) -> tuple[Floats, Floats]:
    """Angle of every flank (or fillet) on a circle, from the outline points near it.

    Parameters
    ----------
    edges, teeth, axis
        As above.
    radius : ndarray, shape (z, 2)
        Radius of the circle for each flank, px.
    reach : float
        Points within this of the circle are used, px.

    Returns
    -------
    angle, u : ndarray, shape (z, 2)
        Angle relative to the tooth's rough centre, rad; NaN where points are too few.
    """
    r, angle = polar(edges.xy, axis)
    flank = 2 * teeth.tooth + teeth.side
    wanted = radius.ravel()[flank]
    with np.errstate(invalid="ignore"):
        near = (np.abs(r - wanted) < reach) & edges.good
    away = wrapped(angle - teeth.centre_angle[teeth.tooth])
    fitted, u = grouped_polynomials(
        flank[near], (r - wanted)[near] / reach, away[near], 2 * teeth.teeth, 2
    )
    return fitted[:, 0].reshape(-1, 2), u.reshape(-1, 2)


def gap_shape(
    edges: EdgePoints, teeth: ToothMap, axis: Floats, floor: Floats, module: float
) -> GapShape:
    """Widths of every gap near its floor, and its fillets.

    Parameters
    ----------
    edges, teeth, axis
        As above.
    floor : ndarray, shape (z,)
        Floor radii, px.
    module : float
        Module, px.

    Returns
    -------
    GapShape
    """
    blur = float(np.median(edges.blur))
    near, u_near = _width_above(edges, teeth, axis, floor, NEAR_FLOOR * module, 0.1 * module)
    edge, u_edge = _width_above(
        edges, teeth, axis, floor, FLOOR_EDGE * module, max(0.04 * module, 0.4)
    )
    fillet, u_fillet = _fillets(edges, teeth, axis, floor, module, blur)
    return GapShape(near, u_near, edge, u_edge, fillet, u_fillet)


def _width_above(
    edges: EdgePoints, teeth: ToothMap, axis: Floats, floor: Floats, height: float, reach: float
) -> tuple[Floats, Floats]:
    """Width of each gap on a circle a height above its floor, as an arc."""
    circle = floor + height
    radius = np.stack([np.roll(circle, 1), circle], axis=1)  # left flank k borders gap k - 1
    away, u = flank_angles_at(edges, teeth, axis, radius, reach)
    following = np.append(teeth.centre_angle[1:], teeth.centre_angle[0] + 2 * pi)
    left = following + np.roll(away[:, 0], -1)
    right = teeth.centre_angle + away[:, 1]
    return (left - right) * circle, np.hypot(np.roll(u[:, 0], -1), u[:, 1]) * circle


def _fillets(
    edges: EdgePoints, teeth: ToothMap, axis: Floats, floor: Floats, module: float, blur: float
) -> tuple[Floats, Floats]:
    """Mean radius of each gap's two fillets: circles fitted to the rounding above the floor."""
    radius, angle = polar(edges.xy, axis)
    gap, middle = gap_of(teeth)
    with np.errstate(invalid="ignore"):
        height = (radius - floor[gap]) / module
        chosen = (height > 0.01) & (height < 0.22) & edges.good
    x = wrapped(angle - middle[gap]) * radius / module
    y = height
    corner = 2 * gap + (x > 0)
    size, u = _circles(corner[chosen], x[chosen], y[chosen], 2 * teeth.teeth)
    radii = size * module
    # Blur moves a hollow edge away from its centre of curvature, so it looks smaller by s^2 / 2R.
    radii = radii + blur**2 / (2 * np.maximum(radii, blur))
    pairs = radii.reshape(-1, 2)
    return pairs.mean(axis=1), np.hypot(*(u.reshape(-1, 2) * module).T) / 2


def _circles(group: Ints, x: Floats, y: Floats, groups: int) -> tuple[Floats, Floats]:
    """Algebraic circles through many groups of points: radii, and their u."""
    square = x**2 + y**2
    design = np.stack([2 * x, 2 * y, np.ones_like(x)], axis=1)
    count = np.bincount(group, minlength=groups)
    normal = np.empty((groups, 3, 3))
    right = np.empty((groups, 3))
    for i in range(3):
        right[:, i] = np.bincount(group, design[:, i] * square, groups)
        for j in range(3):
            normal[:, i, j] = np.bincount(group, design[:, i] * design[:, j], groups)
    enough = count >= 8
    normal[~enough] = np.eye(3)
    solution = np.linalg.solve(normal + 1e-12 * np.eye(3), right[:, :, None])[:, :, 0]
    cx, cy, c = solution.T
    with np.errstate(invalid="ignore"):
        radius = np.sqrt(c + cx**2 + cy**2)
    radius = np.where(enough, radius, np.nan)
    residual = np.hypot(x - cx[group], y - cy[group]) - radius[group]
    known = np.isfinite(residual)
    scatter = 1.4826 * np.median(np.abs(residual[known])) if known.any() else np.nan
    # Algebraic circles on a short arc: about sqrt(180 / n) sagittas of scatter (arc of a radian).
    u = scatter * np.sqrt(180 / np.maximum(count, 1))
    return radius, np.where(enough, u, np.nan)


def theoretical_widths(gear: Wheel) -> tuple[float, float]:
    """Widths of the theoretical gap near its floor and on the reference circle.

    Parameters
    ----------
    gear : Wheel
        The gear at the depth that was found.

    Returns
    -------
    near_floor, reference : float
        Arcs, in the gear's unit.
    """
    radius, angle = gear.half_gaps(flank_points=200, fillet_points=200)
    circles = np.array([gear.root_radius + NEAR_FLOOR * gear.module_mm, gear.reference_radius])
    half = np.interp(circles, radius, angle.mean(axis=0))
    return float(2 * half[0] * circles[0]), float(2 * half[1] * circles[1])
