"""The tooth that a rack generates.

A gear is what a rack-shaped cutter leaves when it rolls on the reference circle: an involute
above, and below it the fillet swept by the rounded corner of the rack's tip, which undercuts the
involute when the gear has few teeth. Lengths are millimetres, angles radians. Geometry after ISO
21771.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from math import copysign, cos, hypot, inf, pi, sin, sqrt, tan

import numpy as np
from numpy.typing import ArrayLike

from cogloupe.forms.basic_racks import BasicRack, full_radius
from cogloupe.forms.involute import InvoluteForm, angle_at_radius, involute, pin_centre_radius
from cogloupe.forms.tooth_form import Wheel
from cogloupe.numerics.angles import wrapped
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import UseError


@dataclass(frozen=True)
class Gear:
    """A spur gear as the rack generates it, before any error.

    Attributes
    ----------
    teeth : int
        Number of teeth, z.
    module_mm : float
        Module, mm.
    rack : BasicRack
        Rack that generates it.
    profile_shift : float
        Generating profile shift, in modules: how far the rack's datum line stands outside the
        reference circle. A cut too deep is a negative shift.
    tip_radius_mm : float or None
        Radius of the blank; None for reference radius + addendum + shift.
    """

    teeth: int
    module_mm: float
    rack: BasicRack
    profile_shift: float = 0.0
    tip_radius_mm: float | None = None

    @property
    def reference_radius(self) -> float:
        """Radius of the reference circle, mm."""
        return self.teeth * self.module_mm / 2

    @property
    def base_radius(self) -> float:
        """Radius of the base circle, mm."""
        return self.reference_radius * cos(self.rack.pressure_angle)

    @property
    def tip_radius(self) -> float:
        """Radius of the tip circle, mm."""
        if self.tip_radius_mm is not None:
            return self.tip_radius_mm
        return self.reference_radius + (self.rack.addendum + self.profile_shift) * self.module_mm

    @property
    def root_radius(self) -> float:
        """Radius of the root circle, mm."""
        return self.reference_radius - (self.rack.dedendum - self.profile_shift) * self.module_mm

    @cached_property
    def form_radius(self) -> float:
        """Radius where the usable involute begins: its generated start, or the undercut, mm."""
        return float(self._junction[0])

    @cached_property
    def undercut(self) -> bool:
        """True where the rack's tip cuts into the involute."""
        return _flank_end_on_action(self) < 0

    @cached_property
    def _junction(self) -> tuple[float, float]:
        """Radius (mm) where fillet meets involute, and the rack travel (mm) that cuts it there."""
        return _fillet_junction(self)

    @property
    def flank_end(self) -> float:
        """The involute runs up to the tip: infinite."""
        return inf

    @property
    def flank(self) -> InvoluteForm:
        """Form of the flanks."""
        return InvoluteForm(self.base_radius)

    def scaled(self, factor: float) -> "Gear":
        """Make the same gear in another unit.

        Parameters
        ----------
        factor : float
            Units of the new one in a unit of the old.
        """
        tip = None if self.tip_radius_mm is None else self.tip_radius_mm * factor
        return replace(self, module_mm=self.module_mm * factor, tip_radius_mm=tip)

    def half_angles(self, radius: ArrayLike) -> Floats:
        """Angles from the middle of a tooth to its two flanks, which are alike.

        Returns
        -------
        ndarray, shape (2, ...)
        """
        half = self.half_tooth_angle(radius)
        return np.stack([half, half])

    def half_gaps(self, flank_points: int = 60, fillet_points: int = 40) -> tuple[Floats, Floats]:
        """Outline of a gap by its two sides, which are alike; see `half_gap`.

        Returns
        -------
        radius : ndarray, shape (n,)
        angle : ndarray, shape (2, n)
        """
        radius, angle = half_gap(self, flank_points, fillet_points)
        return radius, np.stack([angle, angle])

    def half_tooth_angle(self, radius: ArrayLike) -> Floats:
        """Half the angle a tooth's involute flanks subtend at a radius.

        Angle, rad; inside the base circle the value at the base circle.

        Parameters
        ----------
        radius : array_like
            Radius, mm.
        """
        alpha = self.rack.pressure_angle
        at_reference = (pi / 2 + 2 * self.profile_shift * tan(alpha)) / self.teeth
        at_radius = involute(angle_at_radius(self.base_radius, radius))
        return np.asarray(at_reference + involute(alpha) - at_radius)


