"""The wheel with cycloidal teeth, and what the clock trade makes of its sizes.

Lengths are millimetres, angles rad; the curves of its flanks are in `cycloid`.
"""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import ArrayLike

from cogloupe.forms.cycloid import CycloidalForm, Epicycloid, RoundTop
from cogloupe.forms.tooth_form import Wheel
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import UseError

CORNER_MODULES = 0.4
"""Height above the floor, in modules, within which the cutter's rounding is taken to end where it
is not known (common practice, no source)."""
MOST_LEAVES = 16
"""A clock wheel of so many teeth or fewer is taken for a pinion (common practice, no source)."""
WHEEL_ADDENDUM, PINION_ADDENDUM = (1.38, 0.2), (0.75, 0.25)
"""Height of the addendum and its standard uncertainty, in modules: a wheel's full diameter is
N + 2.76 modules, a pinion's N + 1.05 to 1.71 by the shape of its leaves (common practice, no
source)."""
THIN_LEAVES, THICK_LEAVES, FEW_LEAVES = 1.05, 1.25, 10
"""Thickness of a pinion's leaves on the pitch circle, in modules: with 10 leaves or fewer, and
with more (BS 978-2, from memory)."""


@dataclass(frozen=True, kw_only=True)
class CycloidalWheel:
    """A clock wheel or pinion before any error, mm (see `tooth_form.Wheel`).

    Attributes
    ----------
    module_mm : float
        Pitch diameter over the number of teeth.
    form : CycloidalForm
        On the pitch circle of that module.
    thickness_mm : float
        Thickness of a tooth on the pitch circle, as an arc.
    root_radius, tip_radius : float
        Of floors and tips.
    fillet_mm : float or None
        Rounding between flank and floor; None where it is not known.
    """

    teeth: int
    module_mm: float
    form: CycloidalForm
    thickness_mm: float
    root_radius: float
    tip_radius: float
    fillet_mm: float | None = None

    @property
    def reference_radius(self) -> float:
        """Radius of the pitch circle."""
        return self.form.pitch_radius

    @property
    def form_radius(self) -> float:
        """Radius where the rounding at the floor has ended for certain."""
        unknown = CORNER_MODULES * self.module_mm
        return self.root_radius + (unknown if self.fillet_mm is None else self.fillet_mm)

    @property
    def flank_end(self) -> float:
        """Radius beyond which the flank is called tip."""
        return self.form.end

    @property
    def flank(self) -> CycloidalForm:
        """Form of the flanks."""
        return self.form

    def half_angles(self, radius: ArrayLike) -> Floats:
        """Angles from the middle of a tooth to its left and right flank; see `Wheel`.

        Returns
        -------
        ndarray, shape (2, ...)
        """
        half = self.thickness_mm / (2 * self.reference_radius) - self.form.turn(radius)
        return np.stack([half, half])

    def half_gaps(self, flank_points: int = 60, fillet_points: int = 40) -> tuple[Floats, Floats]:
        """Outline of a gap by its two sides, which are alike; see `Wheel`.

        Returns
        -------
        radius : ndarray, shape (n,)
        angle : ndarray, shape (2, n)
        """
        root, fillet = self.root_radius, self.fillet_mm or 0.0
        below = pi / self.teeth - self.thickness_mm / (2 * self.reference_radius)
        inset = float(np.arcsin(fillet / (root + fillet)))
        if inset > below:
            raise UseError(
                f"a rounding of {fillet:.3g} mm does not fit the floor of the gap, which is "
                f"{2 * below * root:.3g} mm wide"
            )
        # The rounding's centre stands so far above the floor and beside the flank; its arc runs
        # from straight below it to square off the flank.
        swept = np.linspace(0, pi / 2 - inset, fillet_points)
        x, y = fillet * np.sin(swept), root + fillet - fillet * np.cos(swept)
        rise = np.hypot(x, y)
        corner = below - inset + np.arctan2(x, y)
        radius = np.linspace(rise[-1], self._pointed(), flank_points)[1:]
        angle = pi / self.teeth - self.half_angles(radius)[1]
        whole = np.concatenate([corner, angle])
        return np.concatenate([rise, radius]), np.stack([whole, whole])

    def _pointed(self) -> float:
        """Tip radius, or where the flanks meet if that is lower."""
        return min(self.tip_radius, self.ridge)

    @property
    def ridge(self) -> float:
        """Radius where the two flanks of a tooth meet; the curve's end where they do not."""
        radius = np.linspace(self.reference_radius, self.form.addendum.summit, 20000)
        met = self.half_angles(radius)[1] <= 0
        return float(radius[int(np.argmax(met))] if met.any() else radius[-1])

    def scaled(self, factor: float) -> "CycloidalWheel":
        """Make the same wheel in another unit."""
        return CycloidalWheel(
            teeth=self.teeth,
            module_mm=self.module_mm * factor,
            form=self.form.scaled(factor),
            thickness_mm=self.thickness_mm * factor,
            root_radius=self.root_radius * factor,
            tip_radius=self.tip_radius * factor,
            fillet_mm=None if self.fillet_mm is None else self.fillet_mm * factor,
        )


def addendum_sizes(wheel: Wheel) -> tuple[float | None, float | None]:
    """What makes the addendum of a wheel, as a person states it.

    Parameters
    ----------
    wheel : Wheel
        Of any form.

    Returns
    -------
    generating_circle, addendum_radius : float or None
        Diameter of the generating circle, or radius of the arc; None where there is none.
    """
    curve = wheel.form.addendum if isinstance(wheel, CycloidalWheel) else None
    circle = 2 * curve.rolling_radius if isinstance(curve, Epicycloid) else None
    return circle, curve.arc_radius if isinstance(curve, RoundTop) else None


def leaf_thickness(teeth: int) -> float:
    """Thickness of a cycloidal tooth on the pitch circle by the trade's rule.

    In modules: half the pitch for a wheel, less for a pinion.
    """
    if teeth > MOST_LEAVES:
        return pi / 2
    return THIN_LEAVES if teeth <= FEW_LEAVES else THICK_LEAVES
