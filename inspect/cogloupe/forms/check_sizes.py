"""Sizes by which a gear is checked while it is cut: spans, pins, chords.

Lengths mm, angles radians. Geometry after ISO 21771.
"""

from dataclasses import dataclass, replace
from math import ceil, cos, floor, hypot, isfinite, pi, sin, sqrt, tan

from cogloupe.forms.involute import angle_at_radius, inverse_involute, involute, pin_centre_radius
from cogloupe.forms.rack import Gear, over_pins_size, span_size

# Standard pin of external gears, in modules (inches: 1.728 / P); common practice, no source.
STANDARD_PIN = 1.728


@dataclass(frozen=True)
class SpanSize:
    """Base tangent length over some teeth.

    Attributes
    ----------
    teeth_spanned : int
        Teeth between the anvils.
    size_mm : float
        Size, mm.
    contact_diameter_mm : float
        Diameter on which the anvils touch, mm.
    touches : bool
        The anvils touch involute, neither fillet nor beyond the tips.
    depth_per_size : float
        Depth still to cut for each mm by which the size is over.
    """

    teeth_spanned: int
    size_mm: float
    contact_diameter_mm: float
    touches: bool
    depth_per_size: float


@dataclass(frozen=True)
class PinSize:
    """Size over two pins.

    Attributes
    ----------
    pin_mm : float
        Pin diameter, mm.
    size_mm : float
        Size over the pins, mm; NaN where `fault` says that it cannot be.
    contact_diameter_mm : float
        Diameter on which a pin touches the flanks, mm; NaN with it.
    fault : str
        Why this pin will not serve; empty where it will.
    depth_per_size : float
        Depth still to cut for each mm by which the size is over; NaN with it.
    """

    pin_mm: float
    size_mm: float
    contact_diameter_mm: float
    fault: str
    depth_per_size: float


@dataclass(frozen=True)
class Chord:
    """Tooth as a gear tooth vernier measures it.

    Attributes
    ----------
    thickness_mm : float
        Chordal thickness on the reference circle, mm.
    height_mm : float
        Height of the tip above that chord, mm.
    """

    thickness_mm: float
    height_mm: float


def teeth_to_span(gear: Gear) -> int:
    """Number of teeth over which anvils touch nearest to mid-depth.

    ``z (tan a_v - inv a) / pi - 2 x tan a / pi + 1/2`` rounded, a_v the pressure angle on the
    circle ``r + x m`` (ISO 21771); at least 2.
    """
    alpha, x = gear.rack.pressure_angle, gear.profile_shift
    middle = gear.reference_radius + x * gear.module_mm
    reach = float(tan(angle_at_radius(gear.base_radius, middle))) - float(involute(alpha))
    # The guard makes exact halves go up whatever the rounding of the arithmetic.
    return max(2, floor(gear.teeth * reach / pi - 2 * x * tan(alpha) / pi + 1 + 1e-9))


def span(gear: Gear, teeth_spanned: int) -> SpanSize:
    """Span size with where its anvils touch.

    Parameters
    ----------
    gear : Gear
        The gear.
    teeth_spanned : int
        Teeth between the anvils.
    """
    size = span_size(gear, teeth_spanned)
    radius = hypot(gear.base_radius, size / 2)
    touches = gear.form_radius <= radius <= gear.tip_radius
    slope = 1 / (2 * sin(gear.rack.pressure_angle))  # W grows by 2 m sin a for a shift of 1
    return SpanSize(teeth_spanned, size, 2 * radius, touches, slope)


def usable_spans(gear: Gear) -> tuple[SpanSize, ...]:
    """Span sizes about the best count whose anvils touch involute.

    Of the best count and its two neighbours those that touch; often one or two, and none for some
    pinions.
    """
    best = teeth_to_span(gear)
    most = ceil(gear.teeth / 2)
    counts = (k for k in (best - 1, best, best + 1) if 2 <= k <= max(most, 2))
    return tuple(s for s in (span(gear, k) for k in counts) if s.touches)


