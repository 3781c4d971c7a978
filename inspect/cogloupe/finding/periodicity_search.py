"""Find gears by their rhythm where no grey level parts them from the ground."""

from collections.abc import Sequence
from dataclasses import replace
from math import acos, degrees, hypot, pi, sqrt
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe.finding.colour import mix_colours, mixed_otherwise
from cogloupe.finding.edge_directions import Directions, edge_directions
from cogloupe.finding.gear_detection import GearOutline
from cogloupe.finding.mask_search import BRIGHTNESS_AHEAD
from cogloupe.finding.mixtures import clearness, mixtures
from cogloupe.finding.outline_fit import Followed, Pose, follow
from cogloupe.finding.periodicity import CLEARLY, Rhythm, rhythms_near, strongest_rhythms
from cogloupe.finding.region import Region, may_be_meant, region_of
from cogloupe.numerics.circles import Circle
from cogloupe_calibration.arrays import Bools, Floats

BY_CHANCE, DEVIATIONS = 0.35, 4.0
"""Share of the flanks in sight that have an edge of their own where there is no gear (a tenth to a
half on photographs of other things), and standard deviations of that share, for as many flanks as
are seen, by which a gear must show more."""
ALL_ALONG, MOST_SIDES = 0.3, 12
"""Least agreement of any half of the flanks, as a share of the clearest part's: teeth are edged all
along (0.6 on rendered gears); the flats and corners of a nut leave 0.1. More sides are not asked:
a polygon of so many has corners an eighth as high as teeth are."""
OWN_SHARE, OWN_SHARE_CLEAR = 0.65, 0.5
"""Least share however many flanks are seen, and where the rhythm is clear of all others."""
SURE_SHARE = 0.9
"""Share from which no other number of teeth is tried."""
TRIED, TRIED_NEAR, NEARER = 4, 3, 4
"""Different rhythms that are laid over a picture at most; and where none of them is followed by
nearly all flanks, those about better centres, and how often such are sought: each time the number
may come nearer."""
RIVAL = 1.25
"""Another number that is found up to so many times less clearly leaves open which is right. Right
ones of rendered gears are 1.4 to 3.8 times as clear as the next."""
RIVAL_FOLLOWED = 1.5
"""The same where it was laid over the picture and followed, and flanks of the first have no edge
of their own: a number one off, its centre moved for it, finds two thirds of them."""
SAME_ROW = 0.25
"""Difference of tip radii, as a share, under which two are looks at one row of teeth."""
FOLLOWED_WITHIN = 2.5
"""Pixels of the reduced picture within which nearly all of an outline is followed (composed and
path-traced pictures show 0.5 to 1 RMS)."""
LEAVES_BY = 1.0
"""Pixels of the reduced picture beyond the frame from which an outline is cut off."""
BORE_ANGLES, BORE_REACH, BORE_APART = 240, 4, 2.0
"""Places round a bore; pixels of the reduced picture in which its edge is looked for; and how far
its level lies from the face's, in their common scatter round the axis."""
LEVEL_REACH = 0.15
"""Distance over which levels beside the outline are averaged, in tip radii."""


def gears_by_theory(
    small: NDArray[Any], teeth: int | None = None, begun: Sequence[tuple[float, float]] = ()
) -> list[Region]:
    """Find the gears that a picture shows by the rhythm of their edges.

    Best first, in the reduced picture's pixels; where nothing is followed well enough, what comes
    nearest to a gear, not `sure`; empty on an even picture.

    Parameters
    ----------
    small : ndarray, shape (h, w) or (h, w, 3)
        Reduced picture, in levels of 8 bits or of 16.
    teeth : int, optional
        The number that was stated: it is taken where it is found nearly as clearly as another.
    begun : sequence of (float, float)
        Centres, px, of what may be a gear by its greys.
    """
    directions = edge_directions(small)
    if not directions.any():  # an even picture
        return []
    told, tried = _all_followed(directions, strongest_rhythms(directions, begun), teeth)
    values = np.asarray(small, np.float32)
    gears = _apart([one for one in tried if _is_gear(one, told)])
    if not gears:
        near = tuple(sorted(_near_numbers(told, tried[0], RIVAL)))
        return [replace(_as_region(values, tried[0]), rivals=near, sure=False)]
    return [
        replace(_as_region(values, one), rivals=_rivals(directions, told, tried, one))
        for one in gears
    ]


def _all_followed(
    directions: Directions, told: list[Rhythm], teeth: int | None
) -> tuple[list[Rhythm], list[Followed]]:
    """All that was told, and theoretical outlines laid over the picture, best followed first."""
    stated = [rhythm for rhythm in told if rhythm.teeth == teeth][:1]
    first = [rhythm for rhythm in stated if rhythm.merit * RIVAL > told[0].merit]
    tried: list[Followed] = []
    for rhythm in [*first, *_different(told)[:TRIED]]:
        tried.append(follow(directions, rhythm))
        if _sure(tried[-1], directions.shape):
            break
    best = max(tried, key=_worth)
    for _ in range(NEARER):
        if _sure(best, directions.shape):
            break
        pose = best.pose
        near = rhythms_near(directions, pose.teeth, (pose.x, pose.y), pose.slant)
        new = [follow(directions, rhythm) for rhythm in _different(near)[:TRIED_NEAR]]
        told, tried = [*told, *near], [*tried, *new]
        if _worth(max(new, key=_worth)) <= _worth(best):
            break
        best = max(new, key=_worth)
    return told, sorted(tried, key=_worth, reverse=True)


