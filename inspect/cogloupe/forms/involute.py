"""The involute: its function and inverse, and the form of flank that it makes.

Angles are radians. Formulas: ISO 21771, involute geometry.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from cogloupe.forms.tooth_form import FlankCurve, FormName
from cogloupe_calibration.arrays import Floats


def involute(angle: ArrayLike) -> Floats:
    """Involute function ``inv a = tan a - a``; involute angle, rad, of the same shape.

    Parameters
    ----------
    angle : array_like
        Pressure angle, rad.
    """
    angle = np.asarray(angle, dtype=np.float64)
    return np.asarray(np.tan(angle) - angle)


def inverse_involute(value: ArrayLike) -> Floats:
    """Angle whose involute is the given value, by Newton's method.

    Pressure angle, rad, of the same shape.

    Parameters
    ----------
    value : array_like
        Involute angle, rad; below zero there is no involute and the result is NaN.

    Notes
    -----
    The start ``cbrt(3 inv)`` is the leading term of the series of ``inv`` about zero; for large
    values the angle is bracketed below a right angle. Converges to machine precision in under
    ten steps over the range used by gears (0 to 80 degrees).
    """
    value = np.where(np.asarray(value, dtype=np.float64) < 0, np.nan, value)
    tangent = np.cbrt(3 * value) + value  # in t = tan a the equation is t - atan t = value
    for _ in range(30):
        with np.errstate(invalid="ignore", divide="ignore"):
            slope = tangent**2 / (1 + tangent**2)
            step = (tangent - np.arctan(tangent) - value) / slope
        tangent = tangent - np.where(tangent == 0, 0.0, step)
    return np.asarray(np.arctan(tangent))


def angle_at_radius(base_radius: ArrayLike, radius: ArrayLike) -> Floats:
    """Pressure angle of the involute of a base circle where it crosses a radius.

    Angle, rad; 0 inside the base circle, where the involute has not yet begun.

    Parameters
    ----------
    base_radius, radius : array_like
        Radii in one unit.
    """
    ratio = np.asarray(base_radius, dtype=np.float64) / np.asarray(radius, dtype=np.float64)
    return np.arccos(np.minimum(ratio, 1.0))


def roll_length(base_radius: ArrayLike, radius: ArrayLike) -> Floats:
    """Length of roll at a radius: ``sqrt(r^2 - r_b^2)``, also the radius of curvature there.

    Length of roll in that unit; 0 inside the base circle.

    Parameters
    ----------
    base_radius, radius : array_like
        Radii in one unit.
    """
    radius = np.asarray(radius, dtype=np.float64)
    return np.sqrt(np.maximum(radius**2 - np.asarray(base_radius, dtype=np.float64) ** 2, 0.0))


def pin_centre_radius(base_radius: ArrayLike, half_gap_at_base: ArrayLike, pin_mm: float) -> Floats:
    """Radius at which the centre of a pin rests between two involute flanks.

    ``r_b / cos a_M`` with ``inv a_M = d / (2 r_b) - half gap`` (ISO 21771), mm.

    Parameters
    ----------
    base_radius : array_like
        Base radius, mm.
    half_gap_at_base : array_like
        Half the angle between the two involutes at the base circle, rad; may be negative.
    pin_mm : float
        Pin diameter, mm.
    """
    angle = inverse_involute(pin_mm / (2 * np.asarray(base_radius)) - np.asarray(half_gap_at_base))
    return np.asarray(base_radius / np.cos(angle))


@dataclass(frozen=True)
class InvoluteForm:
    """Flanks that are involutes of one base circle (see `tooth_form.ToothForm`)."""

    base_radius: float

    @property
    def name(self) -> FormName:
        """Name of the form."""
        return "involute"

    @property
    def lowest(self) -> float:
        """Base radius: the involute begins there."""
        return self.base_radius

    def turn(self, radius: ArrayLike, side: ArrayLike = 1) -> Floats:
        """Involute angle, ``inv a_r``; the same on both sides."""
        return involute(angle_at_radius(self.base_radius, radius))

    def along(self, radius: ArrayLike) -> Floats:
        """Length of roll."""
        return roll_length(self.base_radius, radius)

    def arm(self, radius: ArrayLike, side: ArrayLike = 1) -> Floats:
        """Base radius, which every normal touches."""
        return np.full(np.shape(radius), self.base_radius)

    def bend(self, radius: ArrayLike, side: ArrayLike, reach: float) -> Floats:
        """One over the length of roll, which is the radius of curvature."""
        return 1 / np.maximum(roll_length(self.base_radius, radius), 1e-9)

    def pin_radius(self, half_gap: Floats, radius: float, pin: float) -> tuple[Floats, Floats]:
        """Seat of a pin, and the pressure angle there."""
        at_base = half_gap - float(self.turn(radius))
        seat = pin_centre_radius(self.base_radius, at_base, pin)
        return seat, angle_at_radius(self.base_radius, seat)

    def scaled(self, factor: float) -> "InvoluteForm":
        """The same involute in another unit."""
        return InvoluteForm(self.base_radius * factor)


def involute_curve(
    base_radius: float,
    measuring_radius: float,
    low_radius: float,
    high_radius: float,
    tooth_high: Floats | None = None,
) -> FlankCurve:
    """Involute with the range that flanks are compared over.

    Parameters
    ----------
    base_radius : float
        Px.
    measuring_radius, low_radius, high_radius, tooth_high
        As for `FlankCurve`, px.
    """
    form = InvoluteForm(base_radius)
    return FlankCurve(form, measuring_radius, low_radius, high_radius, tooth_high)
