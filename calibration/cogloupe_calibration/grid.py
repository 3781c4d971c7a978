"""Measure scale, distortion and lean on a picture of a checkerboard or a grid of dots."""

from dataclasses import dataclass, replace
from math import atan2, degrees, hypot, isfinite, sqrt

import numpy as np
from numpy.typing import ArrayLike

from cogloupe_calibration.arrays import Bools, Floats
from cogloupe_calibration.corners import find_corners, refine_corners
from cogloupe_calibration.dots import find_dots, ground_between, refine_dots
from cogloupe_calibration.errors import CalibrationError
from cogloupe_calibration.grid_findings import grid_findings, size_in_words
from cogloupe_calibration.grid_fit import LENS, GridFit, Placed, fit_grid, similarity_residual
from cogloupe_calibration.grid_scale import GridScale, Kind, calibration_from_grid
from cogloupe_calibration.lattice import Lattice, held_together
from cogloupe_calibration.lens import TERMS, frame_middle, ideal_of_terms, make_lens, term_effects
from cogloupe_calibration.patch_fit import Marks
from cogloupe_calibration.verdict import judge, scale_findings

__all__ = ["GridScale", "calibration_from_grid", "measure_grid"]


LEAST_POINTS = 16
LEAST_LINES = 3
# Whole size of a target within 0.1 %, rectangular, and its two directions as well within that of
# each other: a printed sheet gauged with a caliper; common practice, no source.
U_PITCH_REL = 0.001 / sqrt(3)
# Less sure than both of these a mark is a guess; where most are as unsure, blur is to blame.
LARGEST_POINT_U_PX = 0.3
LARGEST_POINT_U_SHARE = 0.02
# A mark that is covered or dirty fits this much worse than the others, and worse than this share of
# its contrast: on a clean picture the grey curve of the camera leaves more than noise does.
ODD_MISFIT = 3.0
ODD_MISFIT_SHARE = 0.06
# Between the half of a checkerboard's squares and the whole of dots that stand apart.
GROUND_BETWEEN = 0.75
BORDER_BLURS = 3.0
RING = 24


@dataclass(frozen=True)
class _Measured:
    """Marks with their numbers, what was fitted to them, and the frame they lie in."""

    marks: Marks
    placed: Placed
    fit: GridFit
    spacing: float
    frame: tuple[int, int]


def measure_grid(
    grey: ArrayLike,
    pitch_mm: float,
    kind: Kind = "checkerboard",
    size: tuple[int, int] | None = None,
    u_pitch_rel: float = U_PITCH_REL,
) -> GridScale:
    """Measure scale, distortion and lean on a picture of a grid.

    Parameters
    ----------
    grey : array_like, shape (h, w)
        Grey picture of any number type; the grid turned by any angle, wholly or partly seen.
    pitch_mm : float
        Side of a square, or distance of neighbouring dots.
    kind : {'checkerboard', 'dots'}, optional
    size : (int, int), optional
        Squares or dots across and down the whole target, in either order.
    u_pitch_rel : float, optional
        Relative standard uncertainty of the pitch, and of the target's two directions against
        each other.

    Returns
    -------
    GridScale

    Raises
    ------
    CalibrationError
        Where numbers make no sense, or no grid, or too little of one, is seen.
    """
    picture = _checked_picture(grey)
    _check_stated(pitch_mm, size, u_pitch_rel)
    marks, lattice = _marks(picture, kind)
    height, width = picture.shape
    centre, radius = frame_middle(width, height)
    placed = Placed(marks.xy, lattice.index, marks.u, centre, radius)
    fit = fit_grid(placed)
    if kind == "dots":
        placed, fit = _centred(placed, marks.params[:, 7])
    measured = _Measured(marks, placed, fit, lattice.spacing, (width, height))
    grid = _summed_up(measured, kind, pitch_mm, u_pitch_rel)
    findings = grid_findings(grid, size) + scale_findings(grid.scale.relative_u)
    verdict, reasons = judge(findings)
    return replace(grid, verdict=verdict, reasons=reasons)


def _checked_picture(grey: ArrayLike) -> Floats:
    picture = np.asarray(grey, dtype=np.float64)
    if picture.ndim != 2 or min(picture.shape) < 64:
        raise CalibrationError(
            f"picture has shape {picture.shape}: give a grey picture of 64 x 64 px or more"
        )
    if not np.all(np.isfinite(picture)):
        raise CalibrationError("the picture holds values that are not numbers: save it anew")
    return picture


