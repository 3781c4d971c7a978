"""What a picture of a grid shows, and the calibration that it makes."""

import datetime
from dataclasses import dataclass
from typing import Literal

from cogloupe_calibration.arrays import Bools, Floats, Ints
from cogloupe_calibration.calibration import Calibration, Lens, Picture
from cogloupe_calibration.lens import TERMS
from cogloupe_calibration.scale import Scale
from cogloupe_calibration.verdict import Verdict

Kind = Literal["checkerboard", "dots"]


@dataclass(frozen=True, kw_only=True)
class GridScale:
    """What a picture of a grid shows.

    Attributes
    ----------
    mm_per_px, u_mm_per_px : float
        Scale at the frame's centre and its standard uncertainty (k = 1), the target's included.
    kind : {'checkerboard', 'dots'}
    pitch_mm, u_pitch_rel : float
        As stated.
    period_px, u_period_px : float
        Distance of neighbours at the frame's centre, and its standard uncertainty from scatter.
    angle_deg : float
        Direction of the grid's rows on the picture, within 45 degrees of the x axis.
    width_px, height_px : int
        The frame.
    lens : Lens
        Lens and lean; the covariance includes what the target leaves of unequal scales and skew.
    significant : tuple of str
        Names of the terms that stand out of the noise; the others are 0.
    index : ndarray, shape (n, 2), int
        Column and row of each point.
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
    residual_rms_px, uncorrected_rms_px : float
    correction_u_px : float
        Standard uncertainty that scatter leaves in corrected places, root mean square over the
        valid region, beside scale, turn and place.
    together : float
        Correlation of the residuals of neighbouring points; 0 where not significant.
    columns, rows : int
        Size seen: squares of a checkerboard, dots of a grid.
    blur_px : float
    valid_region_px : (float, float, float, float)
        Left, top, right, bottom of the used points.
    verdict, reasons
        As in the calibration file.
    """

    mm_per_px: float
    u_mm_per_px: float
    kind: Kind
    pitch_mm: float
    u_pitch_rel: float
    period_px: float
    u_period_px: float
    angle_deg: float
    width_px: int
    height_px: int
    lens: Lens
    significant: tuple[str, ...]
    index: Ints
    xy_px: Floats
    u_xy_px: Floats
    residual_px: Floats
    uncorrected_px: Floats
    used: Bools
    residual_rms_px: float
    uncorrected_rms_px: float
    correction_u_px: float
    together: float
    columns: int
    rows: int
    blur_px: float
    valid_region_px: tuple[float, float, float, float]
    verdict: Verdict
    reasons: tuple[str, ...]

    @property
    def scale(self) -> Scale:
        """Bare scale, to be held against another one with `scale.disagreement`."""
        return Scale(
            mm_per_px=self.mm_per_px,
            u_mm_per_px=self.u_mm_per_px,
            method="grid",
            details={"pitch_mm": self.pitch_mm},
        )


def calibration_from_grid(
    grid: GridScale, picture: Picture, date: datetime.date, note: str = ""
) -> Calibration:
    """Make a calibration of a measured grid.

    Parameters
    ----------
    grid : GridScale
    picture : Picture
        The picture it was measured on.
    date : date
        When it was taken.
    note : str, optional
        Magnification or whatever tells the setting again.

    Returns
    -------
    Calibration
        With its lens filled.
    """
    return Calibration(
        mm_per_px=grid.mm_per_px,
        u_mm_per_px=grid.u_mm_per_px,
        method="grid",
        date=date,
        picture=picture,
        note=note,
        residual_rms_px=grid.residual_rms_px,
        details=_details(grid),
        valid_region_px=grid.valid_region_px,
        lens=grid.lens,
        verdict=grid.verdict,
        reasons=grid.reasons,
    )


def _details(grid: GridScale) -> dict[str, float | str]:
    names = ("pitch_mm", "u_pitch_rel", "period_px", "u_period_px", "angle_deg", "blur_px")
    more = ("uncorrected_rms_px", "correction_u_px", "together", "columns", "rows")
    details: dict[str, float | str] = {n: float(getattr(grid, n)) for n in names + more}
    e1 = grid.lens.terms[TERMS.index("e1")]
    return details | {
        "kind": grid.kind,
        "points": float(grid.used.sum()),
        "rejected_points": float((~grid.used).sum()),
        "mm_per_px_x": grid.mm_per_px * (1 + e1),
        "mm_per_px_y": grid.mm_per_px * (1 - e1),
        "significant_terms": " ".join(grid.significant),
    }
