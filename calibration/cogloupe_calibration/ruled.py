"""Pixel scale from a picture of a ruled scale: a stage micrometer, or a steel rule in focus."""

from dataclasses import dataclass, replace
from math import atan, cos, degrees, hypot, sin, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cogloupe_calibration.arrays import Floats, Ints
from cogloupe_calibration.errors import CalibrationError
from cogloupe_calibration.hidden_marks import finer_marks
from cogloupe_calibration.line_fit import LinePoints, LineShape, fade_of, fit_points, fit_shape
from cogloupe_calibration.numbering import RowModel, number_lines, robust_fit, rough_spacing
from cogloupe_calibration.patch_fit import checked_picture
from cogloupe_calibration.rulings import (
    WEAKEST_LINE,
    Bands,
    band_medians,
    find_candidates,
    gather_bands,
    lines_are_dark,
    rulings_direction,
    turned,
)
from cogloupe_calibration.scale import Scale, check_stated
from cogloupe_calibration.spacing import Spacing, fit_spacing
from cogloupe_calibration.summary import Summary
from cogloupe_calibration.verdict import Finding, graded

# Whole length of a rule or stage micrometer within 0.1 %, rectangular: common practice, no source.
U_DIVISION_REL = 0.001 / sqrt(3)

LEAST_SIDE_PX = 32
"""Height and width of the least picture that is looked at (our own judgement)."""
LEAST_LINES, ENOUGH_LINES, MANY_LINES = 5, 10, 20
"""Lines without which nothing is measured (place, spacing and its change need three), and those of
a usable and a good scale (our own judgement)."""
# Points less sure than this add nothing beside their neighbours.
LARGEST_POINT_U_PX = 0.25
SEEN_UNEVEN_REL, TOO_UNEVEN_REL = 0.005, 0.02
"""Change of the local scale across the picture from which it is told, and from which the picture
is to be taken again (our own judgement)."""
ROUGH_RESIDUAL_SHARE, WRONG_RESIDUAL_SHARE = 0.02, 0.05
"""Residuals are compared with a division: a graduation's own error belongs in the scale's U, but
lines out by more than these shares were not read right (our own judgement)."""
LEAST_ALTERNATING, ALTERNATING_LENGTH = 3, 1.1
"""Lines of a second length, seen so often, and so much longer than every one of the first (our own
judgement)."""


@dataclass(frozen=True, kw_only=True)
class RuledScale:
    """What a picture of a ruled scale shows.

    Attributes
    ----------
    fit : Spacing
        Square to the lines, at the middle of what is seen; gradient and fan tell of tilt.
    shape : LineShape
        Of all lines.
    division_mm, u_division_rel : float
        As stated.
    angle_deg : float
        Direction of the scale on the picture.
    line_xy_px : ndarray, shape (n, 2)
        A point on the middle of the seen part of each line.
    strays : int
        Features that are on no line.
    """

    summary: Summary
    fit: Spacing
    shape: LineShape
    division_mm: float
    u_division_rel: float
    angle_deg: float
    line_xy_px: Floats
    dark_lines: bool
    strays: int

    @property
    def missing(self) -> int:
        """Lines not seen between the first and the last."""
        return int(self.fit.number[-1]) + 1 - len(self.fit.number)


@dataclass(frozen=True, kw_only=True)
class _Rows:
    """Fitted points with their numbers, in the frame of `bands`."""

    bands: Bands
    dark: bool
    shape: LineShape
    points: LinePoints
    number: Ints
    model: RowModel
    strays: int


