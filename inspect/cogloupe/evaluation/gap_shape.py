"""The shape of every gap, measured against the theoretical one.

A gap's outline bends quickly near its floor, but its distance from the theoretical outline does
not. So each width is the theoretical one and a straight line fitted to what the points near that
circle differ from it, the theoretical outline blurred as the picture is; few pixels are then
enough. Frame and sides as in `gap_theory`. Lengths mm, angles rad; arrays run over the gaps in the
measured order.
"""

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from cogloupe.evaluation.pitch_and_runout import Figures
from cogloupe.fits.flanks import FlankFits
from cogloupe.fits.measured_gear import Measured
from cogloupe.fits.teeth_axis import gap_middles
from cogloupe.forms.gap_outline import GapOutline
from cogloupe.forms.gap_theory import NEAR_FLOOR, GapTheory
from cogloupe.numerics.angles import wrapped
from cogloupe.numerics.grouped import grouped_means, grouped_polynomials
from cogloupe.uncertainty.combination import edges_and_scale
from cogloupe.uncertainty.flank_uncertainty import flank_doubts
from cogloupe_calibration.arrays import Floats, Ints
from cogloupe_calibration.robust import scatter

FLOOR_EDGE = 0.05
"""Height above the floor, in modules, at which its own width is taken."""
REACH_MODULES, REACH_PX = 0.1, 3.0
"""Points within so many modules of a circle, and no fewer px, tell the width on it."""
FLAT_CELLS, FLAT_RISE = 5, 0.01
"""Stretches of the floor whose heights are compared, and how far it rises where they end, in
modules; a blur from there on either side the corners reach into it."""
FILLET_HEIGHTS = (0.01, 0.22)
"""Heights above the floor, in modules, between which a fillet's circle is fitted."""
FEWEST_ON_FILLET = 6
"""Points that a fillet's circle needs: twice its unknowns."""
BLUR_DOUBT, SHARP_DOUBT = 0.3, 4.0
"""Standard uncertainty of what blur does to a corner, as a share of that: on a wide corner, and
more for each squared ratio of blur to corner, 0.4 modules (from rendered gears, teeth 16 to 35 px
deep, blur 0.7 to 1.5 px)."""
CORNER_MODULES = 0.4
"""Size of the usual corner (0.38 modules, ISO 53)."""
CORNER_OWN = 0.3
"""The same from gap to gap, in squared blurs over the tooth's depth."""


@dataclass(frozen=True)
class PerGap:
    """One figure of every gap.

    Attributes
    ----------
    value : ndarray, shape (z,)
        NaN where not measured.
    own : ndarray, shape (z,)
        Its standard uncertainty from what differs from gap to gap.
    common : float
        The same from what all gaps share (level of the edges, scale).
    theory : float
        The figure of the theoretical gap.
    radius : float
        Radius of the circle it was taken on; NaN for none.
    """

    value: Floats
    own: Floats
    common: float
    theory: float
    radius: float = float("nan")

    @property
    def u(self) -> Floats:
        """Standard uncertainty of each."""
        return np.hypot(self.own, self.common)

    def mean(self) -> tuple[float, float]:
        """Mean over the gaps seen, and its standard uncertainty; NaN where none was seen."""
        seen = np.isfinite(self.value) & np.isfinite(self.own)
        if not seen.any():
            return float("nan"), float("nan")
        own = float(np.sqrt(np.mean(self.own[seen] ** 2) / seen.sum()))
        return float(self.value[seen].mean()), hypot(own, self.common)


@dataclass(frozen=True, kw_only=True)
class GapShape:
    """Shape of every gap: widths as arcs, mm; flatness mm; lean rad, positive clockwise outwards.

    Attributes
    ----------
    tip, form, near_floor, floor : PerGap
        Widths where the flanks meet the tip circle, on the form circle, near the floor, and of
        the floor.
    flatness : PerGap
        Highest less lowest of the floor's middle, its theoretical rise taken off.
    fillet : PerGap
        Radius of a circle through the rounding, mean of both corners.
    lean : PerGap
        Angle of the middle line, from near the floor to the tips, against the radius.
    """

    tip: PerGap
    form: PerGap
    near_floor: PerGap
    floor: PerGap
    flatness: PerGap
    fillet: PerGap
    lean: PerGap


@dataclass(frozen=True, kw_only=True)
class _Folded:
    """Points of all gaps, turned so that each gap's middle points the same way.

    `away` is the angle from the middle towards the point's own side; `height` is above the gap's
    own floor, and `level` the radius at which the theoretical gap is that high.
    """

    gap: Ints
    side: Ints
    radius: Floats
    away: Floats
    height: Floats
    level: Floats


