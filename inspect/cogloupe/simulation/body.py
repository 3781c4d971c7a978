"""Outline of the gear as cut, with bore, spokes, nicks and burrs.

Gear frame: millimetres about the bore's axis, x right and y down on the picture.
"""

from dataclasses import replace
from math import ceil, pi, sqrt

import numpy as np
import shapely
import shapely.affinity

from cogloupe.forms.clock_wheel import CycloidalWheel
from cogloupe.forms.rack import Gear
from cogloupe.forms.straight import StraightWheel
from cogloupe.forms.tooth_form import Wheel
from cogloupe.numerics.angles import wrapped
from cogloupe.simulation.cutting import CutGear, flank_place
from cogloupe.simulation.scene import Faults, GearSpec, Nick
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import UseError


def tooth_outline(gear: CutGear, chord_error_mm: float) -> Floats:
    """Closed outline (n, 2) of the teeth, mm about the bore, clockwise on the picture.

    Chords stray from the true curve by the chord error, mm, at most.
    """
    off_centre = float(np.hypot(*(gear.axis - gear.tip_axis)))
    tip = gear.made.tip_radius
    whole = _generated_outline(
        replace(gear, made=_tipped(gear.made, tip + off_centre)), chord_error_mm
    )
    if off_centre == 0:
        return whole
    blank = shapely.Polygon(circle(gear.tip_axis, tip, chord_error_mm))
    turned = shapely.intersection(shapely.Polygon(whole), blank)
    return np.asarray(shapely.get_coordinates(turned.exterior)[:-1])


def _tipped(wheel: Wheel, radius: float) -> Wheel:
    """The same wheel with other tips."""
    if isinstance(wheel, Gear):
        return replace(wheel, tip_radius_mm=radius)
    assert isinstance(wheel, CycloidalWheel | StraightWheel)
    return replace(wheel, tip_radius=radius)


def floor_corners(gear: CutGear) -> tuple[Floats, Floats]:
    """Where each gap's two fillets end.

    Returns
    -------
    radius : ndarray, shape (z,)
        Radius of the floor about the teeth's axis, mm.
    inset : ndarray, shape (2, z)
        By how much (rad) both fillets are cut short, that of the following tooth's left flank
        first. A gap that came out narrower than the cutter's tip has no floor: its fillets meet
        in a corner above the root circle.
    """
    radius, both = gear.made.half_gaps(60, 2000)
    narrow = (gear.right_offset - np.roll(gear.left_offset, -1)) / 2
    if not isinstance(gear.made, Gear):
        if np.any(2 * narrow >= both[:, 0].sum()):
            raise UseError("a gap closes at its floor: make the faults smaller")
        return np.full(narrow.shape, radius[0]), np.repeat(both[:, :1], narrow.size, axis=1)
    angle = both[0]
    # Up to its widest point the fillet runs outwards from the middle of the gap.
    rising = 1 + int(np.argmin(np.diff(angle, append=-np.inf) > 0))
    met = np.interp(narrow, angle[:rising], radius[:rising])
    inset = np.maximum(narrow, angle[0])
    return np.asarray(met), np.stack([inset, inset])


def _generated_outline(gear: CutGear, chord_error_mm: float) -> Floats:
    """Outline with tips concentric with the teeth."""
    radius, angle = gear.made.half_gaps(*_point_counts(gear.made, chord_error_mm))
    z = gear.made.teeth
    middle = gear.first_centre + 2 * pi / z * (np.arange(z) + 0.5)
    lowest, inset = floor_corners(gear)
    short = radius < lowest[:, None]
    radii = np.where(short, lowest[:, None], radius)
    left, right = np.where(short, inset[:, :, None], angle[:, None])
    down = middle[:, None] - right[:, ::-1] + gear.right_offset[:, None]
    up = middle[:, None] + left + np.roll(gear.left_offset, -1)[:, None]
    floor = _arcs(down[:, -1], up[:, 0], radius[0], chord_error_mm)
    tip = _arcs(up[:, -1], np.roll(down[:, 0], -1), radius[-1], chord_error_mm)
    theta = np.concatenate([down, floor, up, tip], axis=1)
    floor_r = np.broadcast_to(lowest[:, None], floor.shape)
    r = np.concatenate([radii[:, ::-1], floor_r, radii, np.full(tip.shape, radius[-1])], axis=1)
    points = np.stack([r * np.cos(theta), r * np.sin(theta)], axis=-1).reshape(-1, 2)
    return np.asarray(points + gear.axis)