def measure_ruled_scale(
    grey: ArrayLike, division_mm: float, u_division_rel: float = U_DIVISION_REL
) -> RuledScale:
    """Measure the pixel scale on a picture of a ruled scale.

    Parameters
    ----------
    grey : array_like, shape (h, w)
        Grey picture of any number type; lines dark or light, turned by any angle, some of them
        longer, missing, dirty or only partly seen.
    division_mm : float
        Distance of neighbouring lines.
    u_division_rel : float, optional
        Relative standard uncertainty of the scale's own length.

    Raises
    ------
    CalibrationError
        Where numbers make no sense, or no rulings, or fewer than five lines, are seen.
    """
    picture = checked_picture(grey, LEAST_SIDE_PX)
    check_stated("division", division_mm, u_division_rel)
    rows = _fit_rows(picture)
    lines = len(np.unique(rows.number))
    if lines < LEAST_LINES:
        raise CalibrationError(
            f"{lines} lines seen, at least {LEAST_LINES} are needed: show more of the scale"
        )
    angle = turned(rows.bands.angle, float(rows.model.terms[2]))
    fit = fit_spacing(rows.number, *_square_to_lines(rows))
    height, width = picture.shape
    return _summed_up(rows, fit, angle, (division_mm, u_division_rel), (width, height))


def _square_to_lines(rows: _Rows) -> tuple[Floats, Floats]:
    """Places in the frame turned by the little lean that is left."""
    lean = atan(float(rows.model.terms[2]))
    u, t = rows.points.u, rows.points.t
    return u * cos(lean) - t * sin(lean), u * sin(lean) + t * cos(lean)


def _fit_rows(picture: Floats) -> _Rows:
    """Find and fit the lines; a second time squarely to them."""
    bands = gather_bands(picture, rulings_direction(picture))
    dark = lines_are_dark(bands)
    band, u, t, _ = find_candidates(bands, dark)
    _, model = number_lines(u, t, rough_spacing(band, u))
    return _fit_rows_at(picture, turned(bands.angle, float(model.terms[2])), dark)


def _fit_rows_at(picture: Floats, angle: float, dark: bool) -> _Rows:
    bands = gather_bands(picture, angle)
    band, u, t, width = find_candidates(bands, dark)
    number, model = number_lines(u, t, rough_spacing(band, u))
    on_line = np.abs(u - model.place(number, t)) < model.spacing(number, t) / 4
    strays = len(set(zip(band[~on_line], u[~on_line], strict=True)))
    shape, points = _refined(bands, band[on_line], u[on_line], width, float(model.terms[1]))
    kept = _is_line(points, dark)
    points, number = points.select(kept), number[on_line][kept]
    if len(number) < LEAST_LINES:
        raise CalibrationError(
            f"{len(number)} points on lines fitted: show the scale larger, in focus, evenly lit"
        )
    model, good = robust_fit(points.u, points.t, number)
    return _Rows(
        bands=bands,
        dark=dark,
        shape=shape,
        points=points.select(good),
        number=number[good],
        model=model,
        strays=strays,
    )


def _refined(
    bands: Bands, band: Ints, u: Floats, width: float, period: float
) -> tuple[LineShape, LinePoints]:
    shape = LineShape(0.7 * width, max(0.4 * width, 0.5))
    fade = np.zeros(len(u))
    for _ in range(3):
        reach = max(min(period / 2, shape.reach + 2), 2.5)
        points, offset, height = fit_points(bands, band, u, shape=shape, reach=reach, fade=fade)
        shape, fade = fit_shape(offset, height, shape, period), fade_of(points)
    return shape, points


def _is_line(points: LinePoints, dark: bool) -> NDArray[np.bool_]:
    height = points.amplitude * (-1 if dark else 1)
    seen = np.isfinite(points.u) & (height > 0)
    typical = np.full(len(height), np.inf)
    typical[seen] = band_medians(points.band[seen], height[seen])
    strong = height > WEAKEST_LINE * typical
    return seen & strong & (points.u_u < LARGEST_POINT_U_PX)


def _summed_up(
    rows: _Rows, fit: Spacing, angle: float, division: tuple[float, float], frame: tuple[int, int]
) -> RuledScale:
    division_mm, u_division = division
    mm = division_mm / fit.period
    u_mm = mm * hypot(fit.relative_u, u_division)
    summary = Summary(
        scale=Scale(mm_per_px=mm, u_mm_per_px=u_mm, method="ruled_scale"),
        width_px=frame[0],
        height_px=frame[1],
        residual_rms_px=float(np.sqrt(np.mean(fit.residual**2))),
    )
    ruled = RuledScale(
        summary=summary,
        fit=fit,
        shape=rows.shape,
        division_mm=division_mm,
        u_division_rel=u_division,
        angle_deg=degrees(angle),
        line_xy_px=_on_picture(fit.place, fit.t, angle),
        dark_lines=rows.dark,
        strays=rows.strays,
    )
    return replace(ruled, summary=summary.judged(_findings(rows, fit), _details(ruled)))


