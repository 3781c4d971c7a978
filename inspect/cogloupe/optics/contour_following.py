"""Follow the outlines of a gear through the pixels, at full resolution.

A light smoothing and the level map of `finding.segmentation` tell material from ground; the border
between them is followed, and every place where it passes from one pixel to the next in a row or
column is noted, in order. `edges` measures there.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe.finding.segmentation import Region
from cogloupe.numerics.moving_average import dot, running_mean
from cogloupe.optics.greys import Greys
from cogloupe_calibration.arrays import Floats

_BAND, _HALO = 256, 2  # rows divided at a time, and how many more their smoothing needs
TEETH_REACH = 0.3, 1.08
"""Distances from the centre, in tip radii, within which the outline of the gear runs: a pinion's
floors, and tips whose radius was seen roughly (our own judgement)."""
SHORTEST_OUTLINE_PX, SHORTEST_HOLE_PX, SHORTEST_HOLE = 40, 24, 0.05
"""Border pixels of the smallest gear, and of the smallest hole, also in tip radii: specks have
fewer (our own judgement)."""
MOST_HOLES = 40
"""Holes that are followed, the longest first: no gear has more, a textured face has thousands."""


def material_mask(greys: Greys, region: Region) -> NDArray[np.uint8]:
    """Material (255) and ground (0), after a light smoothing that keeps noise off the border."""
    plain = greys.weights is None and greys.pixels.dtype == np.uint8
    grey_type: Any = np.uint8 if plain else np.float32
    # Bytes lie above a level where they lie above the whole one below it.
    coarse = np.clip(region.threshold, 0, 255).astype(np.uint8) if plain else region.threshold
    compare = cv2.CMP_GT if region.bright else cv2.CMP_LE
    height = greys.shape[0]
    mask = np.empty(greys.shape, np.uint8)
    for top in range(0, height, _BAND):
        part = mask[top : top + _BAND]
        rows = greys.rows(max(top - _HALO, 0), min(top + _BAND + _HALO, height))
        smooth = cv2.GaussianBlur(rows.astype(grey_type, copy=False), (5, 5), 1.0)
        corner = (greys.corner[0], greys.corner[1] + top)
        level = _levels(coarse, corner, greys.pixels.shape, part.shape)
        cv2.compare(smooth[min(top, _HALO) :][: len(part)], level, compare, dst=part)
    return mask


def _levels(
    coarse: NDArray[Any], corner: tuple[int, int], shape: tuple[int, ...], size: tuple[int, ...]
) -> NDArray[Any]:
    """Dividing level over a part of the picture, from the map over the reduced one."""
    # The map is smooth enough to be cut out to the next pixel of the picture.
    first = np.array(corner[::-1])
    reduced = np.array(shape[:2]) / coarse.shape
    start = (first / reduced).astype(int)
    stop = np.ceil((first + size) / reduced).astype(int)
    height, width = np.ceil((stop - start) * reduced).astype(int).tolist()
    levels = cv2.resize(coarse[start[0] : stop[0], start[1] : stop[1]], (width, height))
    top, left = (first - start * reduced).astype(int)
    return np.asarray(levels[top : top + size[0], left : left + size[1]])


def border_chains(
    mask: NDArray[np.uint8], region: Region, corner: tuple[int, int]
) -> tuple[NDArray[Any], list[NDArray[Any]]]:
    """Border pixels of the gear and of the larger holes in it, in order."""
    contours, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    centre = np.array([region.x, region.y]) - corner
    outers = [i for i in range(len(contours)) if tree[0, i, 3] < 0]
    best = max(outers, key=lambda i: _gear_fit(contours[i], centre, region.tip_radius))
    smallest = max(SHORTEST_HOLE_PX, SHORTEST_HOLE * region.tip_radius)
    holes = [
        contours[i][:, 0, :]
        for i in range(len(contours))
        if tree[0, i, 3] == best and len(contours[i]) > smallest
    ]
    return contours[best][:, 0, :], sorted(holes, key=len, reverse=True)[:MOST_HOLES]


def _gear_fit(contour: NDArray[Any], centre: Floats, tip_radius: float) -> float:
    """Outline length that runs where the teeth were seen."""
    if len(contour) < SHORTEST_OUTLINE_PX:
        return 0.0
    distance = np.hypot(*(contour[:, 0, :] - centre).T) / tip_radius
    return float(((distance > TEETH_REACH[0]) & (distance < TEETH_REACH[1])).sum())


@dataclass(frozen=True)
class Crossings:
    """Places where an outline passes between two neighbouring pixels.

    `inside` is the pixel (x, y) on the material side, `step` the unit step to the ground side.
    """

    inside: NDArray[np.int64]
    step: NDArray[np.int64]
    normal: Floats

    def take(self, chosen: NDArray[np.int64]) -> "Crossings":
        """Pick crossings by index."""
        # Rows are taken in a tenth of the time of an index in brackets.
        inside, step = self.inside.take(chosen, axis=0), self.step.take(chosen, axis=0)
        return Crossings(inside, step, self.normal.take(chosen, axis=0))


def crossings_of(mask: NDArray[np.uint8], chain: NDArray[Any]) -> Crossings:
    """Crossings in the order of a chain of border pixels, thinned to one per row or column."""
    steps = np.array([[1, 0], [0, 1], [-1, 0], [0, -1]])
    height, width = mask.shape
    x, y = chain.T
    # One flat index is read faster than two. The frame's border is not an edge: beyond it lies
    # more of the same.
    inner = np.stack([x < width - 1, y < height - 1, x > 0, y > 0], axis=1)
    beside = (y * width + x)[:, None] + inner * (steps @ [1, width])
    which, direction = np.divmod(np.flatnonzero(mask.ravel().take(beside) == 0), len(steps))
    inside, step = chain.take(which, axis=0).astype(np.int64), steps.take(direction, axis=0)
    half_way = inside + step / 2
    normal = normals(half_way)
    outwards = dot(normal, step)
    if outwards.sum() < 0:
        # Run the other way round, so that polar angle grows along the outer outline.
        inside, step, normal = inside[::-1], step[::-1], -normal[::-1]
        outwards = -outwards[::-1]
    along = np.abs(normal)
    principal = np.where(step[:, 0] != 0, along[:, 0] >= along[:, 1], along[:, 1] > along[:, 0])
    keep = principal & (outwards > 0)
    return Crossings(inside, step, normal).take(np.flatnonzero(keep))


def normals(xy: Floats) -> Floats:
    """Unit normals of a closed chain, on the left of its course as the picture shows it."""
    tangent = tangents(xy)
    return np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)


def bend(normal: Floats, reach: int) -> Floats:
    """Cosine of how far a closed outline turns within a reach to both sides of each sample.

    Parameters
    ----------
    normal : ndarray, shape (n, 2)
        Unit normals in the outline's order.
    reach : int
        Samples to each side.

    Returns
    -------
    ndarray, shape (n,)
    """
    half = min(reach, max(1, len(normal) // 4))
    return np.asarray(dot(np.roll(normal, half, axis=0), np.roll(normal, -half, axis=0)))


def tangents(xy: Floats, reach: int = 5) -> Floats:
    """Unit tangents of a closed chain, from smoothed neighbours on both sides."""
    reach = min(reach, max(1, len(xy) // 4))
    smooth = running_mean(xy.T, reach).T
    chord = np.roll(smooth, -reach, axis=0) - np.roll(smooth, reach, axis=0)
    length = np.maximum(np.sqrt(dot(chord, chord)), 1e-9)
    return np.asarray(chord / length[:, None])
