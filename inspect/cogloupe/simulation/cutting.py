"""The gear as it was really cut: where each flank stands, and the outline that follows.

Gear frame: millimetres about the bore's axis, x right and y down on the picture; angles radians.
"""

from dataclasses import dataclass, replace
from math import ceil, pi, radians, sqrt

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from cogloupe.rack import Gear, full_radius, half_gap
from cogloupe.simulation.scene import Faults, GearSpec, Nick, polar_vector
from cogloupe_calibration.errors import UseError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class CutGear:
    """A gear with its faults, numbered as the picture's reader will number it.

    Attributes
    ----------
    design : Gear
        The gear as drawn.
    cut : Gear
        The gear that depth and flank angle of the cutter really left, its tips at `design`'s.
    axis : ndarray, shape (2,)
        Axis of the teeth, mm from the bore's.
    tip_axis : ndarray, shape (2,)
        Axis of the blank's outside, mm from the bore's.
    first_centre : float
        Polar angle about `axis` where tooth 1 should stand, rad.
    left_offset, right_offset : ndarray, shape (z,)
        Angle by which each flank is out of place, rad, positive clockwise.
    turned : int
        A tooth that the scene calls j is number ``(j - 1 - turned) mod z + 1`` here.
    """

    design: Gear
    cut: Gear
    axis: Floats
    tip_axis: Floats
    first_centre: float
    left_offset: Floats
    right_offset: Floats
    turned: int

    def number(self, scene_tooth: int) -> int:
        """Number in the reading of a tooth that the scene names.

        Parameters
        ----------
        scene_tooth : int
            Number in the scene.

        Returns
        -------
        int
        """
        return (scene_tooth - 1 - self.turned) % self.design.teeth + 1

    def flank_angle(self, radius: Floats) -> tuple[Floats, Floats]:
        """Polar angle about the teeth's axis of every left and right involute at radii about it.

        Parameters
        ----------
        radius : ndarray, shape (..., z)
            Radii, mm, one a tooth.

        Returns
        -------
        left, right : ndarray, shape (..., z)
            Angles, rad.
        """
        z = self.design.teeth
        centre = self.first_centre + 2 * pi / z * np.arange(z)
        half = self.cut.half_tooth_angle(radius)
        return centre - half + self.left_offset, centre + half + self.right_offset


def cut_gear(
    spec: GearSpec, faults: Faults, rotation_deg: float, rng: np.random.Generator
) -> CutGear:
    """Cut the drawn gear with its faults.

    Parameters
    ----------
    spec : GearSpec
        The gear as drawn.
    faults : Faults
        What goes wrong.
    rotation_deg : float
        How far tooth 1 stands clockwise of twelve o'clock.
    rng : Generator
        For the random faults.

    Returns
    -------
    CutGear

    Raises
    ------
    UseError
        Where the faults leave a tooth without a tip.
    """
    design = spec.gear()
    left, right = _flank_errors(spec.teeth, faults, rng)
    per_um = 1e-3 / design.reference_radius
    axis = np.array(polar_vector(faults.eccentricity_um / 1000, faults.eccentricity_direction_deg))
    made = CutGear(
        design=design,
        cut=_as_cut(design, faults),
        axis=axis,
        tip_axis=np.zeros(2) if faults.tips_about == "bore" else axis,
        first_centre=radians(rotation_deg) - pi / 2,
        left_offset=left * per_um,
        right_offset=right * per_um,
        turned=0,
    )
    _check_tips(made)
    return _renumbered(made)


def _as_cut(design: Gear, faults: Faults) -> Gear:
    """Gear left by a cutter that stood too deep or has another flank angle."""
    angle = design.rack.pressure_angle + radians(faults.pressure_angle_error_deg)
    rack = replace(
        design.rack,
        pressure_angle=angle,
        fillet_radius=min(design.rack.fillet_radius, full_radius(angle, design.rack.dedendum)),
    )
    shift = design.profile_shift - faults.depth_um / 1000 / design.module_mm
    return replace(design, rack=rack, profile_shift=shift, tip_radius_mm=design.tip_radius)