def _on_picture(u: Floats, t: Floats, angle: float) -> Floats:
    c, s = np.cos(angle), np.sin(angle)
    return np.stack([u * c - t * s, u * s + t * c], axis=1)


def _findings(rows: _Rows, fit: Spacing) -> list[Finding]:
    lines, residual_share = len(fit.number), fit.scatter / fit.period
    bend = max(fit.uneven, abs(fit.fan))
    few = f"{lines} lines seen, {ENOUGH_LINES} are needed and {MANY_LINES} are better"
    rough = f"lines lie off even spacing by {100 * residual_share:.1f} % of a division (RMS)"
    tilt = f"the scale changes by {100 * bend:.1f} % over the picture (tilt or distortion)"
    judged = [
        graded(-lines, -MANY_LINES, -ENOUGH_LINES, few),
        graded(residual_share, ROUGH_RESIDUAL_SHARE, WRONG_RESIDUAL_SHARE, rough),
        graded(bend, SEEN_UNEVEN_REL, TOO_UNEVEN_REL, tilt),
    ]
    found = [finding for finding in judged if finding is not None]
    found += _soft_findings(rows.shape, fit.period) + _alternating_findings(rows)
    return found + _finer_findings(rows, fit)


def _soft_findings(shape: LineShape, period: float) -> list[Finding]:
    # Lines that have wholly run into a sine wave fit as half a division wide with a blur of 0.15
    # divisions; so overlap, not the blur alone, tells a soft picture.
    if shape.reach <= period / 2:
        return []
    return [Finding("usable", "neighbouring lines run into each other: blurred or too small")]


def _alternating_findings(rows: _Rows) -> list[Finding]:
    """Every second line longer: so it is where blur has left only the fifths of a scale."""
    first = int(rows.number.min())
    number, t = rows.number - first, rows.points.t
    count = int(number.max()) + 1
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, number, t)
    np.maximum.at(high, number, t)
    length = np.where(np.isfinite(low), high - low, np.nan)
    even, odd = (np.sort(side[np.isfinite(side)]) for side in (length[::2], length[1::2]))
    if min(len(even), len(odd)) < LEAST_ALTERNATING:
        return []
    longer, shorter = (even, odd) if np.median(even) > np.median(odd) else (odd, even)
    if longer[0] < ALTERNATING_LENGTH * shorter[-1]:
        return []
    return [
        Finding(
            "usable",
            "every second line is longer, as where blur hides all but the fifths of a scale: make "
            "sure that neighbouring lines are the stated distance apart",
        )
    ]


def _finer_findings(rows: _Rows, fit: Spacing) -> list[Finding]:
    parts = finer_marks(rows.bands, rows.points, rows.model, rows.shape)
    if parts == 1:
        return []
    seen = f"fainter marks part every {fit.period:.1f} px in {parts}: those are the divisions"
    return [Finding("take it again", f"{seen}, take a sharper picture")]


def _details(ruled: RuledScale) -> dict[str, float | str]:
    fit, shape = ruled.fit, ruled.shape
    return {
        "period_px": fit.period,
        "u_period_px": fit.u_period,
        "division_mm": ruled.division_mm,
        "u_division_rel": ruled.u_division_rel,
        "angle_deg": ruled.angle_deg,
        "blur_px": shape.blur,
        "line_width_px": shape.width,
        "gradient_rel": fit.gradient,
        "u_gradient_rel": fit.u_gradient,
        "fan_rel": fit.fan,
        "uneven_rel": fit.uneven,
        "lag1": fit.lag1,
        "missing": float(ruled.missing),
        "strays": float(ruled.strays),
        "lines": float(len(fit.number)),
        "largest_residual_px": float(np.max(np.abs(fit.residual))),
    }
