"""Tell whether an outline is a gear's: teeth that repeat round a circle through their tips."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import pi
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe.numerics.angles import polar, wrapped
from cogloupe.numerics.circles import Circle, robust_circle
from cogloupe_calibration.arrays import Bools, Floats, Ints

FEWEST_TEETH, MOST_TEETH = 5, 480
SMALLEST_GEAR = 50
"""Extent of an outline, in pixels of the reduced picture, beneath which it is not looked at: blots
of few pixels look like pinions."""
LEAST_SHARE = 0.40
"""Share of the seen turn that evenly spaced teeth must take before it is called a gear."""
NEARLY_WHOLE = 0.9
"""Share of the turn in sight from which teeth are counted step by step too."""
SMALLEST_HOLE, MOST_HOLES = 0.05, 40
"""Length of a hole's border, in tip radii, under which it is a mark; and how many are kept."""
EVEN_PITCH, EVEN_TIP, READS_WITHIN_PX = 0.08, 0.15, 1.0
"""A tooth is as all the others where its flanks lie within this share of a pitch of where its
neighbours and its width put them, and its tip within this share of the depth of the tip circle; the
outline itself is read to this many px."""


@dataclass(frozen=True, kw_only=True)
class GearOutline:
    """An outer contour looked at as a gear, in px of the reduced picture.

    Attributes
    ----------
    circle : Circle
        Through the tips.
    rivals : tuple of int
        What counting step by step gives, where that is another number.
    share : float
        Share (0 to 1) of the seen turn that evenly spaced teeth take.
    cut_off : bool
        It reaches the picture's border.
    follows : float
        Share (0 to 1) of the teeth in sight that stand evenly and are all of one size.
    contour : ndarray, shape (n, 2)
        Its pixels, in order.
    holes : tuple of ndarray, shape (m, 2)
        Border pixels of the larger holes in it, in order, largest first.
    """

    circle: Circle
    root_radius: float
    teeth: int
    rivals: tuple[int, ...] = ()
    share: float
    cut_off: bool
    follows: float
    contour: NDArray[Any]
    holes: tuple[NDArray[Any], ...]