def gap_shape(
    measured: Measured,
    figures: Figures,
    theory: GapTheory,
    floor: Floats,
    points: tuple[Floats, Ints],
) -> GapShape:
    """Measure the shape of every gap.

    Parameters
    ----------
    floor : ndarray, shape (z,)
        Radii of the floors about the axis of the teeth.
    points : (ndarray, shape (n, 2), ndarray, shape (n,), int)
        Points in the frame of their gap, and their gap, as `mean_gap.folded_points` gives them.
    """
    folded = _fold(points, floor, theory)
    near, middle = _width(measured, figures, theory, folded, NEAR_FLOOR)
    edge, _ = _width(measured, figures, theory, folded, FLOOR_EDGE)
    tip, tip_middle = _tip_width(measured, figures, theory)
    return GapShape(
        tip=tip,
        form=_form_width(measured, figures, theory, folded),
        near_floor=near,
        floor=edge,
        flatness=_flatness(measured, theory, folded, len(floor)),
        fillet=_fillets(measured, figures, theory, points, floor),
        lean=_lean(near, middle, tip, tip_middle),
    )


def _fold(points: tuple[Floats, Ints], floor: Floats, theory: GapTheory) -> _Folded:
    xy, gap = points
    radius, angle = np.hypot(*xy.T), np.arctan2(xy[:, 0], xy[:, 1])
    side = (angle < 0).astype(np.int64)
    height = radius - floor[gap]
    level = theory.wheel.root_radius + height
    return _Folded(
        gap=gap, side=side, radius=radius, away=np.abs(angle), height=height, level=level
    )


def _differences(
    measured: Measured, theory: GapTheory, folded: _Folded, level: Floats, circle: float
) -> tuple[Floats, Floats]:
    """How much further each flank stands from the middle than in theory on a circle, as angles.

    `level` are the radii at which the theoretical gap is looked up. Returns values and standard
    uncertainties, shape (z, 2), sides as in `gap_theory`.
    """
    module, px = measured.wheel.module_mm, measured.scale.mm_per_px
    reach = max(REACH_MODULES * module, REACH_PX * px)
    with np.errstate(invalid="ignore"):
        near = (np.abs(level - circle) < reach) & (folded.height > 0.02 * module)
    side, at = folded.side[near], level[near]
    shown = np.where(side == 0, theory.shown_angle(0, at), theory.shown_angle(1, at))
    z = measured.wheel.teeth
    fitted, u = grouped_polynomials(
        2 * folded.gap[near] + side, (at - circle) / reach, folded.away[near] - shown, 2 * z, 1
    )
    doubt = _own_doubt(measured) * px / circle
    u = np.hypot(u * sqrt(measured.fits.correlation), doubt)
    return fitted[:, 0].reshape(z, 2), u.reshape(z, 2)


def _own_doubt(measured: Measured) -> float:
    """Doubt about one side of one gap that its scatter does not show, px.

    Tool marks and grains shift a stretch as they shift a whole flank; so does the blur of corners.
    """
    doubts = flank_doubts(measured)
    depth = measured.teeth.tip_radius - measured.teeth.root_radius
    corner = CORNER_OWN * measured.outlines.blur_px**2 / depth
    return hypot(doubts["bevel"], doubts["texture"], corner)


def _width(
    measured: Measured, figures: Figures, theory: GapTheory, folded: _Folded, height: float
) -> tuple[PerGap, tuple[Floats, Floats]]:
    """Width of every gap at a height above its own floor, in modules, and its middle with u."""
    radius = theory.wheel.root_radius + height * theory.wheel.module_mm
    value, u = _differences(measured, theory, folded, folded.level, radius)
    width = theory.width(radius)
    blur = measured.outlines.blur_px * measured.scale.mm_per_px
    closing = -2 * theory.closing(radius)
    grows = width - 2 * height * theory.wheel.module_mm * theory.opening(radius)
    shared = edges_and_scale(figures.edge, measured.scale, closing, grows)
    common = hypot(shared, blur_doubt(theory, radius, blur))
    own = np.hypot(*u.T)
    found = PerGap(width + radius * value.sum(axis=1), radius * own, common, width, radius)
    return found, ((value[:, 0] - value[:, 1]) / 2, own / 2)


def blur_doubt(theory: GapTheory, radius: float, blur: float) -> float:
    """Standard uncertainty of a width from what blur does to rounded corners there; mm.

    Parameters
    ----------
    blur : float
        Mm.
    """
    shown = radius * sum(float(theory.shown_angle(side, radius)) for side in (0, 1))
    return _share_of_blur(theory, blur) * abs(theory.width(radius) - shown)


