"""What blurred steps look like when they are taken for those of a camera with another curve."""

from dataclasses import dataclass

import numpy as np

from cogloupe.numerics.bounded_least_squares import fit_within
from cogloupe.optics.greys import Greys
from cogloupe.optics.response import unit_step
from cogloupe_calibration.arrays import Reals

Z = np.arange(-6.0, 6.0, 0.1)
"""Where steps are compared, in blurs."""
BOUNDS = np.array([-3.0, 0.2]), np.array([3.0, 5.0])
"""Least and most place and blur of a step, in blurs: wide of what a wrong curve does to either."""
SIZES = np.array([0.1, 0.1])
"""Sizes of their changes, by which the fit takes its steps."""


@dataclass(frozen=True)
class TakenWrongly:
    """What a wrong curve does to an edge: its move, and what it leaves at distances from it.

    `move` and `distance` are in blurs, `left` in shares of the contrast as stored.
    """

    move: float
    distance: Reals
    left: Reals


def mismatch_of(levels: Reals, taken: Greys) -> TakenWrongly:
    """Take steps between values as they are stored for what another curve stores.

    Parameters
    ----------
    levels : ndarray, shape (2,)
        Stored values of material and ground.
    taken : Greys
        How they are taken.
    """
    low, high = levels
    light = taken.lit(low + (high - low) * unit_step(Z)[0])
    dark, bright = taken.lit(np.asarray(levels))
    share = (light - dark) / (bright - dark)

    def left(sizes: Reals) -> Reals:
        place, blur = sizes
        return np.asarray(share - unit_step((Z - place) / blur)[0])

    place, blur = fit_within(left, np.array([0.0, 1.0]), BOUNDS, SIZES).values
    rise = taken.stored(light, (bright - dark) * left(np.array([place, blur])))
    whole = taken.full_scale * taken.contrast(np.array([dark, bright]))
    return TakenWrongly(float(place), (Z - place) / blur, rise / whole)
