"""Tooth forms: the curve a flank follows about the axis of its gear, behind one interface.

A right flank stands at ``place - turn(radius)``, a left one at ``place + turn(radius)``: `turn` is
the angle by which the flank has fallen back towards the middle of its tooth. Taken off the measured
points it leaves a constant, whatever the form, so that one fit serves all of them. Angles are
radians, lengths are in the unit the form was made with.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, Protocol, Self

import numpy as np
from numpy.typing import ArrayLike

from cogloupe_calibration.arrays import Floats

FormName = Literal["involute", "cycloidal", "straight"]

BOTH_SIDES = np.array([0, 1])
"""Numbers of left and right flanks."""
OUT = np.array([-1.0, 1.0])
"""Sign of left and right flanks that makes an angle positive out of the material."""
STEP = 1e-6
"""Share of a radius over which a flank is seen to turn one way or the other: far above rounding."""


class ToothForm(Protocol):
    """One form of flank.

    Every method takes radii of any shape and, where the two sides may differ, sides of a shape
    that goes with it (0 left, 1 right).
    """

    @property
    def name(self) -> FormName:
        """What the form is called in settings and readings."""
        ...

    @property
    def lowest(self) -> float:
        """Radius below which the flank does not exist; 0 where it always does."""
        ...

    def turn(self, radius: ArrayLike, side: ArrayLike = 1) -> Floats:
        """Angle by which the flank has fallen back towards the middle of its tooth.

        Rad; where it is 0 is the form's own affair.
        """
        ...

    def along(self, radius: ArrayLike) -> Floats:
        """Length against which deviations are drawn: growing outwards along the flank.

        Length of roll of an involute, length of arc of other forms.
        """
        ...

    def arm(self, radius: ArrayLike, side: ArrayLike = 1) -> Floats:
        """Movement along the normal for each radian that the flank turns about the axis.

        Radius times the cosine of the flank's lean: the normal's distance from the axis.
        """
        ...

    def bend(self, radius: ArrayLike, side: ArrayLike, reach: float) -> Floats:
        """Curvature of the flank as a blur of some reach sees it.

        One over a length, positive where the tooth is convex.

        Parameters
        ----------
        reach : float
            Length over which curvature is averaged to both sides, where it changes quickly.
        """
        ...

    def pin_radius(self, half_gap: Floats, radius: float, pin: float) -> tuple[Floats, Floats]:
        """Where a pin rests between two flanks.

        Parameters
        ----------
        half_gap : ndarray
            Half the angle between the flanks on the circle of `radius`, rad.
        radius, pin : float
            That circle's radius, and the pin's diameter.

        Returns
        -------
        ndarray
            Distance of the pin's centre from the axis; NaN where it does not rest on the flanks.
        ndarray
            Lean of the flanks' normals against the tangent at the pin's centre, rad.
        """
        ...

    def scaled(self, factor: float) -> Self:
        """Make the same form in another unit.

        Parameters
        ----------
        factor : float
            Units of the new one in a unit of the old.
        """
        ...


@dataclass(frozen=True)
class FlankCurve:
    """The form that flanks are compared with, and the range it is compared over, in picture px.

    Attributes
    ----------
    form : ToothForm
        In px.
    measuring_radius : float
        Measuring circle, px.
    low_radius, high_radius : float
        Evaluation range: from the lowest usable point of the flank to the tip less its rounding.
    tooth_high : ndarray, shape (z,), or None
        Where each tooth's own tip ends the range lower (a blank off centre), px.
    """

    form: ToothForm
    measuring_radius: float
    low_radius: float
    high_radius: float
    tooth_high: Floats | None = None

    @property
    def measuring_roll(self) -> float:
        """Length along the flank at the measuring circle, px."""
        return float(self.form.along(self.measuring_radius))

    @property
    def measuring_turn(self) -> Floats:
        """Turn of left and right flanks at the measuring circle, rad, shape (2,)."""
        return self.form.turn(np.full(2, self.measuring_radius), BOTH_SIDES)

    @property
    def measuring_arm(self) -> Floats:
        """Arm of left and right flanks at the measuring circle, px, shape (2,)."""
        return self.form.arm(np.full(2, self.measuring_radius), BOTH_SIDES)

    @property
    def measuring_lean(self) -> Floats:
        """Angle of left and right normals against the tangent there, rad, shape (2,).

        Negative where the tooth grows thicker outwards.
        """
        return self._lean(np.full(2, self.measuring_radius), BOTH_SIDES)

    @property
    def mean_lean(self) -> float:
        """Mean of both sides' lean on the measuring circle, rad; an involute's pressure angle."""
        return float(np.abs(self.measuring_lean).mean())

    def _lean(self, radius: Floats, side: ArrayLike) -> Floats:
        """Angle of the normals against the tangent, rad; its sign is that of the flank's turn."""
        lean = np.arccos(np.clip(self.form.arm(radius, side) / radius, -1.0, 1.0))
        near, far = (self.form.turn(radius * part, side) for part in (1 - STEP, 1 + STEP))
        return np.where(far < near, -lean, lean)

    def shifted(self) -> tuple[Floats, Floats]:
        """What a shift of the axis by one px does to a flank's place and slope.

        Returns
        -------
        place : ndarray, shape (2, 2)
            Of left and right flanks, px out of the material at the measuring circle: by a shift
            along the tangent there, towards the flank's own side, and by one along the radius.
        slope : ndarray, shape (2, 2)
            Growth of that with the length along the flank, per px of it.

        Notes
        -----
        A shift moves each point by its part along the normal, which turns along the flank. Along an
        involute it turns evenly, so place and slope are those of the measuring circle; else they
        are what a line fitted over the evaluation range makes of it.
        """
        if self.form.name == "involute":
            lean = self.measuring_lean
            way = np.stack([np.cos(lean), np.sin(lean)], axis=1)
            turned = np.stack([-np.sin(lean), np.cos(lean)], axis=1)
            return way, turned / self.measuring_arm[:, None]

        def moved(radius: Floats, side: int) -> Floats:
            facing = self.form.turn(radius, side) - self.measuring_turn[side]
            facing = facing + self._lean(radius, side)
            return np.stack([np.cos(facing), np.sin(facing)], axis=1)

        lines = self._lines(moved)
        return lines[:, 0], lines[:, 1]

    def stretched(self) -> tuple[float, float]:
        """What a picture that is too large by a share of itself does to place and slope.

        Returns
        -------
        place : float
            Mean of both sides, px out of the material at the measuring circle, per share.
        slope : float
            Growth of that with the length along the flank.

        Notes
        -----
        A stretch moves each point along its radius, so along the normal by ``r sin(lean)``. Of an
        involute that is its length of roll, and the slope is 1.
        """
        if self.form.name == "involute":
            return self.measuring_roll, 1.0
        lines = self._lines(lambda radius, side: radius * np.sin(self._lean(radius, side)))
        place, slope = lines.mean(axis=0)
        return float(place), float(slope)

    def _lines(self, moved: Callable[[Floats, int], Floats]) -> Floats:
        """Place and slope of each side, shape (2, 2, ...), by a line fitted to how points move.

        `moved` gives the movement along the normal, from radius and side.
        """
        radius = np.linspace(self.low_radius, self.high_radius, 60)
        x = self.form.along(radius) - self.measuring_roll
        found = []
        for side in (0, 1):
            arm = self.form.arm(radius, side)
            design = np.stack([arm / self.measuring_arm[side], x], axis=1)
            found.append(np.linalg.lstsq(design, moved(radius, side), rcond=None)[0])
        return np.array(found)

    @property
    def roll_range(self) -> tuple[float, float]:
        """Lengths along the flank where the evaluation begins and ends, px."""
        low, high = self.form.along([self.low_radius, self.high_radius])
        return float(low), float(high)


