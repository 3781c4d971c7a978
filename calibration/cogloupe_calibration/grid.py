"""Measure scale, distortion and lean on pictures of a checkerboard or a grid of dots."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import degrees, hypot, sqrt
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike

from cogloupe_calibration.arrays import Bools, Floats
from cogloupe_calibration.corners import find_corners, refine_corners
from cogloupe_calibration.dots import find_dots, ground_between, refine_dots
from cogloupe_calibration.errors import CalibrationError
from cogloupe_calibration.grid_adjustment import Placed
from cogloupe_calibration.grid_findings import grid_findings, size_in_words
from cogloupe_calibration.grid_fit import (
    GridFit,
    correction_u,
    covered_region,
    fit_grid,
    similarity_residual,
)
from cogloupe_calibration.grid_scale import GridPoints, GridScale, GridTarget, Kind
from cogloupe_calibration.lattice import Lattice, held_together
from cogloupe_calibration.lens import TERMS, frame_middle, ideal_of_terms, make_lens
from cogloupe_calibration.patch_fit import Marks, checked_picture, gathered
from cogloupe_calibration.scale import Scale, check_stated
from cogloupe_calibration.summary import Summary

LEAST_SIDE_PX = 64
"""Height and width of the least picture that is looked at (our own judgement)."""
LEAST_POINTS = 16
"""Four by four: 32 coordinates for the twelve unknowns of a lens, its lean and the grid's place."""
LEAST_LINES = 3
"""A line of two points cannot be seen to bend."""
# Whole size of a target within 0.1 %, rectangular, and its two directions as well within that of
# each other: a printed sheet gauged with a caliper; common practice, no source.
U_PITCH_REL = 0.001 / sqrt(3)
LARGEST_POINT_U_PX, LARGEST_POINT_U_SHARE = 0.3, 0.02
"""Less sure than both of these, px and pitches, a mark is a guess; where most are as unsure, blur
is to blame (our own judgement)."""
ODD_MISFIT, ODD_MISFIT_SHARE = 3.0, 0.06
"""A mark that is covered or dirty fits this much worse than the others, and worse than this share
of its contrast: on a clean picture the grey curve of the camera leaves more than noise does."""
# Between the half of a checkerboard's squares and the whole of dots that stand apart.
GROUND_BETWEEN = 0.75
BORDER_BLURS = 3.0
"""Blurs between a mark and the frame's border: to 0.1 % none of the mark is lost."""
RING = 24
"""Places of a dot's rim at which the lens is followed; the shift is one wave round the rim."""

Candidates = TypeVar("Candidates")


class OtherPictureError(CalibrationError):
    """One of the further pictures cannot serve; `picture` is its number, the first being 0."""

    def __init__(self, picture: int, message: str) -> None:
        super().__init__(message)
        self.picture = picture


@dataclass(frozen=True, kw_only=True)
class _Measured:
    """Marks with their numbers on every picture, what was fitted to them, and the frame."""

    marks: list[Marks]
    placed: list[Placed]
    fit: GridFit
    frame: tuple[int, int]


def measure_grid(
    grey: ArrayLike,
    pitch_mm: float,
    kind: Kind = "checkerboard",
    size: tuple[int, int] | None = None,
    u_pitch_rel: float = U_PITCH_REL,
    others: Sequence[ArrayLike] = (),
) -> GridScale:
    """Measure scale, distortion and lean on one or more pictures of a grid.

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
    others : sequence of array_like, shape (h, w) each, optional
        More pictures of the grid through the same lens, anyhow it lies. The lens is that of all,
        the scale that of the first; the lean is that of all where the grid lay in one plane.

    Raises
    ------
    CalibrationError
        Where numbers make no sense, or no grid, or too little of one, is seen.
    """
    pictures = [checked_picture(one, LEAST_SIDE_PX) for one in (grey, *others)]
    check_stated("pitch", pitch_mm, u_pitch_rel)
    if size is not None and min(size) < LEAST_LINES:
        least = size_in_words((LEAST_LINES, LEAST_LINES))
        raise CalibrationError(f"stated size is {size_in_words(size)}: {least} is the least")
    _check_frames(pictures)
    measured = _measured(pictures, kind)
    target = GridTarget(kind, pitch_mm, u_pitch_rel, *_size_seen(measured, kind))
    grid = _summed_up(measured, target)
    return replace(grid, summary=grid.summary.judged(grid_findings(grid, size), {}))