def _flank_errors(teeth: int, faults: Faults, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Position error of left and right flanks, um along the reference circle."""
    gap = _gap_errors(teeth, faults, rng)
    passes = rng.normal(0, 1, (faults.passes, teeth)) * faults.pass_scatter_um
    # Gap k (after tooth k) is bounded by right flank k and left flank k + 1.
    right = gap + passes.min(axis=0) * (faults.passes > 1)
    left = np.roll(gap + passes.max(axis=0) * (faults.passes > 1), 1)
    alone = rng.normal(0, 1, (2, teeth)) * faults.flank_scatter_um
    left += alone[0] + faults.thinning_um / 2
    right += alone[1] - faults.thinning_um / 2
    return left + np.array(faults.left_um or 0.0), right + np.array(faults.right_um or 0.0)


def _gap_errors(teeth: int, faults: Faults, rng: np.random.Generator) -> Floats:
    """Indexing error of each gap, um along the reference circle."""
    error = rng.normal(0, 1, teeth) * faults.pitch_scatter_um
    turn = 2 * pi * np.arange(teeth) / teeth
    for part in faults.periodic:
        error += part.amplitude_um * np.sin(part.per_turn * turn + radians(part.phase_deg))
    error[faults.step_tooth - 1 :] += faults.step_um
    return error


def _check_tips(gear: CutGear) -> None:
    """Refuse teeth that end in a point before the tip circle."""
    reach = gear.design.tip_radius + float(np.hypot(*(gear.axis - gear.tip_axis)))
    left, right = gear.flank_angle(np.full(gear.design.teeth, reach))
    thinnest = int(np.argmin(right - left))
    if (right - left)[thinnest] <= 0:
        raise UseError(
            f"tooth {thinnest + 1} comes to a point below its tip circle: make the faults smaller"
            " or give a smaller tip_radius_mm"
        )


def _renumbered(made: CutGear) -> CutGear:
    """Number the teeth from the first whose centre line is at or after twelve o'clock."""
    left, right = crossing_angles(made, np.zeros(2), made.design.reference_radius)
    after = np.mod((left + right) / 2 + pi / 2, 2 * pi)
    # A centre line at twelve o'clock itself must not be lost to rounding.
    first = int(np.argmin(np.where(after > 2 * pi - 1e-9, 0.0, after)))
    return replace(
        made,
        first_centre=made.first_centre + 2 * pi * first / made.design.teeth,
        left_offset=np.roll(made.left_offset, -first),
        right_offset=np.roll(made.right_offset, -first),
        turned=first,
    )


def crossing_angles(gear: CutGear, datum: Floats, radius: float) -> tuple[Floats, Floats]:
    """Polar angles about a datum at which the flanks cross a circle about that datum.

    Parameters
    ----------
    gear : CutGear
        The gear as cut.
    datum : ndarray, shape (2,)
        Centre of the circle, mm from the bore's axis.
    radius : float
        Radius of the circle, mm.

    Returns
    -------
    left, right : ndarray, shape (z,)
        Angles, rad, exact to rounding: the analytic involutes are cut, no error formula used.

    Raises
    ------
    UseError
        Where the circle leaves the involute, below its start or above the tip.
    """
    shift = gear.axis - datum
    found = []
    for side in (0, 1):
        own = np.full(gear.design.teeth, radius)
        # Each step leaves about (eccentricity / radius) of the error.
        for _ in range(40):
            angle = gear.flank_angle(own)[side]
            x, y = shift[0] + own * np.cos(angle), shift[1] + own * np.sin(angle)
            own = own + radius - np.hypot(x, y)
        if own.min() < gear.cut.form_radius or own.max() > gear.cut.tip_radius:
            raise UseError(
                f"the circle of radius {radius:.3f} mm leaves the involute, which runs from "
                f"{gear.cut.form_radius:.3f} to {gear.cut.tip_radius:.3f} mm: change the gear"
            )
        found.append(np.arctan2(y, x))
    return found[0], found[1]


def flank_lines(gear: CutGear, points: int = 24) -> Floats:
    """Points on every involute flank, from its start to the tip.

    Parameters
    ----------
    gear : CutGear
        The gear as cut.
    points : int
        Points on each flank.

    Returns
    -------
    ndarray, shape (2, z, points, 2)
        Left then right flanks, mm about the bore.
    """
    z = gear.design.teeth
    radius = np.linspace(gear.cut.form_radius, gear.cut.tip_radius, points)[:, None]
    angle = np.stack(gear.flank_angle(np.broadcast_to(radius, (points, z))))
    xy = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=-1) + gear.axis
    return np.asarray(np.swapaxes(xy, 1, 2))


