"""Find the gear on a photograph: which part of it, which colours, and its rough outline.

Works on a reduced picture, since only the place is wanted here; `optics.edges` then measures at
full resolution. Grey levels are tried first, which takes a hundredth of a second; where no outline
that they leave is even all round, the gear is found by the rhythm of its edges.
"""

from dataclasses import replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe.finding.colour import mix_colours
from cogloupe.finding.mask_search import gears_by_mask
from cogloupe.finding.mixtures import colourfulness
from cogloupe.finding.one_material import one_material
from cogloupe.finding.periodicity_search import gears_by_theory
from cogloupe.finding.region import Region, may_be_meant, overlap, reduced, to_full_size
from cogloupe_calibration.arrays import Bools, Floats

__all__ = ["Region", "find_gears"]

SETTLED, SETTLED_ARC = 0.9, 0.95
"""Share of the teeth in sight that must be even for an outline by grey levels to be taken at once;
more where it reaches the frame, which shadows do as well."""
WHOLE_TURN = 0.95
"""Share of the seen turn that teeth must take for that: where something hides a part of it, the
count is asked of the rhythm too."""
LIKELY, LIKELY_TURN, LIKELY_TEETH = 0.75, 0.85, 8
"""Share of even teeth, share of the turn, and number of teeth from which an outline by grey levels
is taken where no rhythm is found."""
SHALLOW, WHOLE_DEPTH = 0.7, 2.25
"""Share of the depth of teeth of their number under which an outline by grey levels passes over
what lies in the gaps, a shadow or dirt; and that depth, in modules. Stub teeth have 0.8 of it."""
CUT_RUN_PX = 3
"""Neighbouring pixels of the picture's outermost line that must be the gear's for it to be cut."""


def find_gears(
    pixels: NDArray[Any], teeth: int | None = None, doubtful: bool = False
) -> list[Region]:
    """Find what looks like a gear, best first; empty where nothing repeats like teeth.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3)
        Upright photograph.
    teeth : int, optional
        The number that was stated.
    doubtful : bool
        Also give what comes nearest to a gear where nothing is one for sure.
    """
    small = reduced(pixels)
    factor = pixels.shape[1] / small.shape[1]
    values = small.astype(np.float32)
    found = [
        _of_the_gear_alone(values, _seen_whole(pixels, region, factor))
        for region in gears_by_mask(values)
    ]
    if not any(_certain(region, small.shape) for region in found[:1]):
        centres = [(region.x, region.y) for region in found[:2]]
        laid = gears_by_theory(small, teeth, centres)
        found = _best_of_both(found, [region for region in laid if region.sure])
        if doubtful and not found:
            found = laid
    coloured = colourfulness(values) > 0.0
    return [to_full_size(replace(region, coloured=coloured), factor) for region in found]


def settled(region: Region) -> bool:
    """Tell whether an outline by grey levels is even enough to be the gear's own."""
    even = region.follows >= (SETTLED_ARC if region.cut_off else SETTLED)
    return even and region.share >= WHOLE_TURN and not region.rivals


def _certain(region: Region, shape: tuple[int, ...]) -> bool:
    """Whether an outline by grey levels needs no other witness.

    Beside a small one may lie the gear that is meant; of one that reaches the frame only a side or
    a shadow may do so. An arc whose centre lies outside the picture is one.
    """
    height, width = shape[:2]
    arc = not (0 <= region.x < width and 0 <= region.y < height)
    meant = may_be_meant((region.x, region.y), region.tip_radius, shape)
    return settled(region) and (arc or (meant and not region.cut_off))


def _best_of_both(found: list[Region], laid: list[Region]) -> list[Region]:
    """Gears by grey levels and by theory, a look at each place, best first.

    An even outline by levels is nearer than one by theory. Of an arc the outline itself tells more
    than a whole turn's theory.
    """
    likely = [region for region in found if _likely(region)]
    whole = [region for region in likely if settled(region) and not region.cut_off]
    kept = whole + [
        region
        for region in laid
        if not (region.cut_off and likely) and not any(overlap(region, other) for other in whole)
    ]
    kept += [region for region in likely if not any(overlap(region, other) for other in kept)]
    return sorted(kept, key=lambda region: region.merit, reverse=True)


def _likely(region: Region) -> bool:
    even = region.follows >= LIKELY and region.share >= LIKELY_TURN
    return settled(region) or (even and region.teeth >= LIKELY_TEETH)


def _of_the_gear_alone(small: NDArray[np.float32], region: Region) -> Region:
    """The region, no longer called settled where a side or a shadow is part of it."""
    deep = (region.tip_radius - region.root_radius) * (region.teeth + 2) / (2 * region.tip_radius)
    if deep > SHALLOW * WHOLE_DEPTH and one_material(small, region):
        return region
    return replace(region, follows=min(region.follows, LIKELY))


def _seen_whole(pixels: NDArray[Any], region: Region, factor: float) -> Region:
    """The region, no longer called cut off where the full picture shows ground at its border."""
    if not region.cut_off:
        return region
    height, width = pixels.shape[:2]
    level = cv2.resize(region.threshold, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    xy = (region.outline + 0.5) * factor
    for line, levels, across, border in (
        (pixels[0], level[0], 1, 0),
        (pixels[-1], level[-1], 1, height),
        (pixels[:, 0], level[:, 0], 0, 0),
        (pixels[:, -1], level[:, -1], 0, width),
    ):
        near = np.abs(xy[:, across] - border) < 3 * factor
        if _crosses(line, levels, xy[near, 1 - across], region):
            return region
    return replace(region, cut_off=False)


def _crosses(line: NDArray[Any], levels: NDArray[Any], near: Floats, region: Region) -> bool:
    """Whether the outermost line of the picture shows material where the outline comes near it."""
    if len(near) == 0:
        return False
    grey = np.asarray(mix_colours(line[None], region.weights), np.float32)[0]
    level = cv2.resize(levels[None], (len(grey), 1))[0]
    beside = np.zeros(len(grey), bool)
    beside[np.clip(near, 0, len(grey) - 1).astype(int)] = True
    wide = np.ones(2 * int(len(grey) / levels.size) + 9)
    beside = np.convolve(beside, wide, "same") > 0
    material: Bools = beside & ((grey > level) == region.bright)
    run = np.convolve(material, np.ones(CUT_RUN_PX), "valid")
    return bool((run >= CUT_RUN_PX).any())
