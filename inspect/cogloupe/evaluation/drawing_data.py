"""What the drawings need beside the figures: the picture and the points measured on it."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe_calibration.arrays import Floats


@dataclass(frozen=True)
class ProfileSheet:
    """Profile traces of all flanks.

    Attributes
    ----------
    roll_mm : ndarray, shape (c,)
        Lengths of roll, from the root to the tip.
    trace_um : ndarray, shape (z, 2, c)
        Deviation out of the material, teeth in the order of their numbers, left and right; NaN
        where nothing was seen.
    mean_um : ndarray, shape (2, c)
        Mean over the teeth.
    """

    roll_mm: Floats
    trace_um: Floats
    mean_um: Floats


@dataclass(frozen=True)
class GapSheet:
    """Outlines of all gaps against the theoretical one.

    Attributes
    ----------
    xy_mm, normal : ndarray, shape (n, 2)
        Theoretical outline and its normals out of the material: origin on the axis of the teeth,
        y outwards along the middle of the gap, x clockwise.
    off_um : ndarray, shape (z, n)
        Distance of each gap's outline along the normal, gaps in the order of their numbers; NaN
        where nothing was seen.
    mean_um : ndarray, shape (n,)
        Mean over the gaps.
    """

    xy_mm: Floats
    normal: Floats
    off_um: Floats
    mean_um: Floats


@dataclass(frozen=True)
class Outlines:
    """Outlines in true size, origin on the axis of the teeth, x to the right and y down.

    Attributes
    ----------
    measured_mm : ndarray, shape (n, 2)
        Edge points in order round the gear, what the lens did undone.
    theory_mm : ndarray, shape (m, 2)
        Closed outline of the theoretical gear, laid where the teeth are.
    """

    measured_mm: Floats
    theory_mm: Floats


@dataclass(frozen=True, kw_only=True)
class DrawingData:
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
    profiles: ProfileSheet | None = None
    gaps: GapSheet | None = None
    outlines: Outlines | None = None