def _measured(pictures: list[Floats], kind: Kind) -> _Measured:
    height, width = pictures[0].shape
    centre, radius = frame_middle(width, height)
    found = [_marks_on(pictures, k, kind) for k in range(len(pictures))]
    marks = [each for each, _ in found]
    placed = [Placed(m.xy, lattice.index, m.u, centre, radius) for m, lattice in found]
    fit = fit_grid(placed)
    if kind == "dots":
        placed, fit = _centred(placed, fit, [m.params[:, 7] for m in marks])
    return _Measured(marks=marks, placed=placed, fit=fit, frame=(width, height))


def _marks_on(pictures: list[Floats], which: int, kind: Kind) -> tuple[Marks, Lattice]:
    try:
        return _marks(pictures[which], kind)
    except CalibrationError as error:
        if which == 0:
            raise
        raise OtherPictureError(which, str(error)) from error


def _check_frames(pictures: list[Floats]) -> None:
    for which, picture in enumerate(pictures):
        if picture.shape != pictures[0].shape:
            first, other = (size_in_words(p.shape[::-1]) for p in (pictures[0], picture))
            raise OtherPictureError(
                which,
                f"{other} px, the first picture has {first} px: give pictures of one camera at one "
                "setting, all the same way up",
            )


def _marks(picture: Floats, kind: Kind) -> tuple[Marks, Lattice]:
    """Refined marks that fitted well, with their numbers."""
    if kind == "checkerboard":
        corners, lattice = _enough(find_corners(picture), kind)
        marks = refine_corners(picture, corners, lattice)
    else:
        dots, lattice = _enough(find_dots(picture), kind)
        marks = refine_dots(picture, dots, lattice)
        _check_apart(ground_between(picture, dots.xy[lattice.point], lattice))
    good = _well_fitted(marks, lattice, picture.shape)
    _check_sharp(marks, good, lattice, kind)
    good[good] = held_together(lattice.index[good])
    kept = replace(lattice, point=lattice.point[good], index=lattice.index[good])
    _enough((marks, kept), kind)
    index = kept.index - kept.index.min(axis=0)
    return marks.take(good), replace(kept, index=index)


def _enough(found: tuple[Candidates, Lattice] | None, kind: Kind) -> tuple[Candidates, Lattice]:
    """Candidates and their numbers, where there are enough and they do not lie in two lines."""
    what = "corners" if kind == "checkerboard" else "dots"
    seen = 0 if found is None else len(found[1])
    remedy = f"show more of the {_named(kind)}, sharp and evenly lit"
    if found is None or seen < LEAST_POINTS:
        raise CalibrationError(f"{seen} {what} seen, at least {LEAST_POINTS} are needed: {remedy}")
    lines = tuple(np.ptp(found[1].index, axis=0) + 1)
    if min(lines) < LEAST_LINES:
        least = size_in_words((LEAST_LINES, LEAST_LINES))
        raise CalibrationError(
            f"{size_in_words(lines)} {what} seen, at least {least} are needed: {remedy}"
        )
    return found


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


def _centred(
    placed: list[Placed], fit: GridFit, radius: list[Floats]
) -> tuple[list[Placed], GridFit]:
    """Move the centres of the ovals seen to where the dots' own centres are seen, and fit again."""
    start = placed
    for _ in range(2):
        placed = [
            replace(p, xy=s.xy - _oval_shift(p, terms, r))
            for p, s, terms, r in zip(placed, start, fit.planes, radius, strict=True)
        ]
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