def _point_counts(gear: Wheel, chord_error_mm: float) -> tuple[int, int]:
    """Points on flank and fillet that keep chords within the error.

    On an involute divided evenly in length of roll the chord error is greatest at the tip,
    ``rho step^2 / (8 r_b^2)``; on a fillet it is at most that of its rounding.
    """
    if not isinstance(gear, Gear):  # nowhere sharper than a twentieth of a module but at corners
        step = sqrt(8 * chord_error_mm * gear.module_mm / 20)
        return ceil(2 * (gear.tip_radius - gear.root_radius) / step) + 2, 60
    rho = sqrt(gear.tip_radius**2 - gear.base_radius**2)
    step = gear.base_radius * sqrt(8 * chord_error_mm / rho)
    rounding = max(gear.rack.fillet_radius * gear.module_mm, 1e-3)
    fillet_length = (gear.rack.dedendum + 0.5) * gear.module_mm
    # The fillet's points crowd towards the floor: the last step is twice the mean.
    fillet = 2 * fillet_length / sqrt(8 * chord_error_mm * rounding)
    return max(60, ceil(rho / step) + 2), max(40, ceil(fillet) + 2)


def _arcs(start: Floats, end: Floats, radius: float, chord_error_mm: float) -> Floats:
    """Angles strictly between starts and ends, going clockwise, for each of z arcs."""
    forward = wrapped(end - start)
    step = sqrt(8 * chord_error_mm / radius)
    share = np.linspace(0, 1, ceil(float(np.abs(forward).max()) / step) + 3)[1:-1]
    return np.asarray(start[:, None] + share * forward[:, None])


def circle(centre: Floats, radius: float, chord_error_mm: float) -> Floats:
    """Circle as a polygon of the same area: corners (n, 2), mm, clockwise on the picture.

    No chord lies further from the circle than the chord error.
    """
    corners = max(64, ceil(2 * pi / sqrt(8 * chord_error_mm / radius)))
    step = 2 * pi / corners
    # Corners stand outside by so much that the polygon's area is the circle's.
    outside = radius * sqrt(step / np.sin(step))
    angle = step * np.arange(corners)
    return np.asarray(centre + outside * np.stack([np.cos(angle), np.sin(angle)], axis=1))


def blemish(gear: CutGear, nick: Nick, proud: bool) -> shapely.Polygon:
    """Shape of a nick, or of a burr if it stands proud, as a rounded lens across the flank.

    Millimetres about the bore.
    """
    point, normal = flank_place(gear, gear.number(nick.tooth), nick.side, nick.height)
    along = np.array([-normal[1], normal[0]])
    depth, half = nick.depth_um / 1000, nick.width_um / 2000
    t = np.linspace(0, 2 * pi, 96, endpoint=False)
    reach = np.where(np.sin(t) > 0, depth, depth / 4) * np.sin(t) * (1 if proud else -1)
    return shapely.Polygon(point + half * np.cos(t)[:, None] * along + reach[:, None] * normal)


def body(
    gear: CutGear,
    spec: GearSpec,
    faults: Faults,
    chord_error_mm: float,
    outline: Floats | None = None,
) -> shapely.Polygon:
    """Whole gear with bore, keyway, spokes, nicks and burrs, mm about the bore.

    Its teeth have the outline (n, 2) that is given, or the one drawn from `gear`.
    """
    shape = shapely.Polygon(tooth_outline(gear, chord_error_mm) if outline is None else outline)
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
    rim = gear.wheel.root_radius - spec.rim_mm
    if rim <= spec.hub_mm / 2:
        raise UseError("rim and hub leave no room for spokes: make rim_mm or hub_mm smaller")
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
