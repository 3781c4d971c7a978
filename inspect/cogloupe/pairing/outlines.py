"""Outlines of gears that turn, tooth by tooth, for drawing them in mesh. Lengths mm, angles rad."""

from math import pi

import numpy as np

from cogloupe.pairing.running_gear import TOWARDS, RunningGear
from cogloupe_calibration.arrays import Floats

FLANK_POINTS, BELOW_POINTS, TIP_POINTS = 16, 10, 5
"""Points that a flank, what lies below it, and a tip are drawn with: chords leave a flank of
module 1 by 2 µm."""


def tooth_outlines(gear: RunningGear) -> Floats:
    """Outline of every tooth, from the middle of the gap before it to the middle of that after.

    Returns
    -------
    ndarray, shape (z, n, 2)
        Points about the axis of rotation as on the picture, x right and y down, clockwise. A flank
        that was not seen is drawn where its side's mean puts it.
    """
    low, high = _below(gear, 0), _below(gear, 1)
    return np.stack([_tooth(gear, k, low, high) for k in range(gear.teeth)])


def _tooth(
    gear: RunningGear, k: int, below_left: tuple[Floats, Floats], below_right: tuple[Floats, Floats]
) -> Floats:
    radius = np.linspace(gear.form_radius, gear.tip[k], FLANK_POINTS)
    sides = []
    for side, (below, beside) in enumerate((below_left, below_right)):
        off = np.nan_to_num(np.interp(radius, gear.radius, gear.off[k, side]))
        half = gear.half[side] + off - gear.wheel.flank.turn(radius)
        # The fillet takes its place from the flank that it runs out into.
        angle = np.concatenate([pi / gear.teeth - beside, half])
        angle[: len(below)] += half[0] - (pi / gear.teeth - beside[-1])
        sides.append((np.concatenate([below, radius]), angle))
    (left_r, left), (right_r, right) = sides
    tip = np.linspace(-left[-1], right[-1], TIP_POINTS + 2)[1:-1]
    out = np.concatenate([left_r, np.full(TIP_POINTS, gear.tip[k]), right_r[::-1]])
    turn = np.concatenate([TOWARDS[0] * left, tip, right[::-1]])
    angle = gear.start + k * gear.pitch + turn
    return np.stack([out * np.cos(angle), out * np.sin(angle)], axis=1)


def _below(gear: RunningGear, side: int) -> tuple[Floats, Floats]:
    """Gap below one side's flanks: radii from the floor's middle up, and angles from the middle.

    The left flank of a tooth bounds the gap before it, which lies at x above zero in that gap's
    frame.
    """
    radius, angle = _measured(gear, side)
    if len(radius) < BELOW_POINTS:
        radius, both = gear.wheel.half_gaps()
        angle = both[side]
    low = radius < gear.form_radius
    if low.sum() < 2:
        radius, angle = np.full(2, gear.form_radius), np.full(2, angle[0])
        low = np.array([True, True])
    radius = np.concatenate([[radius[low][0]], radius[low], [gear.form_radius]])
    last = float(np.interp(gear.form_radius, *_rising(radius[1:-1], angle[low])))
    angle = np.concatenate([[0.0], angle[low], [last]])
    place = np.linspace(0, len(radius) - 1, min(BELOW_POINTS, len(radius)))
    index = np.arange(len(radius))
    return np.interp(place, index, radius), np.interp(place, index, angle)


def _measured(gear: RunningGear, side: int) -> tuple[Floats, Floats]:
    """One half of the measured mean gap, from the floor outwards."""
    x, y = gear.gap.T if len(gear.gap) else np.zeros((2, 0))
    half = x >= 0 if side == 0 else x <= 0
    angle, radius = np.abs(np.arctan2(x[half], y[half])), np.hypot(x[half], y[half])
    order = np.argsort(angle)
    return radius[order], angle[order]


def _rising(radius: Floats, angle: Floats) -> tuple[Floats, Floats]:
    order = np.argsort(radius)
    return radius[order], angle[order]


def contact_points(gear_a: RunningGear, length: Floats, turned: Floats) -> Floats:
    """Places of the ideal contact.

    Parameters
    ----------
    length : ndarray
        Lengths along A's flank where it touches.
    turned : ndarray
        Angle of A's flank, unwound, past the line of centres.

    Returns
    -------
    ndarray, shape (..., 2)
        About A's axis, B's to the right, in the frame of right flanks.
    """
    radius = gear_a.radius_at(length)
    angle = turned - gear_a.wheel.flank.turn(radius)
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=-1)
