"""Round dots: find them as blobs, refine their centres on the raw pixels."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.lattice import Lattice, grow_lattice
from cogloupe_calibration.patch_fit import Marks, fit_marks, smooth_step

SMOOTH_PX = 1.0
"""Blur before dots are parted from the ground, so that single noisy pixels make none."""
SMALLEST_AREA_PX = 12
"""A dot four pixels across: in a smaller one hardly a pixel is free of the rim's blur."""
# A disc fills pi/4 of its box; noise and the turn of an ellipse move that.
FILLS = (0.62, 0.92)
LONGEST_BOX = 1.6
"""A disc that leans by 50 degrees has sides so unequal."""
AREAS = (0.4, 2.5)
"""Least and most of a typical dot: near and far end of a leaning target differ by this factor of
1.6 either way (our own judgement)."""
LIGHT_SCALE = 64
"""Pixels to which a picture is shrunk to see the light on it, which changes over parts of the frame
and not from dot to dot."""
GREATEST_REACH_PX = 40
"""Beyond a dot's rim: no blur that can be used reaches further, and windows stay small."""


@dataclass(frozen=True)
class Blobs:
    """Candidates: centroids (n, 2) and radii (n,) of discs of the same area, px."""

    xy: Floats
    radius: Floats


def find_dots(grey: Floats) -> tuple[Blobs, Lattice] | None:
    """Find the dots of a grid, dark or light, on a picture (h, w) and number them.

    To a tenth of a pixel or so; None where no lattice is seen.
    """
    level = _evened(grey)
    cut = _middle_level(level)
    best: tuple[Blobs, Lattice] | None = None
    for mask in (level < cut, level > cut):
        blobs = _blobs(mask)
        lattice = grow_lattice(blobs.xy)
        if lattice is not None and (best is None or len(lattice) > len(best[1])):
            best = (blobs, lattice)
    return best


def _evened(grey: Floats) -> NDArray[np.float32]:
    """Picture, slightly smoothed, over the light that falls on it: a wide mean."""
    soft = np.asarray(cv2.GaussianBlur(grey.astype(np.float32), (0, 0), SMOOTH_PX))
    height, width = grey.shape
    shrink = max(height, width) / LIGHT_SCALE
    size = (max(2, round(width / shrink)), max(2, round(height / shrink)))
    small = cv2.GaussianBlur(
        cv2.resize(soft, size, interpolation=cv2.INTER_AREA), (0, 0), LIGHT_SCALE / 8
    )
    light = np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR))
    return np.asarray(soft / np.maximum(light, 1e-3 * float(light.max()) + 1e-6), np.float32)


