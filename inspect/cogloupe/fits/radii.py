"""Radii of tips and floors, and the widths of a theoretical gap.

Lengths are px of the picture, angles rad.
"""

from dataclasses import dataclass

import numpy as np

from cogloupe.finding.tooth_map import ToothMap, gap_of
from cogloupe.forms.tooth_form import Wheel
from cogloupe.numerics.angles import polar, wrapped
from cogloupe.numerics.circles import Circle, robust_circle
from cogloupe.numerics.grouped import grouped_polynomials
from cogloupe.optics.sampling import EdgePoints
from cogloupe_calibration.arrays import Floats

FLOOR_MIDDLE = 0.12
"""Half width, in modules, of the middle of the floor whose radius is taken..."""
FLOOR_MIDDLE_PX = 2.5
"""... and its least, so that a few pixels tell it."""
ON_LAND, ON_FLOOR = 0.9, 0.7
"""Cosine between an edge's normal and the radius from which it lies on a land (26 degrees), and on
a floor (45 degrees), which fillets bend: flanks stand further off (our own judgement)."""
CORNER_BLURS = 2.5
"""Blurs from a land's corner within which it is rounded off (a Gaussian's 99 %)."""


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
    clear = half_tip - CORNER_BLURS * edges.blur / np.maximum(radius, 1.0)
    on_land = (outwards > ON_LAND) & (away < clear) & (radius > teeth.mid_radius) & edges.good
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

    One a gap: the middle of the floor, less what the fillets and blur make it rise there.

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
    """
    radius, angle = polar(edges.xy, axis)
    gap, rough = gap_of(teeth)
    middle = rough if middle is None else np.where(np.isfinite(middle), middle, rough)
    module, blur = gear.module_mm, float(np.median(edges.blur))
    across = np.abs(wrapped(angle - middle[gap]) * radius)
    outwards = (edges.normal * (edges.xy - axis)).sum(axis=1) / radius
    low = across < max(FLOOR_MIDDLE * module, FLOOR_MIDDLE_PX)
    low &= (outwards > ON_FLOOR) & edges.good & (radius < teeth.mid_radius)
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


def tip_circle(xy: Floats) -> Circle | None:
    """Circle through the tip lands.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Edge points on the tip lands, px.
    """
    return robust_circle(xy, 1.5) if len(xy) >= 12 else None
