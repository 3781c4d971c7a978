"""How far a whole outline lies inside or outside that of the gear as stated. Lengths px.

A chamfer's inner edge, or a shadow's border, that is taken for the edge all round leaves good
pitches and teeth that are thick or thin. It moves tips, flanks and floors alike, which no single
fault of the gear does: a wrong blank moves tips, a wrong depth floors and, by the sine of the
pressure angle, flanks; a profile shift moves tips and floors by its own size and flanks by that
sine of it; and thinned teeth have their tips and floors in place.
"""

from math import sin

import numpy as np

from cogloupe.forms.rack import Gear
from cogloupe_calibration.arrays import Floats


def outline_offset(stated: Gear, found: Gear, tips: Floats, floors: Floats) -> float:
    """How far an outline lies off the stated one that no single fault of the gear explains.

    Px, out of the material. The least of what tips, floors and flanks show, as they are and once
    the blank or the depth has been put down to a profile shift; 0 where not all of them show the
    same way.

    Parameters
    ----------
    stated : Gear
        At the size that it has on the picture, px.
    found : Gear
        The same with the profile shift that its flanks have.
    tips, floors : ndarray, shape (z,)
        Radii about the teeth's axis, px; NaN where not seen.
    """
    if np.isnan(tips).all() or np.isnan(floors).all():
        return 0.0
    lean = sin(stated.rack.pressure_angle)
    flank = (found.profile_shift - stated.profile_shift) * stated.module_mm * lean
    tip = float(np.nanmedian(tips)) - stated.tip_radius
    floor = float(np.nanmedian(floors)) - stated.root_radius
    unshifted = [(flank - lean * each) / (1 - lean) for each in (tip, floor)]
    shown = np.array([flank, tip, floor, *unshifted])
    alike = bool((shown > 0).all() or (shown < 0).all())
    return float(shown[np.abs(shown).argmin()]) if alike else 0.0
