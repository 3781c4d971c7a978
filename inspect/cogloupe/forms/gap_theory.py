"""The theoretical gap that a measured one is held against, and the circles that limit its use.

Gap frame as in `gap_outline`: origin on the axis, y outwards along the middle of the gap, x
clockwise. Side 0 is the left flank of the tooth after the gap (x above zero), side 1 the right
flank of the tooth before it. Lengths mm, angles rad.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import hypot, sin, sqrt

import numpy as np

from cogloupe.forms.gap_outline import GapOutline, blurred, evenly
from cogloupe.forms.rack import Gear
from cogloupe.forms.tooth_form import Wheel
from cogloupe_calibration.arrays import Floats

STEP = 0.01
"""Distance between points of the theoretical outline, in modules."""
FURTHEST_SHIFTS = (-0.9, 1.5)
"""Profile shifts beyond which a floor is not of the stated rack."""
NEAR_FLOOR = 0.25
"""Height above the floor, in modules, at which the width near the floor is taken."""


@dataclass(frozen=True)
class GapTheory:
    """The gap that the stated tooth gives at the depth that was found.

    Attributes
    ----------
    wheel : Wheel
        The gear at that depth.
    drawn : GapOutline
        Its gap as drawn.
    shown : GapOutline
        The same as a picture of the stated blur shows it, point for point.
    """

    wheel: Wheel
    drawn: GapOutline
    shown: GapOutline

    def half_angle(self, side: int, radius: Floats | float) -> Floats:
        """Angle from the middle to a flank as drawn, on circles about the axis."""
        return _angle_at(self.drawn, side, radius)

    def shown_angle(self, side: int, radius: Floats | float) -> Floats:
        """The same as the picture shows it."""
        return _angle_at(self.shown, side, radius)

    def width(self, radius: float) -> float:
        """Arc of the gap on a circle."""
        return float(radius * sum(self.half_angle(side, radius) for side in (0, 1)))

    def closing(self, radius: float) -> float:
        """How far a side comes in at one height over the floor while all edges move out.

        For each mm that they move; the floor comes up with them.
        """
        opening = self.opening(radius)
        return hypot(1.0, opening) - opening

    def opening(self, radius: float) -> float:
        """Growth of a half width for each mm of radius: the tangent of the flank's lean."""
        step = 0.01 * self.wheel.module_mm
        angles = [self.half_angle(0, radius + way * step) for way in (-1, 1)]
        return float(radius * (angles[1] - angles[0]) / (2 * step))


def _angle_at(outline: GapOutline, side: int, radius: Floats | float) -> Floats:
    """Angle from the gap's middle to one side on circles, rising from the floor outwards."""
    chosen = outline.station >= 0 if side == 0 else outline.station <= 0
    xy = outline.xy[chosen] if side == 0 else outline.xy[chosen][::-1] * [-1.0, 1.0]
    # Rounding leaves a flat floor not quite level, and interpolation needs a rising radius.
    rising = np.maximum.accumulate(np.hypot(*xy.T))
    return np.asarray(np.interp(radius, rising, np.arctan2(xy[:, 0], xy[:, 1])))