def _worth(followed: Followed) -> float:
    """How well it is followed, and more for a larger gear."""
    return float(followed.merit * followed.pose.tip_radius**0.5)


def _sure(followed: Followed, shape: tuple[int, ...]) -> bool:
    """Whether nothing else need be tried."""
    pose = followed.pose
    meant = may_be_meant((pose.x, pose.y), pose.tip_radius, shape)
    return meant and followed.share > SURE_SHARE and _edged_all_along(followed)


def _edged_all_along(followed: Followed) -> bool:
    """Whether flanks have edges from top to bottom, where flats and corners could look alike."""
    return followed.pose.teeth > MOST_SIDES or followed.weakest >= ALL_ALONG


def _is_gear(followed: Followed, told: list[Rhythm]) -> bool:
    """Whether so many flanks have an edge of their own as only a gear's do."""
    if not _edged_all_along(followed):
        return False
    least = OWN_SHARE if _near_numbers(told, followed, CLEARLY) else OWN_SHARE_CLEAR
    flanks = int(followed.in_frame.sum())
    chance = BY_CHANCE + DEVIATIONS * sqrt(BY_CHANCE * (1 - BY_CHANCE) / max(flanks, 1))
    return followed.share >= max(least, chance)


def _apart(gears: list[Followed]) -> list[Followed]:
    """The first at each place."""
    kept: list[Followed] = []
    for gear in gears:
        if not any(_about_one(gear.pose, other.pose) for other in kept):
            kept.append(gear)
    return kept


def _different(told: list[Rhythm]) -> list[Rhythm]:
    """The clearest rhythm of each number, and all that lie elsewhere, best first."""
    kept: list[Rhythm] = []
    for rhythm in told:
        if all(rhythm.teeth != k.teeth or not _about_one(rhythm, k) for k in kept):
            kept.append(rhythm)
    return kept


def _rivals(
    directions: Directions, told: list[Rhythm], tried: list[Followed], best: Followed
) -> tuple[int, ...]:
    """Other numbers about the same centre that are followed nearly as well.

    Those that were told nearly as clearly are followed for that.
    """
    followed = [other for other in tried if _at_one_place(other.pose, best.pose)]
    left = _near_numbers(told, best, RIVAL) - {other.pose.teeth for other in followed}
    own = [rhythm for rhythm in told if rhythm.teeth in left and _at_one_place(rhythm, best.pose)]
    followed += [follow(directions, rhythm) for rhythm in _different(own)[:TRIED]]
    times = RIVAL if best.share > SURE_SHARE else RIVAL_FOLLOWED
    near = {other.pose.teeth for other in followed if other.merit * times > best.merit}
    return tuple(sorted((near | _further_out(told, best)) - {best.pose.teeth}))


def _further_out(told: list[Rhythm], best: Followed) -> set[int]:
    """Numbers of rows further out that are told nearly as clearly: holes lie within the teeth."""
    about = [rhythm for rhythm in told if _about_one(rhythm, best.pose)]
    inner = [rhythm.merit for rhythm in about if _at_one_place(rhythm, best.pose)]
    return {
        rhythm.teeth
        for rhythm in about
        if rhythm.tip_radius > (1 + SAME_ROW) * best.pose.tip_radius
        and rhythm.merit * RIVAL > max(inner, default=0.0)
    }


def _near_numbers(told: list[Rhythm], best: Followed, times: float) -> set[int]:
    """Other numbers that are told less than so many times less clearly about the same centre."""
    near = [rhythm for rhythm in told if _at_one_place(rhythm, best.pose)]
    own = max((rhythm.merit for rhythm in near if rhythm.teeth == best.pose.teeth), default=0.0)
    return {rhythm.teeth for rhythm in near if rhythm.merit * times > own} - {best.pose.teeth}


def _at_one_place(one: Rhythm | Pose, other: Rhythm | Pose) -> bool:
    """Whether two are looks at the same row of teeth: holes in a face are another."""
    alike = abs(one.tip_radius - other.tip_radius) < SAME_ROW * other.tip_radius
    return alike and _about_one(one, other)


def _about_one(one: Rhythm | Pose, other: Rhythm | Pose) -> bool:
    """Whether two are about the same centre."""
    return hypot(one.x - other.x, one.y - other.y) < 0.25 * other.tip_radius


