"""Flanks that stand among the others as no cutter leaves them, and what that says of their edges.

They keep their places and figures, for a tooth may be damaged or ill divided; what the edge may
have been taken for instead is in their uncertainty.
"""

from math import pi, sqrt

import numpy as np

from cogloupe.fits.edge_model_check import (
    LEAST_STRAY_PX,
    UNLIKE_PX,
    enough_followed,
    followed_strays,
    in_doubt,
    unlike_px,
)
from cogloupe.fits.flanks import FlankFits
from cogloupe.fits.measured_gear import Measured
from cogloupe.fits.teeth_axis import FAR_OFF
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.robust import scatter

PIVOT = sqrt(3)
"""What a flank that pivots about one of its ends is moved by at its middle, in what it leans, root
mean square."""
OTHER_EDGE, FAULTY = 0.2, 0.01
"""Chance of a flank to have been followed along the other edge of a band, and to stand anywhere in
a pitch by a fault of its own, before it is known how far off it stands (our own judgement)."""


def odd_leans_px(fits: FlankFits) -> Floats:
    """How far flanks that lean unlike all others may have been moved by that, px, shape (z, 2).

    A shadow or a chamfer was taken for part of them, or they are damaged, and where they were cut
    is not to be told from what is left. 0 for all others, and where flanks lean as one cutter
    leaves them: an odd one is the gear's own then, as steps lost in the middle of a cut leave it.
    """
    if unlike_px(fits) < UNLIKE_PX:
        return np.zeros(fits.unwound.shape)
    lean = followed_strays(fits)[1]
    odd = np.abs(lean) > FAR_OFF * scatter(lean[np.isfinite(lean)])
    return np.where(odd, PIVOT * np.abs(lean), 0.0)


def other_edge_px(fits: FlankFits, width_px: float) -> Floats:
    """What flanks that may run along the other edge of a band leave in doubt, px, shape (z, 2).

    Parameters
    ----------
    fits : FlankFits
    width_px : float
        Of the band.

    Returns
    -------
    ndarray, shape (z, 2)
        The width, by the chance that a flank as far off as it stands owes that to the band; 0
        where flanks stand off too far by themselves for a band's width to be told from that.
    """
    nothing = np.zeros(fits.unwound.shape)
    if not (enough_followed(fits) and width_px):
        return nothing
    stray = followed_strays(fits)[0]
    off, usual = np.abs(stray), scatter(stray[np.isfinite(stray)]) + LEAST_STRAY_PX
    if width_px < FAR_OFF * usual:
        return nothing

    def likely(distance: Floats) -> Floats:
        return np.asarray(np.exp(-((distance / usual) ** 2) / 2) / (usual * sqrt(2 * pi)))

    other = OTHER_EDGE * likely(off - width_px)
    pitch_px = 2 * pi * fits.curve.measuring_radius / len(off)
    chance = other / (other + likely(off) + FAULTY / pitch_px)
    return np.nan_to_num(np.sqrt(chance) * width_px)


def odd_ones_doubted(measured: Measured) -> Measured:
    """A gear with flanks in doubt that lean unlike all others, or stand off by a band's width."""
    fits = measured.fits
    own = np.hypot(odd_leans_px(fits), other_edge_px(fits, measured.outlines.bevel_px))
    return in_doubt(measured, own)
