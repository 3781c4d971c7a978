"""Tips, floors and gap shapes of a measured gear in millimetres, teeth in the order of numbers."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cogloupe.figures import Axes, Figures
from cogloupe.gaps import GapShape, Radii, gap_shape, theoretical_widths
from cogloupe.measure import Measured, found_floors
from cogloupe.rack import Gear
from cogloupe.uncertainty import thickness_edge

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Shapes:
    """Tips and gaps in the order of the numbers, mm; arrays of z.

    Attributes
    ----------
    tip, floor : Radii
        Tip and floor radii about the datum.
    depth, u_depth : ndarray
    gap : GapShape
    floor_ratio, u_floor_ratio : ndarray
    """

    tip: Radii
    floor: Radii
    depth: Floats
    u_depth: Floats
    gap: GapShape
    floor_ratio: Floats
    u_floor_ratio: Floats


def work_out_shapes(measured: Measured, axes: Axes, figures: Figures) -> Shapes:
    """Tips, floors and gap shapes in millimetres.

    Parameters
    ----------
    measured : Measured
    axes : Axes
    figures : Figures

    Returns
    -------
    Shapes

    Notes
    -----
    Radii are about the datum. The theoretical gap is the stated rack's at the depth of the floor
    that was found; the floor ratio compares the two gaps' width near the floor over their width
    on the reference circle.
    """
    px, edges = measured.scale.mm_per_px, measured.outlines.outer
    module_px = measured.wheel.module_mm / px
    axis = measured.fits.centre
    floor_px = found_floors(measured, axis)
    # Tips were measured about the axis of the teeth; seen from the datum each lies a little
    # further or nearer, by the offset along its own direction.
    offset = (axis - axes.datum) * px
    tooth_angle = figures.position.mean(axis=1)
    gap_angle = figures.position[:, 1] + figures.gap_width / figures.measuring_radius / 2
    relative = measured.scale.relative_u

    def in_order(values: Floats) -> Floats:
        return np.roll(values * px, -figures.first, axis=0)

    def about_datum(radii: Radii, angle: Floats) -> Radii:
        shifted = in_order(radii.value) + offset[0] * np.cos(angle) + offset[1] * np.sin(angle)
        u = np.sqrt(in_order(radii.u) ** 2 + figures.edge**2 + (relative * shifted) ** 2)
        return Radii(shifted, u)

    tip, floor = about_datum(measured.tips, tooth_angle), about_datum(floor_px, gap_angle)
    shape = gap_shape(edges, measured.teeth, axis, floor_px.value, module_px)
    shape = GapShape(*(in_order(getattr(shape, name)) for name in GapShape.__annotations__))
    depth = (tip.value + np.roll(tip.value, -1)) / 2 - floor.value
    own = np.hypot(in_order(measured.tips.u), in_order(floor_px.u))
    u_depth = np.sqrt(own**2 + 2 * figures.edge**2 + (relative * depth) ** 2)
    ratio, u_ratio = _floor_ratio(
        measured, figures, shape, float(np.nanmean(in_order(floor_px.value)))
    )
    return Shapes(tip, floor, depth, u_depth, shape, ratio, u_ratio)


def _floor_ratio(
    measured: Measured, figures: Figures, shape: GapShape, floor_mm: float
) -> tuple[Floats, Floats]:
    """Floor ratio of every gap against the gap the rack generates at the depth found."""
    gear = measured.gear
    shift = (floor_mm - gear.reference_radius) / gear.module_mm + gear.rack.dedendum
    if not np.isfinite(shift) or not -0.9 < shift < 1.5:
        nothing = np.full(gear.teeth, np.nan)
        return nothing, nothing
    at_depth = Gear(gear.teeth, gear.module_mm, gear.rack, shift)
    near, reference = theoretical_widths(at_depth)
    # The width on the reference circle, if another measuring circle was chosen, changes little
    # from gap to gap; what the radius adds is the involute's own.
    plain = Gear(gear.teeth, gear.module_mm, gear.rack)
    grown = 2 * (
        plain.half_tooth_angle(figures.measuring_radius)
        - plain.half_tooth_angle(gear.reference_radius)
    )
    width = (figures.gap_width / figures.measuring_radius + grown) * gear.reference_radius
    ratio = (shape.near_floor / width) / (near / reference)
    edge = thickness_edge(figures.edge, measured.fits.curve.mean_lean)
    u_near = np.hypot(shape.u_near_floor, edge) / shape.near_floor
    return ratio, np.abs(ratio) * np.hypot(u_near, edge / width)