def tooth_outline(gear: CutGear, chord_error_mm: float) -> Floats:
    """Closed outline of the teeth.

    Parameters
    ----------
    gear : CutGear
        The gear as cut.
    chord_error_mm : float
        Largest distance allowed between a chord and the true curve, mm.

    Returns
    -------
    ndarray, shape (n, 2)
        Corners, mm about the bore, clockwise on the picture.
    """
    off_centre = float(np.hypot(*(gear.axis - gear.tip_axis)))
    cut = replace(gear.cut, tip_radius_mm=gear.cut.tip_radius + off_centre)
    whole = _generated_outline(replace(gear, cut=cut), chord_error_mm)
    if off_centre == 0:
        return whole
    blank = shapely.Polygon(circle(gear.tip_axis, gear.cut.tip_radius, chord_error_mm))
    turned = shapely.intersection(shapely.Polygon(whole), blank)
    return np.asarray(shapely.get_coordinates(turned.exterior)[:-1])


def _generated_outline(gear: CutGear, chord_error_mm: float) -> Floats:
    """Outline with tips concentric with the teeth."""
    radius, angle = half_gap(gear.cut, *_point_counts(gear.cut, chord_error_mm))
    z = gear.cut.teeth
    middle = gear.first_centre + 2 * pi / z * (np.arange(z) + 0.5)
    down = middle[:, None] - angle[::-1] + gear.right_offset[:, None]
    up = middle[:, None] + angle + np.roll(gear.left_offset, -1)[:, None]
    floor = _arcs(down[:, -1], up[:, 0], radius[0], chord_error_mm)
    tip = _arcs(up[:, -1], np.roll(down[:, 0], -1), radius[-1], chord_error_mm)
    theta = np.concatenate([down, floor, up, tip], axis=1)
    floor_r, tip_r = np.full(floor.shape[1], radius[0]), np.full(tip.shape[1], radius[-1])
    r = np.concatenate([radius[::-1], floor_r, radius, tip_r])
    points = np.stack([r * np.cos(theta), r * np.sin(theta)], axis=-1).reshape(-1, 2)
    return np.asarray(points + gear.axis)


def _point_counts(gear: Gear, chord_error_mm: float) -> tuple[int, int]:
    """Points on involute and fillet that keep chords within the error.

    On an involute divided evenly in length of roll the chord error is greatest at the tip,
    ``rho step^2 / (8 r_b^2)``; on a fillet it is at most that of its rounding.
    """
    rho = sqrt(gear.tip_radius**2 - gear.base_radius**2)
    step = gear.base_radius * sqrt(8 * chord_error_mm / rho)
    rounding = max(gear.rack.fillet_radius * gear.module_mm, 1e-3)
    fillet_length = (gear.rack.dedendum + 0.5) * gear.module_mm
    # The fillet's points crowd towards the floor: the last step is twice the mean.
    fillet = 2 * fillet_length / sqrt(8 * chord_error_mm * rounding)
    return max(60, ceil(rho / step) + 2), max(40, ceil(fillet) + 2)


def _arcs(start: Floats, end: Floats, radius: float, chord_error_mm: float) -> Floats:
    """Angles strictly between starts and ends, going clockwise, for each of z arcs."""
    forward = np.mod(end - start + pi, 2 * pi) - pi
    step = sqrt(8 * chord_error_mm / radius)
    share = np.linspace(0, 1, ceil(float(np.abs(forward).max()) / step) + 3)[1:-1]
    return np.asarray(start[:, None] + share * forward[:, None])


def circle(centre: Floats, radius: float, chord_error_mm: float) -> Floats:
    """Circle as a polygon of the same area.

    Parameters
    ----------
    centre : ndarray, shape (2,)
        Centre, mm.
    radius : float
        Radius, mm.
    chord_error_mm : float
        Largest distance allowed between a chord and the circle, mm.

    Returns
    -------
    ndarray, shape (n, 2)
        Corners, mm, clockwise on the picture.
    """
    corners = max(64, ceil(2 * pi / sqrt(8 * chord_error_mm / radius)))
    step = 2 * pi / corners
    # Corners stand outside by so much that the polygon's area is the circle's.
    outside = radius * sqrt(step / np.sin(step))
    angle = step * np.arange(corners)
    return np.asarray(centre + outside * np.stack([np.cos(angle), np.sin(angle)], axis=1))


