"""Radii of tips and floors, and the widths of a theoretical gap.

Lengths are px of the picture, angles rad.
"""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from cogloupe.deviations import wrapped
from cogloupe.fits.circles import Circle
from cogloupe.fits.datum import tip_circle
from cogloupe.fits.grouped import grouped_polynomials
from cogloupe.forms.tooth_form import Wheel
from cogloupe.optics.sampling import EdgePoints
from cogloupe.teeth import ToothMap, polar

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

NEAR_FLOOR = 0.25
"""Height above the floor, in modules, at which the width near the floor is taken."""
FLOOR_MIDDLE = 0.12
"""Half width, in modules, of the middle of the floor whose radius is taken."""


@dataclass(frozen=True)
class Radii:
    """Radii about an axis with standard uncertainties; NaN where not measured."""

    value: Floats
    u: Floats


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


def floor_radii(
    edges: EdgePoints, teeth: ToothMap, axis: Floats, gear: Wheel, middle: Floats | None = None
) -> Radii:
    """Radius of every gap's floor about an axis.

    Parameters
    ----------
    edges, teeth
        The outline and its teeth.
    axis : ndarray, shape (2,)
        Axis, px.
    gear : Wheel
        The theoretical gear in px, for how the floor rises into the fillets.
    middle : ndarray, shape (z,), optional
        Polar angle about the axis of every gap's middle, rad, where it is known better than the
        teeth's rough centres tell it; NaN where it is not.

    Returns
    -------
    Radii
        One a gap: the middle of the floor, less what the fillets and blur make it rise there.
    """
    radius, angle = polar(edges.xy, axis)
    gap, rough = gap_of(teeth)
    middle = rough if middle is None else np.where(np.isfinite(middle), middle, rough)
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