def shift_for_thickness(
    teeth: int, module_mm: float, pressure_angle: float, half_angle: float
) -> float:
    """Profile shift whose tooth subtends the given half angle on the reference circle.

    Profile shift, in modules: ``s = m (pi/2 + 2 x tan a)`` solved for x (ISO 21771).

    Parameters
    ----------
    teeth : int
        Number of teeth.
    module_mm : float
        Module, mm; cancels out, kept so that calls read like the geometry.
    pressure_angle : float
        Rack flank angle, rad.
    half_angle : float
        Half the tooth's angle on the reference circle, rad.
    """
    return (half_angle * teeth - pi / 2) / (2 * tan(pressure_angle))


def _rounding_centre(gear: Gear) -> tuple[float, float]:
    """Centre of the cutting rack's tip rounding, mm, while it stands at the middle of the gap.

    Returns how far along the pitch line it lies, and how far above it (below: negative).
    """
    rack, m = gear.rack, gear.module_mm
    alpha = rack.pressure_angle
    below_datum = rack.fillet_radius - rack.dedendum
    along = pi / 4 + below_datum * tan(alpha) - rack.fillet_radius / cos(alpha)
    if along < -1e-9:
        raise UseError(
            f"rack '{rack.name}' cannot be made: a rounding of {rack.fillet_radius:g} modules does "
            f"not fit its tip, {full_radius(alpha, rack.dedendum):.3f} is the most"
        )
    return max(along, 0.0) * m, (below_datum + gear.profile_shift) * m


def _flank_end_on_action(gear: Gear) -> float:
    """Length of roll where the rack's straight flank ends, mm; below zero means undercut."""
    alpha = gear.rack.pressure_angle
    _, centre_height = _rounding_centre(gear)
    flank_end = centre_height - gear.rack.fillet_radius * gear.module_mm * sin(alpha)
    return gear.reference_radius * sin(alpha) + flank_end / sin(alpha)


def _swept_fillet(gear: Gear, travel: ArrayLike) -> tuple[Floats, Floats]:
    """Fillet points cut at the given rack travels from gap centre.

    The rack's tip rounding touches its envelope where the common normal passes the pitch point.

    Returns
    -------
    radius, half_gap : ndarray
        Radius (mm) and angle from the middle of the gap (rad).
    """
    along, height = _rounding_centre(gear)
    rounding = gear.rack.fillet_radius * gear.module_mm
    travel = np.asarray(travel, dtype=np.float64)
    x = along + travel
    # The envelope lies on the normal through the pitch point, inwards of the rounding's centre,
    # whichever side of the pitch circle a large shift has put that. On the circle itself the
    # centre passes through the pitch point, and a hair's breadth inside is as good.
    height = min(height, -1e-9) if height < 1e-9 else height
    distance = np.hypot(x, height)
    stretch = 1 - copysign(1.0, height) * rounding / distance
    x, y = x * stretch, gear.reference_radius + height * stretch
    # The rack moved by `travel`, so the gear turned by travel / r; turn the point back.
    return np.hypot(x, y), np.arctan2(x, y) - travel / gear.reference_radius


def _fillet_junction(gear: Gear) -> tuple[float, float]:
    """Radius and rack travel at which the fillet hands over to the involute."""
    alpha = gear.rack.pressure_angle
    along, height = _rounding_centre(gear)
    last_travel = -height / tan(alpha) - along
    roll = _flank_end_on_action(gear)
    if roll >= 0:
        return hypot(gear.base_radius, roll), last_travel

    def outside_involute(travels: Floats) -> tuple[Floats, Floats]:
        radius, half_gap = _swept_fillet(gear, travels)
        return radius, half_gap - (pi / gear.teeth - gear.half_tooth_angle(radius))

    # Undercut: the sweep widens the gap beyond the involute at first, then falls inside it.
    travels = np.linspace(-along, last_travel, 2000)
    radius, outside = outside_involute(travels)
    wider = outside > 0
    leaving = np.flatnonzero(wider[:-1] & ~wider[1:] & (radius[1:] > gear.base_radius))
    if leaving.size == 0:
        return gear.base_radius, last_travel
    first = int(leaving[0])
    for _ in range(9):  # hundredths leave 1e-18 of the bracket
        travels = np.linspace(travels[first], travels[first + 1], 101)
        inside = outside_involute(travels[1:-1])[1] <= 0
        first = int(np.argmax(np.append(inside, True)))
    low = float(travels[first])
    return float(_swept_fillet(gear, low)[0]), low