def theoretical_gap(
    wheel: Wheel, floor_mm: float, tip_mm: float, blur_mm: float
) -> GapTheory | None:
    """Gap of the stated tooth at the depth that was found.

    None where the floor lies where the stated tooth has none.

    Parameters
    ----------
    wheel : Wheel
        The gear compared with.
    floor_mm, tip_mm : float
        Mean radii of floors and tips that were found.
    blur_mm : float
        Blur of the picture's edges.

    Notes
    -----
    A rack is fed in until its tip reaches the floor that was found, so the profile shift is that
    of the depth, not that of the thickness; other forms are taken as they are drawn.
    """
    if wheel.flank.name == "straight":  # nobody states what their gaps should be
        return None
    at_depth = wheel
    if isinstance(wheel, Gear):
        shift = (floor_mm - wheel.reference_radius) / wheel.module_mm + wheel.rack.dedendum
        if not FURTHEST_SHIFTS[0] < shift < FURTHEST_SHIFTS[1]:
            return None
        at_depth = replace(wheel, profile_shift=shift, tip_radius_mm=tip_mm)
    radius, angle = at_depth.half_gaps(200, 200)
    left, right = (
        np.stack([radius * np.sin(side), radius * np.cos(side)], axis=1) for side in angle
    )
    # Between the fillets the floor is an arc; a rack whose tip is all rounding leaves none.
    floor = np.linspace(-angle[1, 0], angle[0, 0], 50)[1:-1]
    arc = radius[0] * np.stack([np.sin(floor), np.cos(floor)], axis=1)
    line = np.concatenate([right[::-1] * [-1.0, 1.0], arc, left])
    drawn = evenly(line, STEP * wheel.module_mm)
    return GapTheory(at_depth, drawn, blurred(drawn, blur_mm))


@dataclass(frozen=True)
class Limits:
    """Circles that limit what a mate may use of the flanks, mm.

    Attributes
    ----------
    form_diameter : float
        Where the involute begins, or where the undercut has left off.
    undercut : bool
        True where the rack's tip cuts into the involute.
    rack_diameter : float
        How far down a mating rack, in tight mesh, uses the flank.
    margin : float
        Length of roll between the two, below zero where the mate would touch the fillet.
    """

    form_diameter: float
    undercut: bool
    rack_diameter: float
    margin: float


def flank_limits(at_depth: Gear, thickness_shift: float) -> Limits:
    """Where the involute begins and how far down a mating rack reaches.

    Parameters
    ----------
    at_depth : Gear
        The gear at the depth that was found.
    thickness_shift : float
        Profile shift by the thickness of the teeth: where a rack stands in tight mesh.

    Notes
    -----
    The rack's tip line crosses the line of action at the length of roll
    ``r sin a + (x - h_a) m / sin a`` (ISO 21771); below zero it lies inside the base circle. A
    mating wheel reaches less far down than a rack.
    """
    rack, base = at_depth.rack, at_depth.base_radius
    sine = sin(rack.pressure_angle)
    reach = at_depth.reference_radius * sine
    reach += (thickness_shift - rack.addendum) * at_depth.module_mm / sine
    begins = sqrt(max(at_depth.form_radius**2 - base**2, 0.0))
    return Limits(
        2 * at_depth.form_radius, at_depth.undercut, 2 * hypot(base, max(reach, 0.0)),
        reach - begins,
    )  # fmt: skip


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


def floor_ratio_of_moved(gear: Gear, outwards: Callable[[Floats], Floats]) -> float:
    """Floor ratio that a right gear shows whose outline is moved outwards, less one.

    Parameters
    ----------
    outwards : callable
        Movement at given radii, small against a module; a scale that is off by a share moves each
        point by that share of its radius.

    Notes
    -----
    A reading takes the width near the floor that it sees, and holds both widths against the gap
    that the rack generates at that depth; a larger picture shows the floor further out, where the
    rack would have left a narrower gap.
    """
    radius, angle = gear.half_gaps(flank_points=200, fillet_points=200)
    half = angle.mean(axis=0)

    def ratio(moved: Callable[[Floats], Floats]) -> float:
        lift = float(moved(np.array([gear.root_radius]))[0])
        seen = np.array([gear.root_radius + lift + NEAR_FLOOR * gear.module_mm,
                         gear.reference_radius])  # fmt: skip
        near, width = seen * np.interp(seen - moved(seen), radius, half)
        shift = gear.profile_shift + lift / gear.module_mm
        at_depth = theoretical_widths(replace(gear, profile_shift=shift))
        return float(near / width / (at_depth[0] / at_depth[1]))

    return ratio(outwards) / ratio(np.zeros_like) - 1
