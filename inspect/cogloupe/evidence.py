"""What the drawings need beside the figures: the picture and the points measured on it."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Evidence:
    """Arrays behind one reading, in picture pixels, for drawing.

    Attributes
    ----------
    picture : ndarray, shape (h, w) or (h, w, 3), uint8 or uint16
        The upright photograph, grey or RGB.
    theory_xy : ndarray, shape (n, 2)
        Closed outline of the theoretical gear, laid where the teeth are.
    contour_xy : ndarray, shape (c, 2)
        Measured edge points of the whole outline, in order round the gear.
    flank_xy, flank_normal : ndarray, shape (m, 2)
        Measured points on the flanks and their unit normals, pointing out of the material.
    deviation_um : ndarray, shape (m,)
        Distance of each flank point outside the theoretical flank of its own tooth number (the
        ideal gear, so pitch errors show), along the normal.
    tooth : ndarray, shape (m,), int
        Tooth number of each flank point.
    side : ndarray, shape (m,), int
        0 for a left flank, 1 for a right one.
    used : ndarray, shape (m,), bool
        False for points that were cut out as obstructed.
    """

    picture: NDArray[Any]
    theory_xy: Floats
    contour_xy: Floats
    flank_xy: Floats
    flank_normal: Floats
    deviation_um: Floats
    tooth: NDArray[np.int64]
    side: NDArray[np.int64]
    used: NDArray[np.bool_]
