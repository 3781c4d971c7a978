"""Tips, floors and gap shapes of a measured gear in millimetres, teeth in the order of numbers."""

from dataclasses import dataclass, fields, replace
from math import hypot

import numpy as np

from cogloupe.evaluation.deviations import gap_width
from cogloupe.evaluation.drawing_data import GapSheet
from cogloupe.evaluation.gap_shape import GapShape, PerGap, blur_doubt, gap_shape
from cogloupe.evaluation.gap_traces import gap_traces
from cogloupe.evaluation.mean_gap import folded_points
from cogloupe.evaluation.pitch_and_runout import Figures
from cogloupe.fits.datum import Axes
from cogloupe.fits.fillet import with_rounding
from cogloupe.fits.measured_gear import Measured, found_floors
from cogloupe.fits.radii import Radii
from cogloupe.forms.gap_theory import GapTheory, floor_ratio_of_moved, theoretical_gap
from cogloupe.forms.rack import Gear
from cogloupe.numerics.missing import mean_seen
from cogloupe_calibration.arrays import Floats

STEP = 1e-3
"""Share by which a scale is moved to see what that does."""


@dataclass(frozen=True, kw_only=True)
class Shapes:
    """Tips and gaps in the order of the numbers, mm; arrays of z.

    Attributes
    ----------
    tip, floor : Radii
        Tip and floor radii about the datum.
    gap : GapShape or None
        None where the floors lie where the stated tooth has none.
    traces : GapSheet or None
        Distance of every gap's outline from the theoretical one.
    """

    tip: Radii
    floor: Radii
    depth: Floats
    u_depth: Floats
    gap: GapShape | None
    floor_ratio: PerGap | None
    theory: GapTheory | None
    traces: GapSheet | None


def compute_gap_shapes(measured: Measured, axes: Axes, figures: Figures) -> Shapes:
    """Tips, floors and gap shapes in millimetres.

    Notes
    -----
    Radii are about the datum; shapes of gaps about the axis of the teeth. The theoretical gap is
    the stated rack's at the depth of the floor that was found.
    """
    px = measured.scale.mm_per_px
    axis = measured.fits.centre
    floor_px = found_floors(measured, axis)
    # Tips were measured about the axis of the teeth; seen from the datum each lies a little
    # further or nearer, by the offset along its own direction.
    offset = (axis - axes.datum) * px
    tooth_angle = figures.position.mean(axis=1)
    gap_angle = figures.position[:, 1] + gap_width(figures.position, 0.5)
    relative = measured.scale.relative_u

    def in_order(values: Floats) -> Floats:
        return np.roll(values * px, -figures.first, axis=0)

    def about_datum(radii: Radii, angle: Floats) -> Radii:
        shifted = in_order(radii.value) + offset[0] * np.cos(angle) + offset[1] * np.sin(angle)
        u = np.sqrt(in_order(radii.u) ** 2 + figures.edge**2 + (relative * shifted) ** 2)
        return Radii(shifted, u)

    tip, floor = about_datum(measured.tips, tooth_angle), about_datum(floor_px, gap_angle)
    depth = (tip.value + np.roll(tip.value, -1)) / 2 - floor.value
    own = np.hypot(in_order(measured.tips.u), in_order(floor_px.u))
    u_depth = np.sqrt(own**2 + 2 * figures.edge**2 + (relative * depth) ** 2)
    gap, ratio, theory, traces = _gaps(measured, figures, floor_px.value * px)
    return Shapes(
        tip=tip,
        floor=floor,
        depth=depth,
        u_depth=u_depth,
        gap=gap,
        floor_ratio=ratio,
        theory=theory,
        traces=traces,
    )


def _gaps(
    measured: Measured, figures: Figures, floor: Floats
) -> tuple[GapShape | None, PerGap | None, GapTheory | None, GapSheet | None]:
    """Shape, floor ratio, theory and outlines of the gaps; floors as measured, mm."""
    px = measured.scale.mm_per_px
    tip_mm, floor_mm = mean_seen(measured.tips.value * px), mean_seen(floor)
    if not np.isfinite(tip_mm):
        tip_mm = measured.teeth.tip_radius * px
    blur = measured.outlines.blur_px * px
    points = folded_points(measured)
    found = (mean_seen(figures.thickness), floor_mm, tip_mm, blur)
    theory = theoretical_gap(with_rounding(measured.wheel, *found, points[0]), *found[1:])
    if theory is None:
        return None, None, None, None
    shape = gap_shape(measured, figures, theory, floor, points)
    first = figures.first
    in_order = {f.name: _rolled(getattr(shape, f.name), first) for f in fields(shape)}
    shape = GapShape(**in_order)
    traces = gap_traces(measured, theory, points, first)
    return shape, _floor_ratio(measured, figures, shape.near_floor, theory, blur), theory, traces


def _rolled(figure: PerGap, first: int) -> PerGap:
    """Figure with tooth 1's gap first."""
    value, own = (np.roll(values, -first) for values in (figure.value, figure.own))
    return replace(figure, value=value, own=own)


def _by_scale(measured: Measured, figures: Figures, theory: GapTheory) -> float:
    """Growth of the floor ratio for each whole that the scale grows by."""
    if isinstance(theory.wheel, Gear):
        return floor_ratio_of_moved(theory.wheel, lambda radius: STEP * radius) / STEP
    # Floors of clock teeth lie where they were found, their pitch circle as stated.
    place = measured.fits.curve.stretched()[0] * measured.scale.mm_per_px
    return 2 * place / mean_seen(figures.gap_width)


def _floor_ratio(
    measured: Measured, figures: Figures, near: PerGap, theory: GapTheory, blur_mm: float
) -> PerGap:
    """Width near the floor over that on the measuring circle, against the theoretical gap's."""
    radius = figures.measuring_radius
    wanted = near.theory / theory.width(radius)
    ratio = near.value / figures.gap_width / wanted
    width = np.hypot(figures.noise[:, 1], np.roll(figures.noise[:, 0], -1))
    own = np.hypot(near.own / near.value, width * radius / figures.gap_width)
    edge = theory.closing(near.radius) / near.theory - theory.closing(radius) / theory.width(radius)
    blur = blur_doubt(theory, near.radius, blur_mm) / near.theory
    stretch = _by_scale(measured, figures, theory) * measured.scale.relative_u
    return PerGap(ratio, np.abs(ratio) * own, hypot(2 * figures.edge * edge, blur, stretch), 1.0)
