"""Outlines of faulty gears, cut by brute force: a rack rolled round a blank, position by position.

Nothing of the tool's own theory takes part, so that pictures of these gears check it from outside.
Millimetres; x to the right and y up, so that angles on a picture (y down) are minus those here.
"""

from dataclasses import dataclass
from math import acos, cos, pi, radians, sin, tan

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.affinity import rotate, translate

Floats = NDArray[np.float64]

ROLL_POSITIONS = 400
"""Positions of the rack for one gap. Flats between them stay some nanometres from the involute."""

ARC_SEGMENTS = 1024
"""Chords in a quarter of a circle: 6 nm of sagitta at 20 mm radius."""


@dataclass(frozen=True, kw_only=True)
class CutGear:
    """A gear as its maker cut it, with what went wrong.

    Attributes
    ----------
    teeth : int
    module_mm, pressure_angle_deg, profile_shift : float
    depth, corner : float
        Of the rack, in modules: reach below its reference line, radius of its corners.
    bore_mm : float
        Diameter.
    first_gap_deg : float
        Where the first gap lies, clockwise on the picture.
    gap_shift_um, gap_widening_um : tuple of float
        A gap each: along the reference circle, clockwise; how much wider it was cut.
    offset_um, offset_deg : float
        Of the axis of the teeth from the bore's.
    """

    teeth: int
    module_mm: float
    pressure_angle_deg: float
    profile_shift: float
    depth: float
    corner: float
    bore_mm: float
    first_gap_deg: float
    gap_shift_um: tuple[float, ...]
    gap_widening_um: tuple[float, ...]
    offset_um: float
    offset_deg: float

    @property
    def reference_radius_mm(self) -> float:
        """Half of module times teeth."""
        return self.teeth * self.module_mm / 2

    @property
    def tip_radius_mm(self) -> float:
        """Of the blank, which is turned about the bore."""
        return self.reference_radius_mm + (1 + self.profile_shift) * self.module_mm

    @property
    def floor_radius_mm(self) -> float:
        """Of the gaps' floors."""
        return self.reference_radius_mm + (self.profile_shift - self.depth) * self.module_mm

    @property
    def teeth_axis_mm(self) -> tuple[float, float]:
        """Axis of the teeth from the bore's."""
        angle = radians(self.offset_deg)
        return self.offset_um / 1000 * cos(angle), -self.offset_um / 1000 * sin(angle)


def rack_tooth(gear: CutGear) -> Polygon:
    """Tooth of the rack that cuts a gap at twelve o'clock, rounded corners down.

    Parameters
    ----------
    gear : CutGear

    Returns
    -------
    shapely.Polygon
        Its reference line is y = 0.
    """
    slope, high = tan(radians(gear.pressure_angle_deg)), 3.0
    half = pi / 4
    low = half - gear.depth * slope
    sharp = Polygon(
        [
            (-low, -gear.depth),
            (low, -gear.depth),
            (half + high * slope, high),
            (-half - high * slope, high),
        ]
    )
    rounded = sharp.buffer(-gear.corner).buffer(gear.corner, quad_segs=64)
    square_above = Polygon([(-9, 0), (9, 0), (9, high), (-9, high)]).intersection(sharp)
    return shapely.affinity.scale(
        rounded.union(square_above), gear.module_mm, gear.module_mm, origin=(0, 0)
    )


def gap(gear: CutGear) -> Polygon:
    """What the rolling rack sweeps at twelve o'clock, about the axis of the teeth.

    Parameters
    ----------
    gear : CutGear

    Returns
    -------
    shapely.Polygon
    """
    radius = gear.reference_radius_mm
    tooth = rack_tooth(gear)
    reach = acos(gear.floor_radius_mm / gear.tip_radius_mm) + 0.05
    away = radius + gear.profile_shift * gear.module_mm
    swept = [
        rotate(translate(tooth, radius * roll, away), roll, origin=(0, 0), use_radians=True)
        for roll in np.linspace(-reach, reach, ROLL_POSITIONS)
    ]
    whole: Polygon = shapely.union_all(swept)
    return whole


def outline(gear: CutGear) -> Polygon:
    """Cut every gap where the maker put it.

    Parameters
    ----------
    gear : CutGear

    Returns
    -------
    shapely.Polygon
        Of the toothed body about the bore's centre, without the bore.
    """
    blank = shapely.Point(0, 0).buffer(gear.tip_radius_mm, quad_segs=ARC_SEGMENTS)
    one, per_um = gap(gear), 1e-3 / gear.reference_radius_mm
    gaps = []
    for k, (shift, wide) in enumerate(zip(gear.gap_shift_um, gear.gap_widening_um, strict=True)):
        clockwise = radians(gear.first_gap_deg + 90) + 2 * pi * k / gear.teeth + shift * per_um
        for side in (-wide / 2, wide / 2):
            turned = rotate(one, -clockwise - side * per_um, origin=(0, 0), use_radians=True)
            gaps.append(translate(turned, *gear.teeth_axis_mm))
    body: Polygon = blank.difference(shapely.union_all(gaps))
    return shapely.orient_polygons(body)


def bore_of(gear: CutGear) -> Polygon:
    """The bore's circle.

    Parameters
    ----------
    gear : CutGear

    Returns
    -------
    shapely.Polygon
    """
    return shapely.Point(0, 0).buffer(gear.bore_mm / 2, quad_segs=ARC_SEGMENTS // 4)


@dataclass(frozen=True)
class Flanks:
    """Where flanks cross the reference circle about one centre.

    Attributes
    ----------
    left_deg, right_deg : ndarray, shape (z,)
        Polar angles, clockwise on the picture, ascending.
    left_mm, right_mm : ndarray, shape (z, 2)
        The points.
    """

    left_deg: Floats
    right_deg: Floats
    left_mm: Floats
    right_mm: Floats


def flanks_about(body: Polygon, centre: tuple[float, float], radius: float) -> Flanks:
    """Follow the outline and note where it crosses a circle.

    Parameters
    ----------
    body : shapely.Polygon
    centre : tuple of float
    radius : float

    Returns
    -------
    Flanks
    """
    ring = np.array(body.exterior.coords)
    ring = ring[::-1] if body.exterior.is_ccw else ring
    away = np.hypot(*(ring - centre).T) - radius
    at = np.flatnonzero(np.sign(away[:-1]) != np.sign(away[1:]))
    share = (away[at] / (away[at] - away[at + 1]))[:, None]
    points = ring[at] + share * (ring[at + 1] - ring[at])
    outward = away[at] < 0
    left, right = _by_angle(points[outward], centre), _by_angle(points[~outward], centre)
    return Flanks(left[0], right[0], left[1], right[1])


def _by_angle(points: Floats, centre: tuple[float, float]) -> tuple[Floats, Floats]:
    angle = np.degrees(np.arctan2(centre[1] - points[:, 1], points[:, 0] - centre[0])) % 360
    order = np.argsort(angle)
    return angle[order], points[order]


def thickness_mm(flanks: Flanks, radius: float) -> float:
    """Mean arc of the teeth.

    Parameters
    ----------
    flanks : Flanks
    radius : float

    Returns
    -------
    float
    """
    arcs = [np.min((flanks.right_deg - left) % 360) for left in flanks.left_deg]
    return float(np.radians(np.mean(arcs)) * radius)
