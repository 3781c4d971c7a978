"""The gap that a hob leaves when it ends too near the work's centre line.

A hob generates a flank bit by bit along its length: tips and roots are cut furthest from the centre
line. Where the hob is too short, or stands off centre, the bits beyond its end are missing: the
flank goes on straight, and the root keeps the shape of the last tooth. Frame as in `gap_outline`;
lengths mm.
"""

from math import cos, pi, sin, tan

import numpy as np

from cogloupe.forms.rack import Gear
from cogloupe_calibration.arrays import Floats

PLACES, FLANK_POINTS, ROUNDING_POINTS, CIRCLES = 48, 30, 24, 120
"""Places of the cutter, points of its flank and of its rounding, and circles of the gap: how finely
it is generated, and how long that takes (our own judgement)."""


def whole_reach(gear: Gear) -> float:
    """How far from the centre line a hob must reach to generate flanks up to the tips.

    Mm. The contact on the line of action reaches a height h above the pitch point when the rack has
    moved by ``h / (sin a cos a)`` (ISO 21771, rack and gear), and the flank itself stands half a
    gap off the middle.
    """
    alpha, m = gear.rack.pressure_angle, gear.module_mm
    half = (pi / 4 - gear.profile_shift * tan(alpha)) * m
    height = gear.tip_radius - gear.reference_radius
    return half + height / (sin(alpha) * cos(alpha))


def ended_gap(gear: Gear, end: float, side: int) -> Floats:
    """Outline of a gap cut by a hob that ends on one side.

    Parameters
    ----------
    gear : Gear
        With the tip radius up to which the outline is wanted.
    end : float
        How far the hob reaches from the centre line on that side, mm.
    side : int
        1 where it ends on the clockwise side, -1 on the other.

    Returns
    -------
    ndarray, shape (n, 2)
        Points from the side below zero over the floor to the other.
    """
    reach = whole_reach(gear) + 0.5 * gear.module_mm
    travel = np.linspace(-min(end, reach), reach, PLACES)
    radii = np.linspace(gear.root_radius, gear.tip_radius, CIRCLES)
    along, height = _cutter(gear)
    # Worked out for a hob that ends below zero; the other is its mirror image.
    right = _widest(along, height, travel, gear.reference_radius, radii)
    left = _widest(along, height, -travel, gear.reference_radius, radii)
    if side > 0:
        left, right = right, left
    down = np.stack([-radii * np.sin(left), radii * np.cos(left)], axis=1)[::-1]
    up = np.stack([radii * np.sin(right), radii * np.cos(right)], axis=1)
    return np.concatenate([down, up])


def _cutter(gear: Gear) -> tuple[Floats, Floats]:
    """Right half of the hob's tooth, tip first: along and above the pitch line."""
    rack, m = gear.rack, gear.module_mm
    alpha, rounding = rack.pressure_angle, rack.fillet_radius
    below = rounding - rack.dedendum
    middle = pi / 4 + below * tan(alpha) - rounding / cos(alpha)
    turn = np.linspace(0, pi / 2 - alpha, ROUNDING_POINTS)
    x = np.concatenate([[0.0], middle + rounding * np.sin(turn)])
    y = np.concatenate([[-rack.dedendum], below - rounding * np.cos(turn)])
    top = (gear.tip_radius - gear.reference_radius) / m - gear.profile_shift + 1.0
    high = np.linspace(y[-1], top, FLANK_POINTS)[1:]
    x = np.concatenate([x, x[-1] + (high - y[-1]) * tan(alpha)])
    return x * m, (np.concatenate([y, high]) + gear.profile_shift) * m


def _widest(
    along: Floats, height: Floats, travel: Floats, reference: float, radii: Floats
) -> Floats:
    """Largest angle from the middle that any place of the cutter reaches on each circle."""
    x, y = along + travel[:, None], reference + height
    radius = np.maximum.accumulate(np.hypot(x, y), axis=1)
    angle = np.arctan2(x, y) - travel[:, None] / reference
    reached = [np.interp(radii, r, a, left=-pi) for r, a in zip(radius, angle, strict=True)]
    return np.asarray(np.maximum(np.max(reached, axis=0), 0.0))