def _middle_level(level: NDArray[np.float32]) -> float:
    """Level between dark and bright that parts them best (Otsu's criterion, from memory)."""
    low, high = (float(v) for v in np.percentile(level, (0.1, 99.9)))
    if high <= low:
        return low
    scaled = np.clip((level - low) / (high - low) * 255, 0, 255).astype(np.uint8)
    cut, _ = cv2.threshold(scaled, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    return low + (float(cut) + 0.5) / 255 * (high - low)


def _blobs(mask: NDArray[np.bool_]) -> Blobs:
    """Round blobs of about one size that do not touch the border."""
    count, _, stats, centre = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    left, top, width, height, area = (stats[1:count, i].astype(np.float64) for i in range(5))
    inside = (left > 0) & (top > 0)
    inside &= (left + width < mask.shape[1]) & (top + height < mask.shape[0])
    longer, shorter = np.maximum(width, height), np.maximum(np.minimum(width, height), 1)
    fill = area / (width * height)
    good = inside & (area >= SMALLEST_AREA_PX) & (longer < LONGEST_BOX * shorter)
    good &= (fill > FILLS[0]) & (fill < FILLS[1])
    if good.any():
        # Specks outnumber dots at times, but do not outweigh them.
        typical = _weighted_median(area[good])
        good &= (area > AREAS[0] * typical) & (area < AREAS[1] * typical)
    return Blobs(np.asarray(centre[1:count][good], np.float64), np.sqrt(area[good] / np.pi))


def _weighted_median(area: Floats) -> float:
    rising = np.sort(area)
    total = np.cumsum(rising)
    return float(rising[np.searchsorted(total, total[-1] / 2)])


def ground_between(grey: Floats, xy: Floats, lattice: Lattice) -> float:
    """How far grey half way between neighbouring dots (n, 2), px, has come back to the ground's.

    1 between dots that stand apart, less where they run into each other. The dark squares of a
    checkerboard, taken for dots, give 1/2 by symmetry, however blurred. NaN without cells.
    """
    table = np.full((*(lattice.index.max(axis=0) + 1), 2), np.nan)
    table[lattice.index[:, 0], lattice.index[:, 1]] = xy
    dot, across, down = table[:-1, :-1], table[1:, :-1], table[:-1, 1:]
    places = (dot, (dot + across) / 2, (across + down) / 2)
    soft = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), SMOOTH_PX)
    whole = np.all([np.isfinite(place).all(axis=-1) for place in places], axis=0)
    if not whole.any():
        return float("nan")
    column, row = np.moveaxis(np.stack([place[whole] for place in places]), -1, 0)
    level = cv2.remap(soft, column.astype(np.float32), row.astype(np.float32), cv2.INTER_LINEAR)
    inside, between, ground = np.asarray(level, np.float64)
    return float(np.median(between - inside) / np.median(ground - inside))


def refine_dots(grey: Floats, blobs: Blobs, lattice: Lattice) -> Marks:
    """Refine numbered dots on the raw pixels.

    One for each point of the lattice, in its order. The centre is that of the ellipse seen, not yet
    the place of the circle's own centre; `params` 7 is its radius, px.

    Notes
    -----
    Least squares of ``(1 + gx x + gy y) (m + A F(R - r))`` with F a Gaussian-blurred step. A dot
    that is slightly oval leaves a symmetric misfit, which does not move the centre.
    """
    xy, radius = blobs.xy[lattice.point], blobs.radius[lattice.point]
    typical = float(np.median(radius))
    # Half way to the next dot, or as far as the edge's blur can matter.
    reach = int(np.clip(lattice.spacing / 2, 3, min(2 * typical + 4, GREATEST_REACH_PX + typical)))

    def start(value: Floats, chosen: slice) -> Floats:
        params = np.zeros((len(value), 8))
        params[:, 2] = min(1.5, 0.3 * typical)
        low, high = np.nanpercentile(value, (5, 95), axis=1)
        dark = np.nanmean(value, axis=1) > grey_inside(value)
        params[:, 3] = (low + high) / 2
        params[:, 4] = np.where(dark, low - high, high - low) / 2
        params[:, 7] = radius[chosen]
        return params

    def grey_inside(value: Floats) -> Floats:
        y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
        squares = (x**2 + y**2)[x**2 + y**2 <= reach**2]
        return np.asarray(np.nanmean(value[:, squares <= (typical / 2) ** 2], axis=1))

    return fit_marks(grey, xy, reach, start, _dot)


def _dot(params: Floats, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Parameters: centre, blur, ground, contrast, light's gradient (2), radius."""
    cx, cy, blur, ground, contrast, gx, gy, radius = params.T[:, :, None]
    x0, y0 = x - cx, y - cy
    distance = np.hypot(x0, y0) + 1e-9
    light = 1 + gx * x + gy * y
    z = (radius - distance) / blur
    f, slope = smooth_step(z)
    disc = ground + contrast * f
    rim = light * contrast * slope / blur
    slopes = [
        rim * x0 / distance,
        rim * y0 / distance,
        -rim * z,
        light * np.ones_like(f),
        light * f,
        x * disc,
        y * disc,
        rim,
    ]
    return light * disc, np.stack(np.broadcast_arrays(*slopes), axis=-1)
