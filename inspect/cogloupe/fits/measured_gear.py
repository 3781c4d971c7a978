"""A gear as measured on one picture, and what its radii tell."""

from dataclasses import dataclass
from math import hypot, inf, sqrt
from typing import Literal

import numpy as np

from cogloupe.finding.segmentation import Region
from cogloupe.finding.tooth_map import ToothMap
from cogloupe.fits.bore import Bore
from cogloupe.fits.evaluation_range import plausible
from cogloupe.fits.flanks import FlankFits
from cogloupe.fits.module_seen import SeenModule
from cogloupe.fits.radii import Radii, floor_radii
from cogloupe.fits.teeth_axis import gap_middles
from cogloupe.forms.rack import Gear
from cogloupe.forms.tooth_form import Wheel
from cogloupe.numerics.circles import Circle
from cogloupe.optics.outlines import Outlines
from cogloupe.wording.notices import Notice
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.scale import Scale


@dataclass(frozen=True, kw_only=True)
class Measured:
    """A gear as measured on one picture.

    Attributes
    ----------
    region, outlines, teeth, fits
        What each step found; lengths px.
    wheel : Wheel
        The gear compared with, mm; an involute one at the profile shift that was found.
    scale : Scale
        Scale of the picture.
    source : {'given', 'estimated'}
        Where tooth number and module came from.
    tips : Radii
        Tip radii about the teeth's axis, px.
    addendum_source : {'given', 'estimated'} or None
        Where the addendum curve of cycloidal teeth came from.
    thickness_px : float
        Of the gear; infinite where it was not stated.
    """

    region: Region
    outlines: Outlines
    teeth: ToothMap
    fits: FlankFits
    wheel: Wheel
    scale: Scale
    source: str
    module_seen: SeenModule
    bore: Bore | None
    tips: Radii
    tip_circle: Circle | None
    notices: tuple[Notice, ...]
    addendum_source: Literal["given", "estimated"] | None = None
    thickness_px: float = inf

    @property
    def gear(self) -> Gear:
        """The involute gear compared with.

        Only for what is worked out of involute teeth alone; see `involute`.
        """
        if not isinstance(self.wheel, Gear):
            raise TypeError(f"{self.wheel.flank.name} teeth have no rack")
        return self.wheel

    @property
    def involute(self) -> bool:
        """True where the teeth were compared with those of a rack."""
        return isinstance(self.wheel, Gear)


def tips_oval(tips: Radii, teeth: ToothMap) -> float:
    """How far the tips lie on an oval instead of a circle.

    Longest over shortest diameter, less one; 0 where no oval stands out of the scatter.

    Parameters
    ----------
    tips : Radii
        Tip radii, px.
    """
    seen = np.isfinite(tips.value)
    if seen.sum() < 10:
        return 0.0
    angle, radius = teeth.centre_angle[seen], tips.value[seen]
    waves = [f(k * angle) for k in (1, 2) for f in (np.cos, np.sin)]
    design = np.stack([np.ones_like(angle), *waves], axis=1)
    wave = np.linalg.lstsq(design, radius, rcond=None)[0]
    scatter = float(np.std(radius - design @ wave))
    size = hypot(wave[3], wave[4])
    # Each of the wave's two parts has the scatter times sqrt(2 / n).
    return 2 * size / float(wave[0]) if size > 3 * scatter * sqrt(2 / len(radius)) else 0.0


def found_floors(measured: Measured, axis: Floats) -> Radii:
    """Floor radii of a measured gear about an axis; px.

    Parameters
    ----------
    axis : ndarray, shape (2,)
    """
    if measured.wheel.flank.name == "straight":  # a ratchet's gap has its lowest point anywhere
        nothing = np.full(measured.teeth.teeth, np.nan)
        return Radii(nothing, nothing)
    in_px = plausible(measured.wheel).scaled(1 / measured.scale.mm_per_px)
    # On a floor that is all fillet, a middle out by a few px would lift it.
    middle = gap_middles(measured.fits)
    return floor_radii(measured.outlines.outer, measured.teeth, axis, in_px, middle)
