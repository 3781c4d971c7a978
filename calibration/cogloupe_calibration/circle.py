"""Scale and the ratio of the scales in x and y from the outline of one round thing.

Whether a circle is seen oval because the picture is, or because the thing is, one picture cannot
tell; what the outline's other lobes show is taken as what it may have of two lobes as well.
"""

from dataclasses import dataclass, replace
from math import hypot, isfinite, sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from cogloupe_calibration.arrays import Bools, Floats
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.errors import CalibrationError
from cogloupe_calibration.lens import TERMS, make_lens, unmeasured_lens
from cogloupe_calibration.robust import scatter
from cogloupe_calibration.scale import CALIPER_U_MM, Scale, from_known_diameter
from cogloupe_calibration.summary import Summary
from cogloupe_calibration.verdict import Finding

CircleMethod = Literal["known_pin", "known_ring"]

LEAST_POINTS = 30
"""An oval and its lobes have 17 numbers; nearly as many points are to spare (our own judgement)."""
OUTLIER_SIGMAS = 5.0
"""Of normal noise one point in two million lies further off, so that only dirt is set aside."""
LEAST_SCATTER_PX = 0.002
"""What one cannot see on a picture: below this rendered outlines would lose points at random."""
STEPS = 12
"""Rounds of setting points aside, at most; they end when the same ones stay."""
# Lobes that a picture's aspect does not make, and roundness errors of turned and reamed work do.
LOBES = tuple(range(3, 9))
SEEN_GAP_DEG, LARGEST_GAP_DEG = 30.0, 120.0
"""Part of the outline that is hidden from which it is told, and from which place and radius of a
circle hang on one another (our own judgement)."""
ROUGH_REL, WRONG_REL = 0.001, 0.01
"""RMS off an oval, in radii, of an outline that is rough, and of one that is no round thing: 1 % of
a 3 mm pin is 15 µm (our own judgement)."""
UNEQUAL_REL = 0.002
"""Difference of diameters from which a lean is told: one of 3.6 degrees shortens so much."""
SMALL_SHARE = 0.25
"""Share of the frame's height below which a larger thing would give the scale better (our own
judgement)."""


@dataclass(frozen=True, kw_only=True)
class CircleScale:
    """What the outline of a round thing shows.

    Attributes
    ----------
    summary : Summary
        Its scale is the geometric mean of the scales in x and y; its lens has the unequal scales
        where they stand out of their uncertainty, and allowances for the rest.
    radius_px, u_radius_px : float
        Of the circle of the same area, and its standard uncertainty (k = 1).
    e1, e2, u_e : float
        Unequal scales and skew as the lens has them, and the standard uncertainty of either.
    xy_px, residual_px : ndarray, shape (n, 2) and (n,)
        Points, and how far each lies outside the oval.
    used : ndarray, shape (n,), bool
    largest_gap_deg : float
        Longest part of the outline without points.
    """

    summary: Summary
    centre_px: tuple[float, float]
    radius_px: float
    u_radius_px: float
    e1: float
    e2: float
    u_e: float
    xy_px: Floats
    residual_px: Floats
    used: Bools
    largest_gap_deg: float

    @property
    def ratio(self) -> float:
        """Scale in x over scale in y, mm a pixel."""
        return (1 + self.e1) / (1 - self.e1)


@dataclass(frozen=True)
class _Oval:
    """Centre x and y, radius, e1, e2; covariance from noise; size of the thing's lobes, px."""

    params: Floats
    covariance: Floats
    form: float
    residual: Floats
    used: Bools


