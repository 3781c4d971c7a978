"""A gear as it turns on its pin: every flank as a curve about the axis of rotation.

Frame: both sides are seen as right flanks are, turned so that a flank's material lies at smaller
angles; for left flanks the picture is mirrored (angles change their sign). So ``angle`` always
grows out of the material, and one set of formulas serves both ways round. Lengths mm, angles rad.
Arrays run over teeth in the order of their numbers and side, 0 left and 1 right.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from cogloupe.forms.tooth_form import Wheel
from cogloupe_calibration.arrays import Floats

TOWARDS = np.array([-1.0, 1.0])
"""Sign that turns an angle on the picture into one out of a left or right flank's material."""
ALONG_POINTS = 160
"""Points on a flank's curve: several to each stretch that a reading averages its trace in, and so
close that an involute is straight between them to a hundredth of a micrometre at its start."""
BEYOND_TIP_MODULES = 0.2
"""How far flanks are carried on beyond the tips, so that the place of contact can be told to lie
there; what touches then is the corner of the tip."""


@dataclass(frozen=True, kw_only=True)
class Doubts:
    """What is not known of a gear's flanks, tips and floors, one standard uncertainty of each.

    Attributes
    ----------
    place : ndarray, shape (z, 2)
        Of each flank by itself, along its normal.
    slope : ndarray, shape (z, 2)
        Of each flank by itself: growth along the normal for each mm of length.
    slope_common : float
        The same of all flanks together.
    places, slopes : ndarray, shape (sources, z, 2)
        Movement of the flanks out of the material, and growth of it, with each common source.
    sizes : ndarray, shape (sources,)
        Share by which each of them enlarges the gear.
    edge : float
        All edges together, out of the material.
    edge_on_scale : float
        Share by which the scale grows with it.
    scale : float
        What else is open of the scale, as a share.
    stretch : float
        What lens and lean may enlarge this gear by besides.
    tip, root : float
        Of a tip's and of a floor's radius, edges and scale included.
    set_up : str
        What names camera and calibration: readings that share it err alike in edges and scale.
    """

    place: Floats
    slope: Floats
    slope_common: float
    places: Floats
    slopes: Floats
    sizes: Floats
    edge: float
    edge_on_scale: float
    scale: float
    stretch: float
    tip: float
    root: float
    set_up: str


@dataclass(frozen=True, kw_only=True)
class RunningGear:
    """A gear as it turns about its axis.

    Attributes
    ----------
    name : str
        What a person calls it.
    wheel : Wheel
        The gear that was meant, at the depth and tips that were found.
    start : float
        Polar angle on the picture of tooth 1's middle, as the mean of all teeth puts it.
    half : ndarray, shape (2,)
        Angle from a tooth's middle to where its flank, unwound, begins.
    along : ndarray, shape (n,)
        Evenly spaced lengths along a flank, from its usable start to beyond the tips.
    radius : ndarray, shape (n,)
        Radii there.
    off : ndarray, shape (z, 2, n)
        Angle by which every flank stands out of the material of the ideal one; NaN where the
        flank was not seen.
    tip, root : ndarray, shape (z,)
        Radii of every tip, and of the floor of the gap after it.
    form_radius : float
        Radius where the usable flank begins.
    axis : complex
        Axis of the teeth as seen from that of rotation, on the picture.
    axis_seen : bool
        False where no bore was seen: the axis of rotation is then taken for that of the teeth.
    bore_mm : float or None
        Diameter of the bore.
    gap : ndarray, shape (m, 2)
        Mean outline of the gaps (`reading.flank_models`); empty where it is not known.
    covered : tuple of (int, str)
        Flanks under something, by tooth number and side.
    doubts : Doubts or None
        None for a theoretical gear.
    """

    name: str
    wheel: Wheel
    start: float
    half: Floats
    along: Floats
    radius: Floats
    off: Floats
    tip: Floats
    root: Floats
    form_radius: float
    axis: complex
    axis_seen: bool
    bore_mm: float | None
    gap: Floats
    covered: tuple[tuple[int, str], ...]
    doubts: Doubts | None

    @property
    def teeth(self) -> int:
        """Number of teeth."""
        return self.wheel.teeth

    @property
    def pitch(self) -> float:
        """Angle from a tooth to the next."""
        return 2 * pi / self.teeth

    @property
    def arm(self) -> float:
        """Movement along the normal for each radian, on the reference circle."""
        return float(self.wheel.flank.arm(self.wheel.reference_radius))

    def radius_at(self, length: Floats) -> Floats:
        """Radii at lengths along a flank."""
        return np.interp(length, self.along, self.radius)

    def corners(self, side: int) -> Floats:
        """Radii of the corners of every tip.

        Parameters
        ----------
        side : {0, 1}

        Returns
        -------
        ndarray, shape (z,)
            On a blank off centre they differ from the tip's own radius, as far as the corner stands
            from the tooth's middle.
        """
        beside = self.half[side] - float(self.wheel.flank.turn(self.tip.mean()))
        rise = TOWARDS[side] * (np.roll(self.tip, -1) - np.roll(self.tip, 1)) / 2
        return np.asarray(self.tip + rise * beside / self.pitch)

    @property
    def seen(self) -> float:
        """Share of the flanks that were seen."""
        return float(np.isfinite(self.off[..., 0]).mean())


def flank_grid(wheel: Wheel, form_radius: float, tip: float) -> tuple[Floats, Floats]:
    """Evenly spaced lengths along a flank, and their radii.

    Parameters
    ----------
    form_radius, tip : float
        Where the usable flank begins, and the highest tip.

    Returns
    -------
    along, radius : ndarray, shape (ALONG_POINTS,)
        From the one to beyond the other.
    """
    beyond = min(tip + BEYOND_TIP_MODULES * wheel.module_mm, _summit(wheel))
    dense = np.linspace(max(form_radius, wheel.flank.lowest), beyond, 4000)
    length = wheel.flank.along(dense)
    along = np.linspace(length[0], length[-1], ALONG_POINTS)
    return along, np.interp(along, length, dense)


def _summit(wheel: Wheel) -> float:
    """Largest radius that the flank's curve reaches."""
    addendum = getattr(wheel.flank, "addendum", None)
    return float("inf") if addendum is None else 0.999 * float(addendum.summit)
