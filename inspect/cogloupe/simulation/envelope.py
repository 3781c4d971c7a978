"""Which of many cuts of a rack tooth leave a mark on a gap.

Hundreds of cuts fall into each gap and a few dozen shape it. On circles about the work's axis a
cut takes the stretch between its two flanks; on rays from the axis it takes everything from where
the ray enters it. A cut that is nowhere the outermost on a circle nor the lowest on a ray touches
only what others have taken, but for slivers between two circles or rays; those lie on the ridges
where facets meet, so the ridges found are tried against all cuts again.

Positions are relative to the gap's nominal middle: `turn` is the angle (rad) of the normal to the
cutter's pitch line, `along` (mm) where its tooth's middle stands along that line, `height` (mm)
how far the tooth's tip stays from the work's axis.
"""

from math import cos, tan

import numpy as np

from cogloupe.simulation.cutter import RackTooth
from cogloupe_calibration.arrays import Floats, Ints

# Cuts that agree to this many mm or rad are one cut.
SAME = 1e-7


def marking_cuts(
    tooth: RackTooth, cuts: tuple[Floats, Floats, Floats], radii: Floats, rays: Floats
) -> Ints:
    """Indices of the cuts that shape a gap; sorted, each once; of cuts that agree the first.

    `cuts` are their turn, along and height, (n,) each; circles (mm) and rays (rad from the gap's
    nominal middle) are those to try.
    """
    turn, along, height = cuts
    if len(turn) == 0:
        return np.zeros(0, dtype=np.int64)
    clockwise = outer_angle(tooth, turn, along, height, radii)
    back = outer_angle(tooth, -turn, -along, height, radii)
    entry = entry_radius(tooth, turn, along, height, rays)
    best = [_first_highest(values) for values in (clockwise, back, -entry)]
    return np.unique(np.concatenate(best))


def _first_highest(values: Floats) -> Ints:
    """Row of the highest value in each column, the first of those that agree."""
    rounded = np.rint(values / SAME)
    best = np.argmax(rounded, axis=0)
    return np.asarray(best[np.isfinite(rounded[best, np.arange(values.shape[1])])])


def outer_angle(
    tooth: RackTooth, turn: Floats, along: Floats, height: Floats, radii: Floats
) -> Floats:
    """Angle up to which each of n cuts takes each of m circles (mm), on the clockwise side.

    Radians, (n, m); -inf where neither flank nor rounding meets the circle.
    """
    a = tooth.angle
    # A point r at angle p from the normal lies on the flank where r sin(p - a) is this distance.
    distance = (along + tooth.half_tip - height * tan(a)) * cos(a)
    ratio = distance[:, None] / radii
    angle = a + np.arcsin(np.clip(ratio, -1, 1))
    below = radii * np.cos(angle) < (height + tooth.flank_start)[:, None]
    angle[np.abs(ratio) > 1] = -np.inf
    row, column = np.nonzero(below)
    angle[row, column] = _corner_angle(tooth, along[row], height[row], radii[column])
    return np.asarray(angle + turn[:, None])


def _corner_angle(tooth: RackTooth, along: Floats, height: Floats, radius: Floats) -> Floats:
    """Where circles meet the clockwise rounding; -inf where they do not."""
    x, y = along + tooth.corner, height + tooth.rounding
    far = np.hypot(x, y)
    cosine = (radius**2 + far**2 - tooth.rounding**2) / (2 * radius * far)
    angle = np.arctan2(x, y) + np.arccos(np.clip(cosine, -1, 1))
    on_arc = (radius * np.sin(angle) >= x - SAME) & (
        radius * np.cos(angle) <= height + tooth.flank_start + SAME
    )
    return np.where(on_arc & (np.abs(cosine) <= 1), angle, -np.inf)


def entry_radius(
    tooth: RackTooth, turn: Floats, along: Floats, height: Floats, rays: Floats
) -> Floats:
    """Radius at which each of q rays (rad) from the axis enters each of n cuts.

    Millimetres, (n, q); +inf where the ray misses the cut.
    """
    angle = rays - turn[:, None]
    sine, cosine = np.sin(angle), np.cos(angle)
    along, height = along[:, None], height[:, None]
    flat = height / cosine
    on_flat = np.abs(flat * sine - along) <= tooth.corner + SAME
    entry = np.where(on_flat, flat, np.inf)
    for sign in (1.0, -1.0):
        side = _side_entry(tooth, sign * along, height, sign * sine, cosine)
        np.minimum(entry, side, out=entry)
    return np.asarray(np.where(cosine > 0, entry, np.inf))


def _side_entry(
    tooth: RackTooth, along: Floats, height: Floats, sine: Floats, cosine: Floats
) -> Floats:
    """Entry through the flank or rounding on one side of the tooth."""
    a = tooth.angle
    top = height + tooth.flank_start
    distance = (along + tooth.half_tip - height * tan(a)) * cos(a)
    across = sine * cos(a) - cosine * np.sin(a)
    flank = distance / np.where(across < 0, across, np.nan)
    found = np.where(flank * cosine >= top - SAME, flank, np.inf)
    x, y = along + tooth.corner, height + tooth.rounding
    nearest = x * sine + y * cosine
    root = nearest**2 - (x**2 + y**2 - tooth.rounding**2)
    corner = nearest - np.sqrt(np.maximum(root, 0))
    on_arc = (root >= 0) & (corner * sine >= x - SAME) & (corner * cosine <= top + SAME)
    return np.where(on_arc, np.minimum(found, corner), found)


def ridge_cuts(tooth: RackTooth, cuts: tuple[Floats, Floats, Floats], points: Floats) -> Ints:
    """Indices of the cuts that reach deepest over points thought to be left standing.

    Sorted, each once; empty where no cut takes any of the points.

    `cuts` are as above; points (q, 2) lie along the tangent and outwards at the gap's nominal
    middle, mm from the work's axis.
    """
    if len(points) == 0:
        return np.zeros(0, dtype=np.int64)
    deep = np.rint(depth_inside(tooth, cuts, points) / SAME)
    best = np.argmax(deep, axis=0)
    return np.unique(best[deep[best, np.arange(len(points))] > 1])


def depth_inside(tooth: RackTooth, cuts: tuple[Floats, Floats, Floats], points: Floats) -> Floats:
    """How deep each of q points lies inside each of n cuts, as for `ridge_cuts`.

    Millimetres, (n, q); negative outside.
    """
    turn, along, height = (part[:, None] for part in cuts)
    sine, cosine = np.sin(turn), np.cos(turn)
    x = np.abs(points[:, 0] * cosine - points[:, 1] * sine - along)
    y = points[:, 0] * sine + points[:, 1] * cosine - height
    flank = (tooth.half_tip + y * tan(tooth.angle) - x) * cos(tooth.angle)
    across, up = x - tooth.corner, y - tooth.rounding
    in_corner = (across > 0) & (up < -across * tan(tooth.angle))
    corner = tooth.rounding - np.hypot(across, up)
    return np.where(in_corner, corner, np.minimum(y, flank))