def measure_circle(
    xy: ArrayLike,
    diameter_mm: float,
    frame: tuple[int, int],
    *,
    u_diameter_mm: float = CALIPER_U_MM,
    u_edge_px: float = 0.0,
    method: CircleMethod = "known_pin",
) -> CircleScale:
    """Measure the scale and the x to y ratio on the outline of a round thing.

    Parameters
    ----------
    xy : array_like, shape (n, 2)
        Edge points all round, px.
    diameter_mm : float
        As gauged.
    frame : (int, int)
        Width and height of the picture, px.
    u_diameter_mm : float, optional
        Standard uncertainty of the diameter, and of its differing round the thing.
    u_edge_px : float, optional
        Standard uncertainty of the edge that all points share.
    method : str, optional
        What it is.

    Raises
    ------
    CalibrationError
        Where numbers make no sense, or too little of the outline is seen.

    Notes
    -----
    Least squares of ``|A (xy - c)| - R`` with A the aspect and skew of `lens`.
    """
    points = np.asarray(xy, dtype=np.float64)
    _check_points(points)
    if not (isfinite(diameter_mm) and diameter_mm > 0):
        raise CalibrationError(f"known diameter is {diameter_mm:g} mm: give a length above zero")
    oval = _fitted(points)
    gap = _largest_gap(points[oval.used] - oval.params[:2])
    if gap > LARGEST_GAP_DEG:
        raise CalibrationError(
            f"{gap:.0f} degrees of the outline are not seen, {LARGEST_GAP_DEG:.0f} is the most: "
            "show the whole of it"
        )
    # A diameter gauged in one place differs from the mean by the thing's form.
    u_radius = hypot(sqrt(oval.covariance[2, 2]), u_edge_px, oval.form)
    radius = float(oval.params[2])
    scale = from_known_diameter(2 * radius, 2 * u_radius, diameter_mm, u_diameter_mm, method)
    u_e = _u_aspect(oval, u_diameter_mm / diameter_mm)
    return _summed_up(points, oval, frame, scale, u_radius, u_e, gap)


def _check_points(xy: Floats) -> None:
    if xy.ndim != 2 or xy.shape[1] != 2 or not np.all(np.isfinite(xy)):
        raise CalibrationError(f"edge points have shape {xy.shape}: give n places x, y")
    if len(xy) < LEAST_POINTS:
        raise CalibrationError(
            f"{len(xy)} points on the outline, at least {LEAST_POINTS} are needed: come closer"
        )


def _fitted(xy: Floats) -> _Oval:
    used = np.ones(len(xy), dtype=bool)
    params = np.array([*xy.mean(axis=0), 0.0, 0.0, 0.0])
    params[2] = float(np.mean(np.hypot(*(xy - params[:2]).T)))
    for _ in range(STEPS):
        for _ in range(3):
            residual, slope = _distance(xy, params)
            params = params - np.linalg.lstsq(slope[used], residual[used], rcond=None)[0]
        residual, slope = _distance(xy, params)
        inside = np.abs(residual) < OUTLIER_SIGMAS * max(scatter(residual[used]), LEAST_SCATTER_PX)
        if np.array_equal(inside, used):
            break
        used = inside
    rest, form = _without_lobes(xy[used] - params[:2], residual[used])
    normal = np.linalg.pinv(slope[used].T @ slope[used])
    spare = max(len(rest) - 5 - 2 * len(LOBES), 1)
    covariance = normal * float(np.sum(rest**2)) / spare * _together(rest)
    return _Oval(params, np.asarray(covariance, dtype=np.float64), form, residual, used)


def _without_lobes(arm: Floats, residual: Floats) -> tuple[Floats, float]:
    """Residuals with the thing's form taken out, and RMS of the lobes' coefficients, px."""
    turn = np.arctan2(arm[:, 1], arm[:, 0])
    design = np.column_stack([f(k * turn) for k in LOBES for f in (np.cos, np.sin)])
    lobes = np.linalg.lstsq(design, residual, rcond=1e-3)[0]
    rest = residual - design @ lobes
    # Noise alone gives each coefficient a variance of 2 s^2 / n.
    form = float(np.mean(lobes**2) - 2 * np.mean(rest**2) / len(rest))
    return rest, sqrt(max(form, 0.0))


def _distance(xy: Floats, params: Floats) -> tuple[Floats, Floats]:
    """Distance outside the oval, and its derivatives by the parameters."""
    square = np.array([[1 + params[3], params[4]], [params[4], 1 - params[3]]])
    arm = xy - params[:2]
    round_arm = arm @ square
    length = np.hypot(*round_arm.T)
    way = round_arm / length[:, None]
    slope = np.column_stack(
        [
            -way @ square,
            -np.ones(len(xy)),
            way[:, 0] * arm[:, 0] - way[:, 1] * arm[:, 1],
            way[:, 0] * arm[:, 1] + way[:, 1] * arm[:, 0],
        ]
    )
    return length - params[2], slope