def _summed_up(measured: _Measured, target: GridTarget) -> GridScale:
    """All figures; the verdict is still open."""
    fit, placed = measured.fit, measured.placed
    correction = correction_u(placed, fit)
    relative = hypot(fit.u_period_px / fit.period_px, target.u_pitch_rel)
    mm_per_px = target.pitch_mm / fit.period_px
    points = _points(measured)
    blur = float(np.median(gathered(measured.marks).blur))
    details = _details(fit, target, points) | {"blur_px": blur, "correction_u_px": correction}
    summary = Summary(
        scale=Scale(
            mm_per_px=mm_per_px, u_mm_per_px=mm_per_px * relative, method="grid", details=details
        ),
        width_px=measured.frame[0],
        height_px=measured.frame[1],
        residual_rms_px=fit.residual_rms_px,
        lens=make_lens(
            placed[0].centre_px, placed[0].radius_px, fit.terms,
            _lens_covariance(fit, target.u_pitch_rel),
        ),
        valid_region_px=covered_region(placed, fit),
    )  # fmt: skip
    return GridScale(
        summary=summary,
        target=target,
        fit=fit,
        points=points,
        blur_px=blur,
        correction_u_px=correction,
    )


def _size_seen(measured: _Measured, kind: Kind) -> tuple[int, int]:
    """Columns and rows on the picture that shows most."""
    seen = [p.index[used] for p, used in zip(measured.placed, measured.fit.used, strict=True)]
    lines = np.ptp(max(seen, key=len), axis=0) + (2 if kind == "checkerboard" else 1)
    return int(lines[0]), int(lines[1])


def _points(measured: _Measured) -> GridPoints:
    placed, fit = measured.placed, measured.fit
    plain = [similarity_residual(p, used) for p, used in zip(placed, fit.used, strict=True)]
    return GridPoints(
        picture=np.repeat(np.arange(len(placed)), [len(p.xy) for p in placed]),
        index=np.concatenate([p.index for p in placed]),
        xy_px=np.concatenate([p.xy for p in placed]),
        u_xy_px=np.concatenate([p.u for p in placed]),
        residual_px=np.concatenate(fit.residual),
        uncorrected_px=np.concatenate(plain),
        used=np.concatenate(fit.used),
    )


def _details(fit: GridFit, target: GridTarget, points: GridPoints) -> dict[str, float | str]:
    e1 = float(fit.terms[TERMS.index("e1")])
    mm_per_px = target.pitch_mm / fit.period_px
    pictures = len(fit.periods_px)
    planes = "that of all pictures" if fit.one_plane else "that of the first picture"
    more: dict[str, float | str] = {"pictures": float(pictures), "plane": planes}
    return (more if pictures > 1 else {}) | {
        "kind": target.kind,
        "pitch_mm": target.pitch_mm,
        "u_pitch_rel": target.u_pitch_rel,
        "columns": float(target.columns),
        "rows": float(target.rows),
        "period_px": fit.period_px,
        "u_period_px": fit.u_period_px,
        "angle_deg": degrees(fit.turn),
        "together": fit.together,
        "uncorrected_rms_px": points.uncorrected_rms_px,
        "points": float(points.used.sum()),
        "rejected_points": float((~points.used).sum()),
        "mm_per_px_x": mm_per_px * (1 + e1),
        "mm_per_px_y": mm_per_px * (1 - e1),
        "significant_terms": " ".join(fit.significant),
    }


def _lens_covariance(fit: GridFit, u_pitch_rel: float) -> Floats:
    """Scatter, and what the target's own two directions may differ by."""
    covariance = fit.covariance.copy()
    for name in ("e1", "e2"):
        # 2 e1 is the difference of the two scales, 2 e2 the departure from a right angle.
        covariance[TERMS.index(name), TERMS.index(name)] += (u_pitch_rel / 2) ** 2
    return covariance
