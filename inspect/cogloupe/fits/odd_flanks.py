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
ODD = 0.1
"""Share of flanks that lean by something other than what all do, by `FAR_OFF` times as much (our
own judgement)."""
FEWEST_GAPS = 8
"""Gaps of which a usual width can be told (our own judgement)."""
OTHER_EDGE, FAULTY = 0.2, 0.01
"""Chance of a flank to have been followed along the other edge of a band, and to stand anywhere in
a pitch by a fault of its own, before it is known how far off it stands (our own judgement)."""


def odd_leans_px(fits: FlankFits) -> Floats:
    """How far flanks that lean unlike all others may have been moved by that, px, shape (z, 2).

    A shadow or a chamfer was taken for part of them, or they are damaged, and where they were cut
    is not to be told from what is left. By the chance that each is such a one, so that little is
    left of it for those that lean as most do; 0 where flanks lean as one cutter leaves them: an odd
    one is the gear's own then, as steps lost in the middle of a cut leave it.
    """
    if unlike_px(fits) < UNLIKE_PX:
        return np.zeros(fits.unwound.shape)
    lean = followed_strays(fits)[1]
    usual = _usual(lean)
    odd = ODD * _likely(lean, FAR_OFF * usual)
    chance = odd / (odd + (1 - ODD) * _likely(lean, usual))
    return np.asarray(np.nan_to_num(PIVOT * np.sqrt(chance) * np.abs(lean)))


def other_edge_px(fits: FlankFits, width_px: float) -> Floats:
    """What flanks that may run along the other edge of a band leave in doubt, px, shape (z, 2).

    Parameters
    ----------
    width_px : float
        Of the band.

    Returns
    -------
    ndarray, shape (z, 2)
        The width, by the chance that a flank as far off as it stands, or in a gap as wide or narrow
        as its own, owes that to the band; 0 where flanks stand off too far by themselves for a
        band's width to be told from that.
    """
    nothing = np.zeros(fits.unwound.shape)
    if not (enough_followed(fits) and width_px):
        return nothing
    stray = followed_strays(fits)[0]
    faulty = FAULTY * len(stray) / (2 * pi * fits.curve.measuring_radius)
    alone = _chance(stray, width_px, faulty)
    chance = np.fmax(alone, _in_gaps(stray, width_px, faulty))
    return np.nan_to_num(np.sqrt(chance) * width_px)


def _usual(off: Floats) -> float:
    return scatter(off[np.isfinite(off)]) + LEAST_STRAY_PX


def _likely(distance: Floats, usual: float) -> Floats:
    return np.asarray(np.exp(-((distance / usual) ** 2) / 2) / (usual * sqrt(2 * pi)))


def _chance(off: Floats, width: float, faulty: float) -> Floats:
    """Chance that what stands off so far owes that to a band of a width, in its usual scatter.

    0 where that scatter is too large for the width to be told from it.
    """
    usual = _usual(off)
    if width < FAR_OFF * usual:
        return np.zeros(off.shape)
    other = OTHER_EDGE * _likely(np.abs(off) - width, usual)
    return np.asarray(other / (other + _likely(off, usual) + faulty))


def _in_gaps(stray: Floats, width: float, faulty: float) -> Floats:
    """Chance of flanks to run along the other edge of a band, by the widths of their gaps.

    One cut leaves both flanks of a gap, so whatever the dividing did, its width stays. Either of
    the two may be at fault: the one that stands off where the other does not, or, where a step of
    the dividing moved both, either.
    """
    right, left = stray[:, 1], np.roll(stray[:, 0], -1)
    gap, usual = right + left, _usual(stray)
    if np.isfinite(gap).sum() < FEWEST_GAPS:
        return np.full(stray.shape, np.nan)
    there, moved = _chance(gap, width, faulty), np.sign(gap) * width
    by_right = _likely(right - moved, usual) * _likely(left, usual)
    by_left = _likely(left - moved, usual) * _likely(right, usual)
    either = faulty * _likely(gap - moved, _usual(gap)) / 2
    of_right = (by_right + either) / np.maximum(by_right + by_left + 2 * either, 1e-300)
    return np.stack([np.roll(there * (1 - of_right), 1), there * of_right], axis=1)


def odd_ones_doubted(measured: Measured) -> Measured:
    """A gear with flanks in doubt that lean unlike all others, or stand off by a band's width."""
    fits = measured.fits
    own = np.hypot(odd_leans_px(fits), other_edge_px(fits, measured.outlines.bevel_px))
    return in_doubt(measured, own)