def _together(residual: Floats) -> float:
    """Widening for neighbours that err together: (1 + r) / (1 - r), r their correlation."""
    power = float(np.mean(residual**2))
    if power == 0:
        return 1.0
    r = float(np.mean(residual * np.roll(residual, 1))) / power
    return (1 + min(r, 0.98)) / (1 - min(r, 0.98)) if r > 2 / sqrt(len(residual)) else 1.0


def _largest_gap(arm: Floats) -> float:
    turn = np.sort(np.arctan2(arm[:, 1], arm[:, 0]))
    gaps = np.diff(np.append(turn, turn[0] + 2 * np.pi))
    return float(np.degrees(gaps.max()))


def _u_aspect(oval: _Oval, relative_u: float) -> float:
    """Standard uncertainty of e1 and e2: fit, the thing's form, its gauging."""
    fit = float(np.sqrt((oval.covariance[3, 3] + oval.covariance[4, 4]) / 2))
    form = oval.form / float(oval.params[2])
    # Diameters in two directions that differ by one u make e of half as much.
    return float(np.sqrt(fit**2 + form**2 + (relative_u / 2) ** 2))


def _summed_up(
    xy: Floats,
    oval: _Oval,
    frame: tuple[int, int],
    scale: Scale,
    u_radius: float,
    u_e: float,
    gap: float,
) -> CircleScale:
    cx, cy, radius, e1, e2 = (float(v) for v in oval.params)
    summary = Summary(
        scale=scale,
        width_px=frame[0],
        height_px=frame[1],
        residual_rms_px=float(np.sqrt(np.mean(oval.residual[oval.used] ** 2))),
        lens=_lens(frame, e1, e2, u_e),
    )
    circle = CircleScale(
        summary=summary,
        centre_px=(cx, cy),
        radius_px=radius,
        u_radius_px=u_radius,
        e1=e1,
        e2=e2,
        u_e=u_e,
        xy_px=xy,
        residual_px=oval.residual,
        used=oval.used,
        largest_gap_deg=gap,
    )
    return replace(circle, summary=summary.judged(_findings(circle), _details(circle)))


def _details(circle: CircleScale) -> dict[str, float | str]:
    return {
        "ratio_x_to_y": circle.ratio,
        "e1": circle.e1,
        "e2": circle.e2,
        "u_e": circle.u_e,
        "largest_gap_deg": circle.largest_gap_deg,
        "points": float(circle.used.sum()),
        "rejected_points": float((~circle.used).sum()),
    }


def _lens(frame: tuple[int, int], e1: float, e2: float, u_e: float) -> Lens:
    """Allowances, but for the aspect where it stands out (chi-square above twice its two terms)."""
    lens = unmeasured_lens(*frame)
    if e1**2 + e2**2 <= 4 * u_e**2:
        return lens
    terms, covariance = np.zeros(len(TERMS)), np.array(lens.covariance)
    for name, value in (("e1", e1), ("e2", e2)):
        terms[TERMS.index(name)] = value
        covariance[TERMS.index(name), TERMS.index(name)] = u_e**2
    return make_lens(lens.centre_px, lens.radius_px, terms, covariance)


def _findings(circle: CircleScale) -> list[Finding]:
    found = []
    if circle.largest_gap_deg > SEEN_GAP_DEG:
        reason = f"{circle.largest_gap_deg:.0f} degrees of the outline are not seen"
        found.append(Finding("usable", f"{reason}, {SEEN_GAP_DEG:.0f} is the most for good"))
    rms = circle.summary.residual_rms_px
    rough = rms / circle.radius_px
    if rough > ROUGH_REL:
        reason = (
            f"the outline lies off an oval by {rms:.2g} px RMS, "
            f"{100 * rough:.2g} % of its radius ({100 * ROUGH_REL:g} % is the most for good)"
        )
        found.append(Finding("usable" if rough <= WRONG_REL else "take it again", reason))
    unequal = 2 * hypot(circle.e1, circle.e2)
    if unequal > max(UNEQUAL_REL, 4 * circle.u_e):
        reason = f"diameters on the picture differ by {100 * unequal:.2g} %"
        found.append(Finding("usable", f"{reason}: a lean, or a thing that is not round"))
    share = 2 * circle.radius_px / min(circle.summary.width_px, circle.summary.height_px)
    if share < SMALL_SHARE:
        reason = f"it is {100 * share:.0f} % of the frame's height, {100 * SMALL_SHARE:.0f} %"
        found.append(Finding("usable", f"{reason} or more is better"))
    return found