def _as_region(small: NDArray[np.float32], followed: Followed) -> Region:
    """The gear as a region in the mixture of colours that shows it clearest."""
    contour = np.rint(followed.outline).astype(np.int32)
    inked = np.zeros(small.shape[:2], np.uint8)
    mask = cv2.fillPoly(inked, [contour], 1).astype(bool)
    pose = followed.pose
    outline = GearOutline(
        circle=Circle(pose.x, pose.y, pose.tip_radius, 0.0, np.ones(1, bool)),
        root_radius=pose.tip_radius - pose.depth,
        teeth=pose.teeth,
        share=followed.share,
        cut_off=_beyond(followed.outline, small.shape),
        follows=followed.share,
        contour=contour,
        holes=(),
    )
    looks = []
    for weights in mixtures(small):
        grey = np.asarray(mix_colours(small, weights), np.float32)
        ahead = 1.0 if mixed_otherwise(weights) else BRIGHTNESS_AHEAD
        looks.append((clearness(grey, mask, outline), ahead, weights, grey))
    (clear, contrast, brighter), _, weights, grey = max(
        looks, key=lambda look: look[0][0] * look[1]
    )
    region = region_of(
        outline, weights=weights, threshold=_local_levels(grey, mask, outline),
        bright=brighter > 0, clear=clear, contrast=contrast, by_theory=True,
        lean_deg=0.0 if outline.cut_off else lean_of(pose.slant.oval),
    )  # fmt: skip
    holes = bore_outline(grey, followed.pose)
    return replace(region, outline=followed.outline, holes=holes, reach_px=FOLLOWED_WITHIN)


def _beyond(outline: Floats, shape: tuple[int, ...]) -> bool:
    """Whether an outline leaves the picture by more than it may be off."""
    far = 0.5 + LEAVES_BY
    return bool((outline < -far).any() or (outline > np.array(shape[1::-1]) - 1 + far).any())


def lean_of(oval: tuple[float, float]) -> float:
    """Lean at which a round gear looks so oval.

    Degrees; the lesser diameter is the greater one times its cosine.

    Parameters
    ----------
    oval : (float, float)
        As of a `Slant`.
    """
    half = hypot(*oval)
    return degrees(acos((1 - half) / (1 + half)))


def _local_levels(
    grey: NDArray[np.float32], mask: Bools, outline: GearOutline
) -> NDArray[np.float32]:
    """Level midway between what lies within and without the outline, near each place."""
    ring = np.zeros(mask.shape, np.uint8)
    for colour, width in ((1, 25), (0, 3)):
        cv2.drawContours(ring, [outline.contour], -1, colour, width)
    sides = []
    for side in (mask, ~mask):
        chosen = (side & (ring > 0)).astype(np.float32)
        small = [cv2.resize(a, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
                 for a in (chosen * grey, chosen)]  # fmt: skip
        reach = LEVEL_REACH * outline.circle.radius / 4
        total, count = (cv2.GaussianBlur(a, (0, 0), reach) for a in small)
        overall = float(grey[side].mean()) if side.any() else 0.0
        sides.append((total + 1e-4 * overall) / (count + 1e-4))
    level = (sides[0] + sides[1]) / 2
    return np.asarray(cv2.resize(level, grey.shape[::-1]), np.float32)


def bore_outline(grey: NDArray[np.float32], pose: Pose) -> tuple[Floats, ...]:
    """Outline of a bore: a round place about the axis that stands out of the face as a whole.

    Turned rings do not; a boss of another brightness does.

    Parameters
    ----------
    grey : ndarray, shape (h, w)
    pose : Pose
        Where the gear lies.

    Returns
    -------
    tuple of ndarray, shape (n, 2)
        Px; empty where none stands out.
    """
    angle = np.arange(BORE_ANGLES) * (2 * pi / BORE_ANGLES)
    radius = np.arange(2.0, 0.9 * (pose.tip_radius - pose.depth))
    if len(radius) == 0:  # teeth of a few pixels, with no face under them
        return ()
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    at = np.array([pose.x, pose.y]) + radius[:, None, None] * pose.slant.placed(ring)
    xy = at.astype(np.float32)
    seen = cv2.remap(grey, xy[..., 0], xy[..., 1], cv2.INTER_LINEAR)
    found = _step_outwards(np.median(seen, axis=1))
    if found is None:
        return ()
    sign = np.sign(seen[found:].mean() - seen[:found].mean())
    near = slice(max(found - BORE_REACH, 1), min(found + BORE_REACH, len(seen) - 1))
    steps = sign * (seen[near.start + 1 : near.stop + 1] - seen[near.start - 1 : near.stop - 1])
    place = near.start + np.argmax(steps, axis=0)
    # A place is held by those beside it: the median passes over glints and dust.
    around = np.stack([np.roll(place, k) for k in range(-4, 5)])
    return (at[np.median(around, axis=0).astype(int), np.arange(BORE_ANGLES)],)


def _step_outwards(level: Floats) -> int | None:
    """Row where the inner part of a face ends, if it stands out of the rest."""
    best, found = BORE_APART, None
    for row in range(4, int(0.8 * len(level))):
        inside, outside = level[:row], level[row : 2 * row + 10]
        apart = (outside.mean() - inside.mean()) / (inside.std() + outside.std() + 1.0)
        if abs(apart) > best:
            best, found = abs(apart), row
    return found