def half_gap(gear: Gear, flank_points: int = 60, fillet_points: int = 40) -> tuple[Floats, Floats]:
    """Outline of half a gap as the rack generates it, from the floor up to the tip.

    Parameters
    ----------
    gear : Gear
        The gear.
    flank_points, fillet_points : int
        Points on the involute and on the fillet.

    Returns
    -------
    radius : ndarray, shape (n,)
        Radii, mm; the first is the root radius at the end of the flat of the floor.
    angle : ndarray, shape (n,)
        Angle from the middle of the gap, rad.
    """
    along, _ = _rounding_centre(gear)
    form_radius, last_travel = gear._junction
    # Points crowd towards the floor, where the fillet turns fastest.
    share = np.linspace(0, 1, fillet_points) ** 2
    fillet_radius, fillet_angle = _swept_fillet(gear, -along + share * (last_travel + along))
    base = gear.base_radius
    rolls = np.linspace(
        sqrt(max(form_radius**2 - base**2, 0.0)), sqrt(gear.tip_radius**2 - base**2), flank_points
    )[1:]
    flank_radius = np.hypot(base, rolls)
    flank_angle = pi / gear.teeth - gear.half_tooth_angle(flank_radius)
    return (
        np.concatenate([fillet_radius, flank_radius]),
        np.concatenate([fillet_angle, flank_angle]),
    )


def gear_outline(
    gear: Wheel,
    first_centre: float = -pi / 2,
    left_offset: ArrayLike = 0.0,
    right_offset: ArrayLike = 0.0,
    flank_points: int = 60,
) -> Floats:
    """Closed outline of a whole gear in the gear frame, flank by flank.

    Parameters
    ----------
    gear : Wheel
        The gear, of any form.
    first_centre : float
        Polar angle of tooth 1's centre line, rad; -pi/2 is twelve o'clock.
    left_offset, right_offset : array_like, shape () or (z,)
        Angle by which each flank is out of place, rad, positive clockwise on the picture.
    flank_points : int
        Points on each flank.

    Returns
    -------
    ndarray, shape (n, 2)
        Points, mm, x right and y down, running clockwise on the picture; not closed (the first
        point is not repeated). Tip and root arcs are divided as finely as the flanks.
    """
    z = gear.teeth
    radius, angle = gear.half_gaps(flank_points)
    left, right = (np.broadcast_to(np.asarray(o, float), (z,)) for o in (left_offset, right_offset))
    gap_middle = first_centre + 2 * pi / z * (np.arange(z) + 0.5)
    down = gap_middle[:, None] - angle[1, ::-1] + right[:, None]
    up = gap_middle[:, None] + angle[0] + np.roll(left, -1)[:, None]
    floor = _arc_between(down[:, -1], up[:, 0], 12)
    tip = _arc_between(up[:, -1], np.roll(down[:, 0], -1), 24)
    theta = np.concatenate([down, floor, up, tip], axis=1)
    r = np.concatenate(
        [radius[::-1], np.full(floor.shape[1], radius[0]), radius,
         np.full(tip.shape[1], radius[-1])]
    )  # fmt: skip
    return np.stack([r * np.cos(theta), r * np.sin(theta)], axis=-1).reshape(-1, 2)


def _arc_between(start: Floats, end: Floats, points: int) -> Floats:
    """Angles strictly between start and end, going forward, for each of z arcs."""
    share = np.linspace(0, 1, points + 2)[1:-1]
    forward = wrapped(end - start)
    return np.asarray(start[:, None] + share * forward[:, None])


def span_size(gear: Gear, teeth_spanned: int) -> float:
    """Base tangent length (span size) over a number of teeth, without allowance.

    ``W = m cos a ((k - 1/2) pi + z inv a + 2 x tan a)`` in mm (ISO 21771).

    Parameters
    ----------
    gear : Gear
        The gear.
    teeth_spanned : int
        Teeth between the anvils, k.

    Examples
    --------
    >>> from cogloupe import Gear, basic_rack
    >>> round(span_size(Gear(12, 1.0, basic_rack("iso53-a", 1.0)), 2), 4)
    4.5963
    """
    alpha = gear.rack.pressure_angle
    return float(
        gear.module_mm
        * cos(alpha)
        * (
            (teeth_spanned - 0.5) * pi
            + gear.teeth * involute(alpha)
            + 2 * gear.profile_shift * tan(alpha)
        )
    )


def over_pins_size(gear: Gear, pin_mm: float) -> float:
    """Size over two pins in opposite (odd teeth: nearly opposite) gaps; size over the pins, mm.

    Parameters
    ----------
    gear : Gear
        The gear.
    pin_mm : float
        Pin diameter, mm.

    Examples
    --------
    >>> from cogloupe import Gear, basic_rack
    >>> round(over_pins_size(Gear(12, 1.0, basic_rack("iso53-a", 1.0)), 1.728), 4)
    14.3578
    """
    half_gap_at_base = pi / gear.teeth - float(gear.half_tooth_angle(gear.base_radius))
    centre = float(pin_centre_radius(gear.base_radius, half_gap_at_base, pin_mm))
    spread = 1.0 if gear.teeth % 2 == 0 else cos(pi / (2 * gear.teeth))
    return 2 * centre * spread + pin_mm
