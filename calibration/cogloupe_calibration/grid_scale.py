"""What pictures of a grid show."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from cogloupe_calibration.arrays import Bools, Floats, Ints
from cogloupe_calibration.grid_fit import GridFit
from cogloupe_calibration.summary import Summary

Kind = Literal["checkerboard", "dots"]


@dataclass(frozen=True)
class GridTarget:
    """A grid: what was stated of it, and its size as seen.

    `columns` and `rows` are squares of a checkerboard, dots of a grid, on the picture that shows
    most.
    """

    kind: Kind
    pitch_mm: float
    u_pitch_rel: float
    columns: int
    rows: int

    @property
    def marks(self) -> str:
        """What it is counted in."""
        return "squares" if self.kind == "checkerboard" else "dots"


@dataclass(frozen=True, kw_only=True)
class GridPoints:
    """Points of all pictures, one after the other.

    Attributes
    ----------
    picture : ndarray, shape (n,), int
        Which one each was seen on.
    index : ndarray, shape (n, 2), int
        Column and row, anew on every picture.
    xy_px : ndarray, shape (n, 2)
        Where it was seen.
    u_xy_px : ndarray, shape (n,)
        Standard uncertainty of a coordinate from pixel noise alone.
    residual_px : ndarray, shape (n, 2)
        Seen less expected, with the lens undone.
    uncorrected_px : ndarray, shape (n, 2)
        The same without: only scale, turn and place fitted.
    used : ndarray, shape (n,), bool
        False for outliers.
    """

    picture: Ints
    index: Ints
    xy_px: Floats
    u_xy_px: Floats
    residual_px: Floats
    uncorrected_px: Floats
    used: Bools

    @property
    def uncorrected_rms_px(self) -> float:
        """Root mean square of what lens and lean do to the used points."""
        return float(np.sqrt(np.mean(np.sum(self.uncorrected_px[self.used] ** 2, axis=1))))


@dataclass(frozen=True, kw_only=True)
class GridScale:
    """What pictures of a grid show.

    Attributes
    ----------
    summary : Summary
        Scale at the frame's centre, the target's uncertainty included; lens and lean, their
        covariance with what the target leaves of unequal scales and skew.
    blur_px : float
        Of the median mark.
    correction_u_px : float
        Standard uncertainty that scatter leaves in corrected places, root mean square over the
        valid region, beside scale, turn and place.
    """

    summary: Summary
    target: GridTarget
    fit: GridFit
    points: GridPoints
    blur_px: float
    correction_u_px: float