def _check_stated(pitch_mm: float, size: tuple[int, int] | None, u_pitch_rel: float) -> None:
    if not (isfinite(pitch_mm) and pitch_mm > 0):
        raise CalibrationError(f"pitch is {pitch_mm:g} mm: give a length above zero")
    if not (isfinite(u_pitch_rel) and 0 <= u_pitch_rel < 1):
        raise CalibrationError(
            f"relative uncertainty of the pitch is {u_pitch_rel:g}: give 0 or more, below 1"
        )
    if size is not None and min(size) < LEAST_LINES:
        raise CalibrationError(
            f"stated size is {size_in_words(size)}: {LEAST_LINES} x {LEAST_LINES} is the least"
        )


def _marks(picture: Floats, kind: Kind) -> tuple[Marks, Lattice]:
    """Refined marks that fitted well, with their numbers."""
    if kind == "checkerboard":
        corners = find_corners(picture)
        lattice = None if corners is None else corners[1]
        _check_points(lattice, kind)
        assert corners is not None
        marks = refine_corners(picture, *corners)
    else:
        dots = find_dots(picture)
        lattice = None if dots is None else dots[1]
        _check_points(lattice, kind)
        assert dots is not None
        marks = refine_dots(picture, *dots)
        _check_apart(ground_between(picture, dots[0].xy[dots[1].point], dots[1]))
    assert lattice is not None
    good = _well_fitted(marks, lattice, picture.shape)
    _check_sharp(marks, good, lattice, kind)
    good[good] = held_together(lattice.index[good])
    kept = replace(lattice, point=lattice.point[good], index=lattice.index[good])
    _check_points(kept, kind)
    index = kept.index - kept.index.min(axis=0)
    return marks.take(good), replace(kept, index=index)


def _check_points(lattice: Lattice | None, kind: Kind) -> None:
    what = "corners" if kind == "checkerboard" else "dots"
    seen = 0 if lattice is None else len(lattice)
    lines = (0, 0) if lattice is None else tuple(np.ptp(lattice.index, axis=0) + 1)
    remedy = f"show more of the {_named(kind)}, sharp and evenly lit"
    if seen < LEAST_POINTS:
        raise CalibrationError(f"{seen} {what} seen, at least {LEAST_POINTS} are needed: {remedy}")
    if min(lines) < LEAST_LINES:
        least = size_in_words((LEAST_LINES, LEAST_LINES))
        raise CalibrationError(
            f"{size_in_words(lines)} {what} seen, at least {least} are needed: {remedy}"
        )


def _check_sharp(marks: Marks, good: Bools, lattice: Lattice, kind: Kind) -> None:
    """Many marks of which few can be fitted are blurred, or not what they are said to be."""
    if good.sum() >= LEAST_POINTS:
        return
    what = "corners" if kind == "checkerboard" else "dots"
    raise CalibrationError(
        f"{int(good.sum())} of {len(good)} {what} could be fitted, at least {LEAST_POINTS} are "
        f"needed (blur {np.nanmedian(marks.blur):.1f} px, pitch {lattice.spacing:.1f} px): "
        f"take a sharp, evenly lit picture of a {_named(kind)}"
    )


def _check_apart(between: float) -> None:
    if between < GROUND_BETWEEN:
        raise CalibrationError(
            f"grey half way between dots is {100 * between:.0f} % of the way to the ground's, "
            f"{100 * GROUND_BETWEEN:.0f} % is the least: dots run into each other, or this is a "
            "checkerboard (50 %)"
        )


def _named(kind: Kind) -> str:
    return "checkerboard" if kind == "checkerboard" else "grid of dots"


def _well_fitted(marks: Marks, lattice: Lattice, shape: tuple[int, ...]) -> Bools:
    """Marks that were fitted, are no worse than most, and lie off the frame's border."""
    fitted = np.isfinite(marks.xy).all(axis=1) & np.isfinite(marks.misfit)
    unsure = max(LARGEST_POINT_U_PX, LARGEST_POINT_U_SHARE * lattice.spacing)
    fitted &= (marks.u < unsure) & (marks.blur < lattice.spacing / 2)
    if not fitted.any():
        return np.asarray(fitted)
    fitted &= marks.misfit < max(ODD_MISFIT * np.median(marks.misfit[fitted]), ODD_MISFIT_SHARE)
    # Half a mark has lost the symmetry that keeps its place from moving.
    margin = BORDER_BLURS * float(np.median(marks.blur[fitted])) + 1
    last = np.array(shape[::-1]) - 1 - margin
    fitted &= np.all((marks.xy > margin) & (marks.xy < last), axis=1)
    return np.asarray(fitted)


def _centred(placed: Placed, radius: Floats) -> tuple[Placed, GridFit]:
    """Move the centres of the ovals seen to where the dots' own centres are seen, and fit again."""
    start, fit = placed, fit_grid(placed)
    for _ in range(2):
        placed = replace(placed, xy=start.xy - _oval_shift(placed, fit.terms, radius))
        fit = fit_grid(placed)
    return placed, fit