def gear_outlines(mask: Bools) -> Iterator[GearOutline]:
    """Look for gears among the largest outlines of what is material.

    Parameters
    ----------
    mask : ndarray, shape (h, w), bool
    """
    contours, tree = cv2.findContours(mask.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    outer = [i for i in range(len(contours)) if tree[0, i, 3] < 0]
    for i in sorted(outer, key=lambda i: len(contours[i]), reverse=True)[:6]:
        if len(contours[i]) >= 60:
            outline = _as_gear(contours[i][:, 0, :], mask.shape)
            if outline is not None:
                inner = np.flatnonzero(tree[0, :, 3] == i)
                yield replace(outline, holes=_larger_holes(contours, inner, outline.circle.radius))


def _larger_holes(
    contours: Sequence[NDArray[Any]], inner: Ints, tip_radius: float
) -> tuple[NDArray[Any], ...]:
    """The holes of a gear that are more than marks, largest first."""
    smallest = max(SMALLEST_HOLE * tip_radius, 12)
    holes = [contours[i][:, 0, :] for i in inner if len(contours[i]) > smallest]
    return tuple(sorted(holes, key=len, reverse=True)[:MOST_HOLES])


def _as_gear(contour: NDArray[Any], shape: tuple[int, ...]) -> GearOutline | None:
    """Look at an outline as a gear: teeth that repeat round a circle through their tips."""
    height, width = shape
    x, y = contour.T
    inside = (x > 1) & (y > 1) & (x < width - 2) & (y < height - 2)
    seen = contour[inside].astype(np.float64)
    hull = cv2.convexHull(contour[inside])[:, 0, :].astype(np.float64) if len(seen) else seen
    extent = float(np.ptp(seen, axis=0).max()) if len(seen) else 0.0
    if extent < SMALLEST_GEAR:
        return None
    circle = robust_circle(hull, max(0.008 * extent, 1.2))
    if circle is None or not 0.3 < circle.radius / extent < 20:
        return None
    if not _material_inside(contour, inside, circle):
        return None
    (teeth, counted), share, root = tooth_rhythm(seen, circle)
    depth = (circle.radius - root) / circle.radius
    if teeth < FEWEST_TEETH or share < LEAST_SHARE or depth < 0.4 * 4.5 / (teeth + 2):
        return None
    return GearOutline(
        circle=circle,
        root_radius=root,
        teeth=teeth,
        rivals=() if counted == teeth else (counted,),
        share=share,
        cut_off=bool(not inside.all()),
        follows=evenness(seen, circle, root, teeth),
        contour=contour,
        holes=(),
    )


def _material_inside(contour: NDArray[Any], inside: Bools, circle: Circle) -> bool:
    """Tell whether the outline goes round the circle the way it goes round its own material.

    On an arc the ground between the teeth looks like a gear itself, seen from the other side.
    """
    dx, dy = contour[:, 0] - circle.x, contour[:, 1] - circle.y
    angle = np.arctan2(dy, dx)
    step = wrapped(np.diff(angle, append=angle[0]))
    # A bore that the frame cuts open belongs to the same outline, and runs the other way.
    counts = inside & (np.hypot(dx, dy) > 0.5 * circle.radius)
    both = counts & np.roll(counts, -1)
    return float(step[both].sum()) * cv2.contourArea(contour, oriented=True) > 0


def tooth_rhythm(xy: Floats, circle: Circle) -> tuple[tuple[int, int], float, float]:
    """Count what repeats round an outline.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Outline points.
    circle : Circle
        Circle through the tips.

    Returns
    -------
    teeth : (int, int)
        Strongest count per turn, from the Fourier series of the radius against angle, and the count
        from step to step, where nearly all of a turn is in sight; 0 if none.
    share : float
        Share (0 to 1) of the seen turn, in whole pitches, that is taken by evenly spaced teeth.
    root_radius : float
        Radius of the floors, in the points' unit.

    Notes
    -----
    The pitch is the median of the angles between risings through mid-height, which stands
    against hidden teeth and things that touch the gear; the Fourier series of the radius then
    settles the count, since a whole turn must hold a whole number of teeth.
    """
    dx, dy = xy[:, 0] - circle.x, xy[:, 1] - circle.y
    radius, angle = np.hypot(dx, dy), np.arctan2(dy, dx)
    near = (radius > 0.4 * circle.radius) & (radius < 1.06 * circle.radius)
    if near.sum() < 40:
        return (0, 0), 0.0, 0.0
    grid, profile, seen = _radius_by_angle(radius[near], angle[near])
    root, tip = np.percentile(profile[seen], [8, 92])
    pitches = _pitches(profile - (root + tip) / 2, grid)
    if len(pitches) < 4:
        return (0, 0), 0.0, 0.0
    pitch = float(np.median(pitches))
    even = pitches[np.abs(pitches / pitch - 1) < 0.3]
    whole = bool(seen.mean() > NEARLY_WHOLE)
    # An arc begins and ends amid a pitch: on average it shows one less than it is long.
    turn = seen.mean() * 2 * pi - (0.0 if whole else pitch)
    share = float(even.sum() / turn)
    wave = np.where(seen, np.clip(profile, root, tip) - (root + tip) / 2, 0.0)
    power = np.abs(np.fft.rfft(wave)) ** 2
    low, high = int(2 * pi / pitch * 0.85), int(2 * pi / pitch * 1.15) + 1
    if high > MOST_TEETH or len(even) < 4:
        return (0, 0), 0.0, 0.0
    teeth = low + int(np.argmax(power[low : high + 1]))
    steps = int(np.maximum(np.round(pitches / pitch), 1).sum())
    return (teeth, steps if whole else teeth), min(share, 1.0), float(root)


def _radius_by_angle(radius: Floats, angle: Floats) -> tuple[Floats, Floats, Bools]:
    """Outermost radius in bins of angle a little over a pixel wide, and which bins are seen."""
    bins = int(np.clip(2 * pi * radius.max() / 1.3, 64, 8192))
    bin_of = np.minimum(((angle + pi) / (2 * pi) * bins).astype(int), bins - 1)
    outermost = np.zeros(bins)
    np.maximum.at(outermost, bin_of, radius)
    grid = (np.arange(bins) + 0.5) / bins * 2 * pi - pi
    filled = outermost > 0
    profile = np.interp(grid, grid[filled], outermost[filled], period=2 * pi)
    # A bin counts as seen where an outline point lies within about 2 % of a turn of it.
    reach = max(3, bins // 64)
    near = np.convolve(np.concatenate([filled, filled, filled]), np.ones(reach), "same")
    return grid, profile, near[bins : 2 * bins] > 0


def _pitches(height: Floats, grid: Floats) -> Floats:
    """Angles between successive risings through zero, round the turn; slivers are passed over."""
    above = height > 0
    rises = grid[np.flatnonzero(above & ~np.roll(above, 1))]
    if len(rises) < 4:
        return np.empty(0)
    pitches = np.diff(rises, append=rises[0] + 2 * pi)
    return np.asarray(pitches[pitches > 0.25 * np.median(pitches)])


def evenness(xy: Floats, circle: Circle, root_radius: float, teeth: int) -> float:
    """Share of the teeth in sight that stand evenly and are all of one size; 0 to 1.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Outline points.
    circle : Circle
        Circle through the tips.
    teeth : int
        Number of them on the whole gear; 0 gives 0.

    Notes
    -----
    A shadow that a mask takes for the gear makes teeth wider on one side of it, or fills gaps; an
    ill cut gear has uneven teeth too, but the steps between neighbours stay small.
    """
    radius, angle = polar(xy, circle.centre)
    near = (radius > 0.4 * circle.radius) & (radius < 1.06 * circle.radius)
    if teeth == 0 or near.sum() < 40:
        return 0.0
    grid, profile, seen = _radius_by_angle(radius[near], angle[near])
    mid, depth = (circle.radius + root_radius) / 2, circle.radius - root_radius
    start, end = _mid_crossings(profile - mid, grid)
    if len(start) < 4:
        return 0.0
    pitch = 2 * pi / teeth
    width = end - start
    most = EVEN_PITCH * pitch + READS_WITHIN_PX / mid
    even = np.abs(width - np.median(width)) < most
    for side in (start, end):
        step = np.diff(side, append=side[0] + 2 * pi)
        even &= np.minimum(np.abs(step - pitch), np.abs(np.roll(step, 1) - pitch)) < most
    top = np.array([_highest(profile, grid, *tooth) for tooth in zip(start, end, strict=True)])
    even &= np.abs(top - circle.radius) < EVEN_TIP * depth + READS_WITHIN_PX
    # Where the outline ends at the frame, the last tooth on either side is not whole.
    ends = np.count_nonzero(seen != np.roll(seen, 1))
    return min(float(even.sum() / max(teeth * seen.mean() - ends, 1.0)), 1.0)


def _mid_crossings(height: Floats, grid: Floats) -> tuple[Floats, Floats]:
    """Angles where teeth rise and fall through zero, interpolated; each fall after its rise."""
    above = height > 0
    both = []
    for up in (True, False):
        at = np.flatnonzero((above == up) & (np.roll(above, 1) != up))
        step = height[at] - height[at - 1]
        both.append(grid[at] - height[at] / step * (grid[1] - grid[0]))
    start, end = both
    if len(start) and end[0] < start[0]:
        end = np.append(end[1:], end[0] + 2 * pi)
    return start, end


def _highest(profile: Floats, grid: Floats, start: float, end: float) -> float:
    """Largest radius between two angles."""
    first, last = np.searchsorted(grid, [start, min(end, grid[-1])])
    return float(profile[first : max(last, first + 1)].max())