def _share_of_blur(theory: GapTheory, blur: float) -> float:
    sharp = blur / (CORNER_MODULES * theory.wheel.module_mm)
    return BLUR_DOUBT + SHARP_DOUBT * sharp**2


def _form_width(measured: Measured, figures: Figures, theory: GapTheory, folded: _Folded) -> PerGap:
    """Width of every gap on the form circle."""
    radius = theory.wheel.form_radius
    value, u = _differences(measured, theory, folded, folded.radius, radius)
    width = theory.width(radius)
    common = _common(measured, figures, radius, theory.opening(radius))
    own = radius * np.hypot(*u.T)
    return PerGap(width + radius * value.sum(axis=1), own, common, width, radius)


def _common(measured: Measured, figures: Figures, radius: float, opening: float) -> float:
    """What the level of the edges and the scale do to all widths on a fixed circle.

    A gear that is larger by a share e shows at a radius r the gap of ``r (1 - e)``, its arc
    stretched again: narrower by ``2 r e`` times the opening of a side.
    """
    by_edges, by_scale = -2 * hypot(1.0, opening), -2 * radius * opening
    return edges_and_scale(figures.edge, measured.scale, by_edges, by_scale)


def _tip_width(
    measured: Measured, figures: Figures, theory: GapTheory
) -> tuple[PerGap, tuple[Floats, Floats]]:
    """Width of every gap where the fitted flanks meet the tip circle, and its middle with u."""
    radius = theory.wheel.tip_radius
    angle, u = _carried_on(measured.fits, radius / measured.scale.mm_per_px)
    right, left = angle[:, 1], np.roll(angle[:, 0], -1)
    wide = np.mod(left - right, 2 * np.pi)
    own = np.hypot(u[:, 1], np.roll(u[:, 0], -1))
    width = theory.width(radius)
    common = _common(measured, figures, radius, theory.opening(radius))
    away = right + wide / 2 - gap_middles(measured.fits)
    away = wrapped(away)
    if not np.isfinite(measured.tips.value).any():  # where the tips lie is only roughly known
        wide = np.full_like(wide, np.nan)
    return PerGap(radius * wide, radius * own, common, width, radius), (away, own / 2)


def _carried_on(fits: FlankFits, radius: float) -> tuple[Floats, Floats]:
    """Polar angle of every fitted flank on a circle, px, with its standard uncertainty."""
    curve = fits.curve
    side = np.arange(2)
    beyond = float(curve.form.along(radius)) - curve.measuring_roll
    arm = curve.form.arm(np.full(2, radius), side) / curve.measuring_arm
    turn = np.array([-1.0, 1.0]) * curve.form.turn(np.full(2, radius), side)
    angle = fits.unwound + fits.slope * beyond / arm - turn
    return angle, np.hypot(fits.u_unwound, fits.u_slope * beyond / arm)


def _lean(
    near: PerGap,
    low: tuple[Floats, Floats],
    tip: PerGap,
    high: tuple[Floats, Floats],
) -> PerGap:
    """Angle of every gap's middle line against the radius."""
    radius, length = (near.radius + tip.radius) / 2, tip.radius - near.radius
    turned = radius * (high[0] - low[0]) / length
    return PerGap(np.arctan(turned), radius * np.hypot(high[1], low[1]) / length, 0.0, 0.0)


def _flatness(measured: Measured, theory: GapTheory, folded: _Folded, gaps: int) -> PerGap:
    """Range of the floor's height over most of its width, averaged in a few stretches."""
    px = measured.scale.mm_per_px
    edge = theory.wheel.root_radius + FLAT_RISE * theory.wheel.module_mm
    half = max(theory.width(edge) / 2 - measured.outlines.blur_px * px, 1e-9)
    x = folded.away * folded.radius * np.where(folded.side == 0, 1.0, -1.0)
    low = (np.abs(x) < half) & (folded.height < 0.3 * theory.wheel.module_mm)
    cell = np.clip(((x[low] / half + 1) / 2 * FLAT_CELLS).astype(int), 0, FLAT_CELLS - 1)
    index = folded.gap[low] * FLAT_CELLS + cell
    rise = _floor_rise(theory, theory.shown, x[low])
    means = grouped_means(index, folded.height[low] - rise, gaps * FLAT_CELLS)
    heights, count = (cells.reshape(gaps, FLAT_CELLS) for cells in means)
    seen = (count > 0).all(axis=1) & (count.sum(axis=1) >= 8)
    value = np.where(seen, np.ptp(heights, axis=1), np.nan)
    noise = measured.fits.scatter * px * sqrt(measured.fits.correlation)
    level = noise / np.sqrt(np.maximum(count.mean(axis=1), 1))
    # Noise alone gives five heights a range of 2.3 standard deviations, which is not form.
    own = np.where(seen, level * hypot(2.33 / 2, sqrt(2)), np.nan)
    raised = float(np.nanmedian(own)) if seen.any() else float("nan")
    ends = np.array([half])
    lifted = _floor_rise(theory, theory.shown, ends) - _floor_rise(theory, theory.drawn, ends)
    doubt = _share_of_blur(theory, measured.outlines.blur_px * px) * abs(float(lifted[0]))
    # Noise raises every range, so its doubt does not average out over the gaps.
    return PerGap(value, np.where(seen, 0.0, np.nan), hypot(doubt, raised), 0.0)