def _oval_shift(placed: Placed, terms: Floats, radius: Floats) -> Floats:
    """How far a circle fitted to a dot's outline lies off the image of the dot's centre, px.

    A ring about each centre on the ideal plane is carried back to the picture; a circle fitted to
    it moves by twice the mean of its radial deviation times the direction (first harmonic).
    """
    angle = 2 * np.pi * np.arange(RING) / RING
    way = np.stack([np.cos(angle), np.sin(angle)], axis=-1)

    def ideal(xy: Floats) -> Floats:
        return ideal_of_terms(terms, placed.centre_px, placed.radius_px, xy)

    arm = radius[:, None, None] * way
    wanted = ideal(placed.xy)[:, None] + arm
    ring = placed.xy[:, None] + arm
    for _ in range(8):
        ring = ring - (ideal(ring) - wanted)
    along = np.sum((ring - placed.xy[:, None]) * way, axis=-1, keepdims=True)
    return np.asarray(2 * np.mean(along * way, axis=1))


def _summed_up(measured: _Measured, kind: Kind, pitch_mm: float, u_pitch_rel: float) -> GridScale:
    """All figures; the verdict is still open."""
    fit, placed, (width, height) = measured.fit, measured.placed, measured.frame
    lens = (placed.centre_px, placed.radius_px, fit.terms, _lens_covariance(fit, u_pitch_rel))
    plain = similarity_residual(placed, fit.used)
    relative = hypot(fit.u_period_px / fit.period_px, u_pitch_rel)
    region = _region(placed.xy[fit.used])
    lines = np.ptp(placed.index, axis=0) + (2 if kind == "checkerboard" else 1)
    return GridScale(
        mm_per_px=pitch_mm / fit.period_px,
        u_mm_per_px=pitch_mm / fit.period_px * relative,
        kind=kind,
        pitch_mm=pitch_mm,
        u_pitch_rel=u_pitch_rel,
        period_px=fit.period_px,
        u_period_px=fit.u_period_px,
        angle_deg=degrees(atan2(fit.similarity[1], fit.similarity[0])),
        width_px=width,
        height_px=height,
        lens=make_lens(*lens),
        significant=fit.significant,
        index=placed.index,
        xy_px=placed.xy,
        u_xy_px=measured.marks.u,
        residual_px=fit.residual,
        uncorrected_px=plain,
        used=fit.used,
        residual_rms_px=fit.residual_rms_px,
        uncorrected_rms_px=_rms(plain[fit.used]),
        correction_u_px=_correction_u(placed, fit, region),
        together=fit.together,
        columns=int(lines[0]),
        rows=int(lines[1]),
        blur_px=float(np.median(measured.marks.blur)),
        valid_region_px=region,
        verdict="good",
        reasons=(),
    )


def _region(xy: Floats) -> tuple[float, float, float, float]:
    (left, top), (right, bottom) = xy.min(axis=0), xy.max(axis=0)
    return float(left), float(top), float(right), float(bottom)


def _rms(vectors: Floats) -> float:
    return float(np.sqrt(np.mean(np.sum(vectors**2, axis=-1))))


def _lens_covariance(fit: GridFit, u_pitch_rel: float) -> Floats:
    """Scatter, and what the target's own two directions may differ by."""
    covariance = fit.covariance[:LENS, :LENS].copy()
    for name in ("e1", "e2"):
        # 2 e1 is the difference of the two scales, 2 e2 the departure from a right angle.
        covariance[TERMS.index(name), TERMS.index(name)] += (u_pitch_rel / 2) ** 2
    return covariance


def _correction_u(placed: Placed, fit: GridFit, region: tuple[float, float, float, float]) -> float:
    """Scatter's part of what corrected places are uncertain by, beside scale, turn and place."""
    left, top, right, bottom = region
    x, y = np.meshgrid(np.linspace(left, right, 9), np.linspace(top, bottom, 9))
    xy = np.stack([x.ravel(), y.ravel()], axis=1)
    effects = term_effects(fit.terms, placed.centre_px, placed.radius_px, xy).reshape(-1, LENS)
    i, j = (xy - xy.mean(axis=0)).T
    one, zero = np.ones_like(i), np.zeros_like(i)
    similarity = np.stack([np.stack([i, -j, one, zero], -1), np.stack([j, i, zero, one], -1)], 1)
    basis = similarity.reshape(-1, 4)
    beside = effects - basis @ np.linalg.lstsq(basis, effects, rcond=None)[0]
    variance = np.einsum("ik,kl,il->", beside, fit.covariance[:LENS, :LENS], beside)
    return sqrt(max(float(variance), 0.0) / len(xy))