def flank_place(gear: CutGear, tooth: int, side: str, height: float) -> tuple[Floats, Floats]:
    """Point on a flank, and the direction out of the material there.

    Parameters
    ----------
    gear : CutGear
        The gear as cut.
    tooth : int
        Number on the picture.
    side : {'left', 'right'}
        Flank.
    height : float
        0 at the start of the involute, 1 at the tip.

    Returns
    -------
    point, normal : ndarray, shape (2,)
        Millimetres about the bore; unit vector.
    """
    start, end = gear.cut.form_radius, gear.cut.tip_radius
    radius = start + height * (end - start)
    which = ("left", "right").index(side)
    angle = gear.flank_angle(np.full(gear.design.teeth, radius))[which][tooth - 1]
    radial = np.array([np.cos(angle), np.sin(angle)])
    along = np.array([-radial[1], radial[0]]) * (1 if which else -1)
    # The normal touches the base circle, so it leans from the tangent by the pressure angle there.
    lean = gear.cut.base_radius / radius
    normal = along * lean + radial * sqrt(max(1 - lean**2, 0.0))
    return gear.axis + radius * radial, normal


def blemish(gear: CutGear, nick: Nick, proud: bool) -> shapely.Polygon:
    """Shape of a nick, or of a burr if it stands proud, as a rounded lens across the flank.

    Parameters
    ----------
    gear : CutGear
        The gear as cut.
    nick : Nick
        Where it is (scene's numbering) and how large.
    proud : bool
        True for material added, False for material taken.

    Returns
    -------
    shapely.Polygon
        Millimetres about the bore.
    """
    point, normal = flank_place(gear, gear.number(nick.tooth), nick.side, nick.height)
    along = np.array([-normal[1], normal[0]])
    depth, half = nick.depth_um / 1000, nick.width_um / 2000
    t = np.linspace(0, 2 * pi, 96, endpoint=False)
    reach = np.where(np.sin(t) > 0, depth, depth / 4) * np.sin(t) * (1 if proud else -1)
    return shapely.Polygon(point + half * np.cos(t)[:, None] * along + reach[:, None] * normal)


def body(gear: CutGear, spec: GearSpec, faults: Faults, chord_error_mm: float) -> shapely.Polygon:
    """Whole gear with bore, keyway, spokes, nicks and burrs.

    Parameters
    ----------
    gear : CutGear
        The gear as cut.
    spec, faults
        The drawing and its faults.
    chord_error_mm : float
        Largest chord error, mm.

    Returns
    -------
    shapely.Polygon
        Millimetres about the bore.
    """
    shape = shapely.Polygon(tooth_outline(gear, chord_error_mm))
    for nick in faults.nicks:
        shape = shape.difference(blemish(gear, nick, proud=False))
    for burr in faults.burrs:
        shape = shape.union(blemish(gear, burr, proud=True))
    holes = [*_bore(spec, chord_error_mm), *_windows(spec, gear, chord_error_mm)]
    for hole in holes:
        shape = shape.difference(hole)
    if not isinstance(shape, shapely.Polygon):
        raise UseError("the gear falls apart: its bore, spokes or nicks cut through it")
    return shape


def _bore(spec: GearSpec, chord_error_mm: float) -> list[shapely.Polygon]:
    if spec.bore_mm == 0:
        return []
    radius, half = spec.bore_mm / 2, spec.keyway_mm / 2
    bore = shapely.Polygon(circle(np.zeros(2), radius, chord_error_mm))
    return [bore.union(shapely.box(-half, -radius - half, half, 0)) if half else bore]


def _windows(spec: GearSpec, gear: CutGear, chord_error_mm: float) -> list[shapely.Polygon]:
    """Openings between the spokes, their corners rounded."""
    if spec.spokes == 0:
        return []
    rim = gear.design.root_radius - spec.rim_mm
    ring = shapely.Polygon(
        circle(np.zeros(2), rim, chord_error_mm),
        [circle(np.zeros(2), spec.hub_mm / 2, chord_error_mm)],
    )
    spoke = shapely.box(0, -spec.spoke_mm / 2, rim, spec.spoke_mm / 2)
    arms = [
        shapely.affinity.rotate(spoke, 360 * i / spec.spokes, origin=(0, 0))
        for i in range(spec.spokes)
    ]
    cut = shapely.difference(ring, shapely.union_all(arms))
    corner = 0.15 * (rim - spec.hub_mm / 2)
    rounded = cut.buffer(-corner, quad_segs=32).buffer(corner, quad_segs=32)
    return [part for part in shapely.get_parts(rounded) if part.area > 0]
