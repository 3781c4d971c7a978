"""Straight-sided teeth: ratchets, count wheels, chain wheels. Read for their pitch alone.

Each side of a tooth is a straight line, and how far it leans is learnt from the flanks themselves:
nothing is stated about it, so nothing can be said of thickness or profile. A line is known by its
distance from the axis; lengths are in one unit, angles rad.
"""

from dataclasses import dataclass, replace
from math import pi

import numpy as np
from numpy.typing import ArrayLike

from cogloupe.forms.tooth_form import BOTH_SIDES, FormName
from cogloupe_calibration.arrays import Floats

LOW_SHARE, HIGH_SHARE = 0.3, 0.7
"""Shares of the tooth's height between which its sides are read. Nearer to tip or floor the long
side of a ratchet tooth lies past the middle of its neighbour."""


@dataclass(frozen=True)
class StraightForm:
    """Straight flanks (see `tooth_form.ToothForm`).

    Attributes
    ----------
    passing : (float, float)
        Distance at which the lines of left and right flanks pass the axis; positive where the
        tooth grows thinner outwards, 0 for a radial side, negative for an undercut one.
    """

    passing: tuple[float, float]

    @property
    def name(self) -> FormName:
        """Name of the form."""
        return "straight"

    @property
    def lowest(self) -> float:
        """The line is nearest to the axis there."""
        return max(map(abs, self.passing))

    def _passing(self, side: ArrayLike) -> Floats:
        return np.asarray(np.asarray(self.passing, np.float64)[np.asarray(side)])

    def turn(self, radius: ArrayLike, side: ArrayLike = 1) -> Floats:
        """``-asin(passing / r)``, from where the flank would point if it went on for ever."""
        share = self._passing(side) / np.asarray(radius, np.float64)
        return -np.arcsin(np.clip(share, -1.0, 1.0))

    def along(self, radius: ArrayLike) -> Floats:
        """The radius: the two sides have no common length."""
        return np.asarray(radius, np.float64)

    def arm(self, radius: ArrayLike, side: ArrayLike = 1) -> Floats:
        """``sqrt(r^2 - passing^2)``."""
        square = np.square(np.asarray(radius, np.float64)) - self._passing(side) ** 2
        return np.sqrt(np.maximum(square, 0.0))

    def bend(self, radius: ArrayLike, side: ArrayLike, reach: float) -> Floats:
        """Curvature 0."""
        return np.zeros(np.shape(radius))

    def pin_radius(self, half_gap: Floats, radius: float, pin: float) -> tuple[Floats, Floats]:
        """Nothing: what these teeth run with is no pin in their gaps."""
        nothing = np.full(np.shape(half_gap), np.nan)
        return nothing, nothing

    def scaled(self, factor: float) -> "StraightForm":
        """The same form in another unit."""
        left, right = self.passing
        return StraightForm((left * factor, right * factor))

    def tilted(self, radius: float, tilt: Floats) -> "StraightForm":
        """The form that flanks follow which were found tilted against this one.

        Parameters
        ----------
        radius : float
            Where they were compared.
        tilt : ndarray, shape (2,)
            Rise out of the material for each unit of radius, of left and right flanks.
        """
        sine = np.asarray(self.passing) / radius
        tangent = sine / np.sqrt(1 - sine**2) - tilt / np.sqrt(1 - sine**2)
        left, right = radius * tangent / np.hypot(1, tangent)
        return StraightForm((float(left), float(right)))


@dataclass(frozen=True, kw_only=True)
class StraightWheel:
    """A straight-sided wheel before any error, mm (see `tooth_form.Wheel`).

    Attributes
    ----------
    module_mm : float
        Diameter of the circle the pitch is stated on, over the number of teeth.
    thickness_mm : float
        Thickness of a tooth on that circle, as an arc.
    root_radius, tip_radius : float
        Of floors and tips.
    """

    teeth: int
    module_mm: float
    form: StraightForm
    thickness_mm: float
    root_radius: float
    tip_radius: float

    @property
    def reference_radius(self) -> float:
        """Radius of the circle the pitch is stated on."""
        return self.teeth * self.module_mm / 2

    @property
    def form_radius(self) -> float:
        """Radius from which the sides are read."""
        return self.root_radius + LOW_SHARE * (self.tip_radius - self.root_radius)

    @property
    def flank_end(self) -> float:
        """Radius up to which the sides are read."""
        return self.root_radius + HIGH_SHARE * (self.tip_radius - self.root_radius)

    @property
    def flank(self) -> StraightForm:
        """Form of the flanks."""
        return self.form

    def half_angles(self, radius: ArrayLike) -> Floats:
        """Angles from the middle of a tooth (on the pitch circle) to its flanks; see `Wheel`.

        Returns
        -------
        ndarray, shape (2, ...)
        """
        half = self.thickness_mm / (2 * self.reference_radius)
        at = self.form.turn(np.full(2, self.reference_radius), BOTH_SIDES)
        return np.stack([half + at[side] - self.form.turn(radius, side) for side in (0, 1)])

    def half_gaps(self, flank_points: int = 60, fillet_points: int = 40) -> tuple[Floats, Floats]:
        """Outline of a gap by its two sides, without roundings; see `Wheel`.

        Returns
        -------
        radius : ndarray, shape (n,)
        angle : ndarray, shape (2, n)
        """
        radius = np.linspace(self.root_radius, self.tip_radius, flank_points)
        return radius, np.asarray(pi / self.teeth - self.half_angles(radius))

    def scaled(self, factor: float) -> "StraightWheel":
        """Make the same wheel in another unit."""
        return replace(
            self, module_mm=self.module_mm * factor, form=self.form.scaled(factor),
            thickness_mm=self.thickness_mm * factor, root_radius=self.root_radius * factor,
            tip_radius=self.tip_radius * factor,
        )  # fmt: skip
