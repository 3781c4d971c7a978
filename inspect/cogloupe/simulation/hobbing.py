"""The generating model: what is left of the blank after every cut of the process.

Where the drive errs, cuts fall elsewhere (`placing`); how the teeth then look comes from the union
of the cuts alone.

Gear frame: millimetres about the work's axis of rotation, x right and y down on the picture.

Assumed: the edges of the hob are sharp and cut what they reach; a tooth of the hob crosses the
face square to it (the lead angle of the thread is small and set out on the machine); the roots of
the hob's teeth never rub on the blank.
"""

from dataclasses import dataclass
from math import ceil, cos, pi, sin, sqrt

import numpy as np
import shapely
from numpy.typing import NDArray

from cogloupe.forms.rack import Gear
from cogloupe.simulation.coverage import signed_area
from cogloupe.simulation.cutter import RackTooth, as_ground, form_polygon, hob_tooth, tooth_polygon
from cogloupe.simulation.envelope import marking_cuts, ridge_cuts
from cogloupe.simulation.placing import Cuts, form_cuts, hob_cuts
from cogloupe.simulation.process import Process
from cogloupe_calibration.arrays import Floats, Ints
from cogloupe_calibration.errors import UseError

# Largest distance between a chord of a cutter's rounding, or of the blank, and the arc, mm.
CHORD_ERROR_MM = 2e-5
# Circles and rays on which the cuts of a gap are compared.
CIRCLES, RAYS = 64, 96


@dataclass(frozen=True)
class Blank:
    """The turned blank: radius, mm, and its axis, mm from the work's axis of rotation."""

    radius: float
    axis: Floats


@dataclass(frozen=True)
class Generated:
    """What the process left.

    `outline` (n, 2): corners, mm about the work's axis of rotation, clockwise on the picture;
    `gap_middle` (z,): polar angle of each gap's centre of area, rad.
    """

    outline: Floats
    gap_middle: Floats


def generate(
    gear: Gear, process: Process, blank: Blank, first_gap: float, rng: np.random.Generator
) -> Generated:
    """Cut a gear, beginning with the gap whose middle lies at a polar angle, rad.

    Raises
    ------
    UseError
        Where the passes or the cutter cannot be, or nothing but chips is left.
    """
    cut = _hobbed if process.kind == "hob" else _form_cut
    middles = np.asarray(first_gap + 2 * pi / gear.teeth * np.arange(gear.teeth), np.float64)
    gaps = cut(gear, process, blank, middles, rng)
    disc = shapely.Polygon(_disc(blank))
    gaps = shapely.intersection(gaps, disc)
    centres = shapely.get_coordinates(shapely.centroid(gaps))
    if len(centres) < gear.teeth:
        raise UseError("not every gap was cut: give more turns, or deeper passes")
    left = shapely.get_parts(shapely.difference(disc, shapely.union_all(gaps)))
    if len(left) == 0:
        raise UseError("nothing is left of the blank: make the faults smaller")
    # What is cut loose falls away.
    whole = max(left, key=lambda part: part.area)
    outline = shapely.get_coordinates(whole.exterior)[:-1]
    if signed_area(outline) < 0:
        outline = outline[::-1]
    return Generated(outline, np.arctan2(centres[:, 1], centres[:, 0]))


def _disc(blank: Blank) -> Floats:
    corners = ceil(2 * pi / sqrt(8 * CHORD_ERROR_MM / blank.radius))
    turn = 2 * pi * np.arange(corners) / corners
    return blank.axis + blank.radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)


def _hobbed(
    gear: Gear, process: Process, blank: Blank, middles: Floats, rng: np.random.Generator
) -> NDArray[np.object_]:
    """Shape of every gap that a hob cuts."""
    rack = as_ground(gear.rack, process.cutter_angle_error_deg)
    tooth = hob_tooth(rack, gear.module_mm)
    cuts = hob_cuts(gear, process, blank.radius, rng)
    order = np.argsort(cuts.gap, kind="stable")
    edges = np.searchsorted(cuts.gap[order], np.arange(gear.teeth + 1))
    reach = blank.radius + float(np.hypot(*blank.axis))
    lowest = float(cuts.height.min(initial=reach))
    profile = tooth_polygon(tooth, 1.05 * (reach - lowest) + 0.01, CHORD_ERROR_MM)
    radii = np.linspace(lowest, reach, CIRCLES + 1)[1:]
    shapes = []
    for gap, middle in enumerate(middles):
        mine = cuts.take(order[edges[gap] : edges[gap + 1]])
        marking = marking_cuts(tooth, mine.places, radii, _rays(mine, pi / gear.teeth))
        shapes.append(_gap_shape(tooth, profile, mine, marking, middle, reach))
    return np.array(shapes)


def _gap_shape(
    tooth: RackTooth, profile: Floats, cuts: Cuts, marking: Ints, middle: float, reach: float
) -> shapely.Geometry:
    """Union of a gap's cuts, from those that are known to mark it."""
    for _ in range(3):
        shape = shapely.union_all(_placed(profile, cuts.take(marking), middle))
        x, y = _ridges(shape, reach).T
        points = np.stack([y * cos(middle) - x * sin(middle), x * cos(middle) + y * sin(middle)])
        more = np.setdiff1d(ridge_cuts(tooth, cuts.places, points.T), marking)
        if len(more) == 0:
            break
        marking = np.union1d(marking, more)
    return shape


def _ridges(shape: shapely.Geometry, reach: float) -> Floats:
    """Corners of a gap that stand out into it, inside the blank."""
    found = [np.zeros((0, 2))]
    for part in shapely.get_parts(shapely.normalize(shape)):
        ring = shapely.get_coordinates(part.exterior)[:-1]
        before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
        bend = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
        # A normalised ring is clockwise in the mathematical sense, so ridges bend the other way.
        found.append(ring[(bend > 0) & (np.hypot(*ring.T) < reach)])
    return np.concatenate(found)


def _rays(cuts: Cuts, half_pitch: float) -> Floats:
    """Rays across all of a gap, wherever its cuts were displaced to."""
    if len(cuts.turn) == 0:
        return np.zeros(0)
    middle = cuts.turn + np.arctan2(cuts.along, cuts.height)
    low, high = middle.min() - half_pitch, middle.max() + half_pitch
    return np.linspace(low, high, ceil(RAYS * (high - low) / (2 * half_pitch)))


def _placed(profile: Floats, cuts: Cuts, middle: float) -> NDArray[np.object_]:
    """Polygons of the cutter in its places."""
    along = profile[:, 0] + cuts.along[:, None]
    height = profile[:, 1] + cuts.height[:, None]
    turn = (middle + cuts.turn)[:, None]
    x = height * np.cos(turn) - along * np.sin(turn)
    y = height * np.sin(turn) + along * np.cos(turn)
    return np.asarray(shapely.polygons(np.stack([x, y], axis=-1)))


def _form_cut(
    gear: Gear, process: Process, blank: Blank, middles: Floats, rng: np.random.Generator
) -> NDArray[np.object_]:
    """Shape of every gap that a form cutter cuts."""
    made_for = Gear(process.cutter_teeth or gear.teeth, gear.module_mm, gear.rack)
    reach = blank.radius + float(np.hypot(*blank.axis))
    cuts = form_cuts(gear, process, blank.radius, rng)
    profile = form_polygon(made_for, 1.05 * (reach - float(cuts.height.min())) + 0.01)
    return np.array(
        [
            shapely.union_all(_placed(profile, cuts.take(np.flatnonzero(cuts.gap == gap)), middle))
            for gap, middle in enumerate(middles)
        ]
    )