def _floor_rise(theory: GapTheory, outline: GapOutline, x: Floats) -> Floats:
    """Height of a theoretical floor above its middle, at places across it."""
    radius = np.hypot(*outline.xy.T)
    low = radius < theory.wheel.root_radius + 0.3 * theory.wheel.module_mm
    place = np.arctan2(*outline.xy[low].T) * radius[low]
    height = np.interp(np.append(x, 0.0), np.maximum.accumulate(place), radius[low])
    return np.asarray(height[:-1] - height[-1])


def _fillets(
    measured: Measured,
    figures: Figures,
    theory: GapTheory,
    points: tuple[Floats, Ints],
    floor: Floats,
) -> PerGap:
    """Mean radius of each gap's two fillets, as circles through the rounding.

    What blur takes off is told by fitting the theoretical gap as drawn and as shown.
    """
    module, gaps = theory.wheel.module_mm, len(floor)
    xy, gap = points
    x, y = np.abs(xy[:, 0]) / module, (xy[:, 1] - floor[gap]) / module
    size, scatter, count = _circles_in(2 * gap + (xy[:, 0] < 0), x, y, 2 * gaps)
    drawn, shown = (_drawn_fillet(outline.xy, theory) for outline in (theory.drawn, theory.shown))
    # Algebraic circles on a short arc: about sqrt(180 / n) sagittas of scatter (arc of a radian).
    u = scatter * np.sqrt(180 * measured.fits.correlation / np.maximum(count, 1))
    u = np.where(np.isfinite(size), u, np.nan).reshape(gaps, 2) * module
    value = size.reshape(gaps, 2).mean(axis=1) * module + drawn - shown
    blur = measured.outlines.blur_px * measured.scale.mm_per_px
    doubt = _share_of_blur(theory, blur) * (drawn - shown)
    common = hypot(figures.edge, doubt, drawn * measured.scale.relative_u)
    return PerGap(value, np.hypot(*u.T) / 2, common, drawn)


def _drawn_fillet(xy: Floats, theory: GapTheory) -> float:
    """Radius of the circle through one fillet of an outline, fitted as a measured one is."""
    right = xy[xy[:, 0] > 0]
    low = float(np.hypot(*xy.T).min())
    module = theory.wheel.module_mm
    x, y = right[:, 0] / module, (right[:, 1] - low) / module
    size, _, _ = _circles_in(np.zeros(len(right), np.int64), x, y, 1)
    return float(size[0]) * module


def _circles_in(corner: Ints, x: Floats, y: Floats, corners: int) -> tuple[Floats, float, Ints]:
    """Algebraic circles through the rounding of many corners, in modules.

    Returns radii, the robust scatter of the points about them, and how many points each has.
    """
    with np.errstate(invalid="ignore"):
        chosen = (y > FILLET_HEIGHTS[0]) & (y < FILLET_HEIGHTS[1])
    corner, x, y = corner[chosen], x[chosen], y[chosen]
    design = np.stack([2 * x, 2 * y, np.ones_like(x)], axis=1)
    square, count = x**2 + y**2, np.bincount(corner, minlength=corners)
    normal, right = np.empty((corners, 3, 3)), np.empty((corners, 3))
    for i in range(3):
        right[:, i] = np.bincount(corner, design[:, i] * square, corners)
        for j in range(3):
            normal[:, i, j] = np.bincount(corner, design[:, i] * design[:, j], corners)
    enough = count >= FEWEST_ON_FILLET
    normal[~enough] = np.eye(3)
    cx, cy, c = np.linalg.solve(normal + 1e-12 * np.eye(3), right[:, :, None])[:, :, 0].T
    with np.errstate(invalid="ignore"):
        radius = np.where(enough, np.sqrt(c + cx**2 + cy**2), np.nan)
    off = np.hypot(x - cx[corner], y - cy[corner]) - radius[corner]
    known = off[np.isfinite(off)]
    return radius, scatter(known) if known.size else float("nan"), count