class Wheel(Protocol):
    """The theoretical gear of any form, in millimetres, before any error."""

    @property
    def teeth(self) -> int:
        """Number of teeth, z."""
        ...

    @property
    def module_mm(self) -> float:
        """Module: diameter of the reference circle over the number of teeth."""
        ...

    @property
    def reference_radius(self) -> float:
        """Radius of the reference circle, where pitch and thickness are stated."""
        ...

    @property
    def tip_radius(self) -> float:
        """Radius of the tip circle."""
        ...

    @property
    def root_radius(self) -> float:
        """Radius of the gap floors."""
        ...

    @property
    def form_radius(self) -> float:
        """Radius where the usable flank begins."""
        ...

    @property
    def flank_end(self) -> float:
        """Radius where the flank ends before the tip; infinite where it does not."""
        ...

    @property
    def flank(self) -> ToothForm:
        """Form of its flanks."""
        ...

    def half_angles(self, radius: ArrayLike) -> Floats:
        """Angles from the middle of a tooth to its two flanks.

        Returns
        -------
        ndarray, shape (2, ...)
            Left and right, rad.
        """
        ...

    def half_gaps(self, flank_points: int = 60, fillet_points: int = 40) -> tuple[Floats, Floats]:
        """Outline of a gap from the floor up to the tip, by its two sides.

        Parameters
        ----------
        flank_points, fillet_points : int
            Points on the flank and on what lies below it.

        Returns
        -------
        radius : ndarray, shape (n,)
        angle : ndarray, shape (2, n)
            Angle from the middle of the gap to a left flank (that of the following tooth) and to
            a right one, rad.
        """
        ...

    def scaled(self, factor: float) -> Self:
        """Make the same wheel in another unit.

        Parameters
        ----------
        factor : float
            Units of the new one in a unit of the old.
        """
        ...
