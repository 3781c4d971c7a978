"""The part of a flank that deviations are evaluated over."""

from dataclasses import replace
from math import hypot

import numpy as np

from cogloupe.fits.radii import CORNER_BLURS, Radii
from cogloupe.forms.rack import Gear
from cogloupe.forms.tooth_form import FlankCurve, Wheel
from cogloupe_calibration.errors import PhotoError

FORM_SHIFTS = (-0.7, 1.2)
"""Profile shifts between which a form circle is worked out; beyond, the gear is not of the rack."""
SHORTEST_FLANK_PX = 3.0
"""Each flank then has three rows of pixels and a slope that all flanks share only."""
FLOOR_BLURS, CORNER_MODULES = 1.5, 0.05
"""What fillet and tip corner bend a flank by reaches so far: blurs beyond the fillet, and blurs or
modules below the tip (usual breaking of edges, common practice, no source)."""


def plausible(wheel: Wheel) -> Wheel:
    """A gear within the profile shifts for which fillet and form circle can be worked out."""
    if not isinstance(wheel, Gear):
        return wheel
    return replace(wheel, profile_shift=float(np.clip(wheel.profile_shift, *FORM_SHIFTS)))


def evaluation_range(wheel: Wheel, tips: Radii, blur: float, px: float) -> FlankCurve:
    """Usable flank that can be measured: its start to the tip, clear of both corners' blur.

    Measured on the reference circle.

    Parameters
    ----------
    tips : Radii
        Px.
    blur : float
        Px.
    px : float
        Mm per px.

    Raises
    ------
    PhotoError
        Where hardly anything is left between the two.
    """
    wheel = plausible(wheel)
    form = wheel.flank.scaled(1 / px)
    low = wheel.form_radius / px + FLOOR_BLURS * blur
    if form.lowest > 0:  # next to its base circle an involute runs along the radius
        low = max(low, hypot(form.lowest, 3.0 + blur))
    corner = max(CORNER_BLURS * blur, CORNER_MODULES * wheel.module_mm / px)
    end = wheel.flank_end / px
    high = min(float(np.nanmedian(tips.value)) - corner, end)
    if high - low < SHORTEST_FLANK_PX:
        raise PhotoError(
            f"the flanks are too short to measure ({max(high - low, 0):.1f} px): come closer, and "
            "check scale, module and teeth"
        )
    own = np.where(np.isfinite(tips.value), np.minimum(tips.value - corner, end), high)
    return FlankCurve(form, wheel.reference_radius / px, low, high, own)
