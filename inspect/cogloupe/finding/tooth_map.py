"""Count the teeth along the outline and give every edge point its tooth and side.

Counting walks along the outline and notes where it rises and falls through mid-height, so that a
wrong pitch, however large, cannot shift the count; what is too wide or too narrow for a tooth is
taken for something in the way, and the teeth under it are placed by their neighbours.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from cogloupe.numerics.angles import polar
from cogloupe.numerics.circles import robust_circle
from cogloupe_calibration.arrays import Bools, Floats, Ints
from cogloupe_calibration.errors import PhotoError

LEFT, RIGHT = 0, 1
SLIVER = 0.14
"""Rises or gaps narrower than this share of a pitch are dirt, not teeth."""
JUMP_PX = 6.0
"""Neighbouring outline points further apart than this lie on both sides of a break."""
WIDEST_TOOTH = 0.85
"""A section wider than this share of a pitch at mid-height is not a single tooth."""


@dataclass(frozen=True, kw_only=True)
class ToothMap:
    """Which tooth and side every outline point belongs to.

    Attributes
    ----------
    teeth : int
        Number of teeth on the whole gear, z.
    centre_angle : ndarray, shape (z,)
        Rough polar angle of each tooth's centre, rad, unwrapped, growing with the index.
    seen : ndarray, shape (z,), bool
        True where the tooth was seen as a section of its own; the others are placed by counting.
    tooth : ndarray, shape (n,), int
        Index 0..z-1 of each outline point's tooth.
    side : ndarray, shape (n,), int
        `LEFT` or `RIGHT`, by the side of the tooth's centre line.
    mid_radius, tip_radius, root_radius : float
        Rough radii, px.
    """

    teeth: int
    centre_angle: Floats
    seen: Bools
    tooth: Ints
    side: Ints
    mid_radius: float
    tip_radius: float
    root_radius: float


def map_teeth(
    xy: Floats,
    centre: Floats,
    rough: tuple[float, float],
    teeth: int | None = None,
    whole: bool = True,
    rhythm: int | None = None,
    sure: Bools | None = None,
) -> ToothMap:
    """Count the teeth along an outline and share its points out among them.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Outline points in order, clockwise on the picture, px.
    centre : ndarray, shape (2,)
        Rough centre of the gear, px.
    rough : (float, float)
        Rough root and tip radius, px; what lies well outside them belongs to something else.
    teeth : int, optional
        Number stated by the person; needed where too little of the turn is seen to count.
    whole : bool
        False where the frame cuts the gear off; the outline then jumps from one side of the cut
        to the other.
    rhythm : int, optional
        Number that the rhythm of the whole tooth band tells; counting must agree with it.
    sure : ndarray, shape (n,), bool, optional
        Points that the teeth are counted by; the others are only shared out.

    Raises
    ------
    PhotoError
        Where no teeth are seen, another number than stated, or two ways to count disagree.
    """
    every_angle = polar(xy, centre)[1]
    xy = xy if sure is None else xy[sure]
    radius, angle = polar(xy, centre)
    tip, root = _tip_and_root(radius, rough)
    mid = (tip + root) / 2
    jump = np.hypot(*(xy - np.roll(xy, 1, axis=0)).T)
    breaks = np.flatnonzero(jump > (np.inf if whole else JUMP_PX))
    if len(breaks) == 0:
        start, end = _sections(radius > mid, angle)
    else:
        start, end = _open_sections(radius > mid, angle, breaks)
    if len(start) < 4:
        raise PhotoError(f"only {len(start)} teeth stand out on the gear's outline: come closer")
    start, end, pitch = _without_slivers(start, end)
    if not pitch > 0:  # all that stood out were slivers, or none is beside another
        raise PhotoError("no row of teeth stands out on the gear's outline: come closer")
    counted = _count(start, end, pitch) if len(breaks) == 0 else _judge(pitch, teeth)
    if teeth is None and rhythm and whole and counted != rhythm:
        low, high = sorted((counted, rhythm))
        raise PhotoError(f"not sure: {low} or {high} teeth, give --teeth")
    if teeth is not None and counted != teeth:
        raise PhotoError(f"{counted} teeth are seen, not {teeth}: check --teeth")
    centres, seen = _place(start, end, counted)
    tooth, side = _share_out(every_angle, centres)
    return ToothMap(
        teeth=counted,
        centre_angle=centres,
        seen=seen,
        tooth=tooth,
        side=side,
        mid_radius=mid,
        tip_radius=tip,
        root_radius=root,
    )


def _open_sections(above: Bools, angle: Floats, breaks: Ints) -> tuple[Floats, Floats]:
    """Rises and falls through mid-height on the stretches between an outline's breaks.

    Teeth that a break cuts in two are left out. Angles are unwrapped from the widest gap.
    """
    starts, ends = [], []
    for piece in np.split(np.roll(np.arange(len(above)), -breaks[0]), breaks[1:] - breaks[0]):
        high, at = above[piece].astype(int), np.unwrap(angle[piece])
        rises, falls = np.flatnonzero(np.diff(high) > 0), np.flatnonzero(np.diff(high) < 0)
        falls = falls[falls > rises[0]] if len(rises) else falls[:0]
        pairs = min(len(rises), len(falls))
        starts.append((at[rises[:pairs]] + at[rises[:pairs] + 1]) / 2)
        ends.append((at[falls[:pairs]] + at[falls[:pairs] + 1]) / 2)
    start, end = np.concatenate(starts), np.concatenate(ends)
    if len(start) == 0:
        return start, end
    width = end - start
    turned = np.sort(np.mod(start, 2 * pi))
    widest = int(np.argmax(np.diff(turned, append=turned[0] + 2 * pi)))
    origin = turned[(widest + 1) % len(turned)]
    start = np.mod(start - origin + 1e-9, 2 * pi) + origin
    order = np.argsort(start)
    return start[order], start[order] + width[order]


def _judge(pitch: float, teeth: int | None) -> int:
    """Number of teeth of a gear that is only partly seen, from its pitch."""
    seen = 2 * pi / pitch
    if teeth is not None:
        # The centre of an arc is poorly seen, and with it the angle that a pitch subtends.
        if abs(seen / teeth - 1) > 0.12:
            raise PhotoError(f"the arc that is seen has the pitch of about {seen:.0f} teeth, "
                             f"not {teeth}: check --teeth")  # fmt: skip
        return teeth
    if seen > 25:
        raise PhotoError(
            f"only part of the gear is seen (about {seen:.0f} teeth by its pitch), too little to "
            "count them: give --teeth"
        )
    return round(seen)


def _tip_and_root(radius: Floats, rough: tuple[float, float]) -> tuple[float, float]:
    """Radii where the outline lingers highest and lowest: tip lands and floors."""
    low, high = rough
    margin = 0.4 * (high - low)
    teeth = radius[(radius > low - margin) & (radius < high + margin)]
    if len(teeth) < 20:
        return high, low
    root, tip = np.percentile(teeth, [6, 92])
    return float(tip), float(root)


def tips_centre(
    xy: Floats, normal: Floats, centre: Floats, rough: tuple[float, float]
) -> tuple[Floats, tuple[float, float]]:
    """Better centre and radii from the circle through the tip lands.

    Parameters
    ----------
    xy, normal : ndarray, shape (n, 2)
        Outline points and their normals.
    centre : ndarray, shape (2,)
        Rough centre, px.
    rough : (float, float)
        Rough root and tip radius, px.

    Returns
    -------
    ndarray, shape (2,)
        Centre, px.
    (float, float)
        Root and tip radius about it, px.

    Notes
    -----
    On an arc the first centre may lie several per cent of the radius off; lands are known again
    by facing outwards and lying in the upper part of the tooth, and the circle is fitted anew.
    """
    root, tip = rough
    for tolerance in (0.15, 0.1, 0.07, 0.05, 0.03, 0.02, 0.02):
        radius, _ = polar(xy, centre)
        facing = (normal * (xy - centre)).sum(axis=1) / np.maximum(radius, 1e-9)
        bow = radius - np.median(radius)
        upper = bow > np.percentile(bow, 55)
        land = upper & (facing > 0.9) & (np.abs(radius - tip) < 0.5 * (tip - root))
        if land.sum() < 20:
            break
        circle = robust_circle(xy[land], max(tolerance * (tip - root), 0.6))
        if circle is None:
            break
        centre, tip, root = circle.centre, circle.radius, circle.radius - (tip - root)
    return centre, (root, tip)


def _sections(above: Bools, angle: Floats) -> tuple[Floats, Floats]:
    """Angles at which a closed outline rises and falls through mid-height, rad, unwrapped."""
    changes = np.flatnonzero(above != np.roll(above, 1))
    if len(changes) < 2:
        return np.empty(0), np.empty(0)
    first = int(changes[~above[changes - 1]][0])
    above, angle = np.roll(above, -first), np.unwrap(np.roll(angle, -first))
    rises = np.flatnonzero(above & ~np.roll(above, 1))
    falls = np.flatnonzero(~above & np.roll(above, 1))
    before = angle[rises - 1]
    before[0] = angle[-1] - 2 * pi  # the point before the first is the last, a turn earlier
    return (angle[rises] + before) / 2, (angle[falls] + angle[falls - 1]) / 2


def _without_slivers(start: Floats, end: Floats) -> tuple[Floats, Floats, float]:
    """Drop rises and join gaps that are too narrow to be teeth; also the median pitch."""
    pitch = float(np.median(np.diff(start)))
    if np.median(end - start) < SLIVER * pitch * 2:
        pitch = float(np.median(np.diff(start[end - start > np.median(end - start)])))
    gap = np.roll(start, -1) - end
    gap[-1] += 2 * pi
    joined = gap < SLIVER * pitch
    keep_end = ~joined
    keep_end[-1] = True
    keep_start = np.concatenate([[True], keep_end[:-1]])
    start, end = start[keep_start], end[keep_end]
    wide = end - start > SLIVER * pitch
    start, end = start[wide], end[wide]
    return start, end, float(np.median(np.diff(start)))


def _count(start: Floats, end: Floats, pitch: float) -> int:
    """Teeth in the whole turn: each step from section to section holds a whole number of them."""
    single = end - start < WIDEST_TOOTH * pitch
    centre = ((start + end) / 2)[single]
    steps = np.diff(centre, append=centre[0] + 2 * pi) / pitch
    return int(np.maximum(np.round(steps), 1).sum())


def _place(start: Floats, end: Floats, teeth: int) -> tuple[Floats, Bools]:
    """Centre angle of every tooth; those not seen singly lie evenly between their neighbours."""
    pitch = float(np.median(np.diff(start)))
    single = end - start < WIDEST_TOOTH * pitch
    centre = ((start + end) / 2)[single]
    steps = np.maximum(np.round(np.diff(centre) / pitch), 1).astype(int)
    index = np.concatenate([[0], np.cumsum(steps)])
    closed_index = np.append(index, teeth)
    closed_centre = np.append(centre, centre[0] + 2 * pi)
    centres = np.interp(np.arange(teeth), closed_index, closed_centre)
    return centres, np.isin(np.arange(teeth), index)


def _share_out(angle: Floats, centres: Floats) -> tuple[Ints, Ints]:
    """Tooth index and side of points by polar angle; borders lie midway between centres."""
    borders = (centres + np.append(centres[1:], centres[0] + 2 * pi)) / 2
    low = borders[-1] - 2 * pi
    turned = low + np.mod(angle - low, 2 * pi)
    tooth = np.searchsorted(borders, turned, side="right")
    tooth = np.minimum(tooth, len(centres) - 1)
    return tooth.astype(np.int64), np.where(turned < centres[tooth], LEFT, RIGHT).astype(np.int64)


def gap_of(teeth: ToothMap) -> tuple[Ints, Floats]:
    """Gap of every outline point, and where the gaps are.

    Returns
    -------
    gap : ndarray, shape (n,), int
        Index of the tooth before the point's gap.
    middle : ndarray, shape (z,)
        Rough angle of every gap's middle, rad.
    """
    z = teeth.teeth
    gap = np.where(teeth.side == 1, teeth.tooth, (teeth.tooth - 1) % z)
    following = np.append(teeth.centre_angle[1:], teeth.centre_angle[0] + 2 * pi)
    return gap, (teeth.centre_angle + following) / 2


def half_tip(teeth: ToothMap) -> float:
    """Half angle of a tip land, roughly: an eighth of a pitch; rad."""
    return np.pi / teeth.teeth / 4