def over_pins(gear: Gear, pin_mm: float) -> PinSize:
    """Size over two pins, with a check that the pins sit as they should.

    The formula is `over_pins_size` (ISO 21771).

    Parameters
    ----------
    gear : Gear
        The gear.
    pin_mm : float
        Pin diameter, mm.
    """
    half_gap = pi / gear.teeth - float(gear.half_tooth_angle(gear.base_radius))
    centre = float(pin_centre_radius(gear.base_radius, half_gap, pin_mm))
    if not isfinite(centre):
        fault = "it is too thin: it touches the floor before the flanks"
        return PinSize(pin_mm, float("nan"), float("nan"), fault, float("nan"))
    # The pin's centre lies on the common tangent of the base circle; it touches half a pin short.
    contact = hypot(gear.base_radius, _roll(gear, centre) - pin_mm / 2)
    fault = _pin_fault(gear, pin_mm, centre, contact)
    if fault:
        return PinSize(pin_mm, float("nan"), 2 * contact, fault, float("nan"))
    return PinSize(
        pin_mm, over_pins_size(gear, pin_mm), 2 * contact, "", 1 / _size_per_depth(gear, pin_mm)
    )


def _roll(gear: Gear, radius: float) -> float:
    return sqrt(max(radius**2 - gear.base_radius**2, 0.0))


def _pin_fault(gear: Gear, pin_mm: float, centre: float, contact: float) -> str:
    """Why a pin will not serve, from the radii of its centre and of its contact."""
    short = _roll(gear, centre) - pin_mm / 2 < _roll(gear, gear.form_radius)
    faults = (
        (centre - pin_mm / 2 < gear.root_radius, "it touches the floor before the flanks"),
        (short, "it touches the fillet, below the involute: take a thicker one"),
        (contact > gear.tip_radius, "it rides on the tips: take a thinner one"),
        (centre + pin_mm / 2 <= gear.tip_radius, "it lies below the tips: take a thicker one"),
    )
    return next((sentence for wrong, sentence in faults if wrong), "")


def _size_per_depth(gear: Gear, pin_mm: float) -> float:
    """Change of the size over pins for each mm of depth, by a central difference."""
    step = 1e-5
    sizes = (
        over_pins_size(replace(gear, profile_shift=gear.profile_shift + way), pin_mm)
        for way in (-step, step)
    )
    low, high = sizes
    return (high - low) / (2 * step * gear.module_mm)


def chord(gear: Gear) -> Chord:
    """Chordal thickness and height at the reference circle.

    ``2 r sin b`` and ``r_a - r cos b``, b half the tooth's angle (ISO 21771).
    """
    half = float(gear.half_tooth_angle(gear.reference_radius))
    return Chord(
        2 * gear.reference_radius * sin(half),
        gear.tip_radius - gear.reference_radius * cos(half),
    )


def shift_without_undercut(gear: Gear) -> float:
    """Least profile shift at which the rack's tip leaves the involute whole.

    ``h_f - rho (1 - sin a) - (z / 2) sin^2 a`` in modules: the straight flank of the rack then ends
    where the line of action touches the base circle (ISO 21771). May be below zero.

    Parameters
    ----------
    gear : Gear
        The gear; its own shift plays no part.
    """
    rack = gear.rack
    sine = sin(rack.pressure_angle)
    return rack.dedendum - rack.fillet_radius * (1 - sine) - gear.teeth / 2 * sine**2


def tip_width(gear: Gear) -> float:
    """Width of a tooth's tip.

    Arc at the tip circle, mm; below zero: the flanks meet before they reach it.
    """
    return 2 * gear.tip_radius * float(gear.half_tooth_angle(gear.tip_radius))


def pointed_radius(gear: Gear) -> float:
    """Radius at which a tooth's two flanks meet in a point.

    Radius, mm: ``inv a = inv a_0 + (pi/2 + 2 x tan a_0) / z`` there (ISO 21771).
    """
    at_base = float(gear.half_tooth_angle(gear.base_radius))
    return gear.base_radius / cos(float(inverse_involute(at_base)))
