"""Find the gear on a photograph: which part of it, which colours, which grey level divides.

Works on a reduced picture, since only the place is wanted here; `optics.edges` then measures at
full resolution. The ground and the gear are each taken to be lit by a smooth (quadratic) light, so
that uneven light does not move the dividing level.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import inf, pi
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe.finding.colour import LUMA, mix_colours, mixed_otherwise
from cogloupe.finding.gear_detection import GearOutline, gear_outlines
from cogloupe_calibration.arrays import Bools, Floats

REDUCED_SIDE_PX = 900
CERTAIN_SHARE = 0.75
"""Share of the seen turn that evenly spaced teeth must take for no other mixture of colours to be
tried, where the gear is clear in this one."""
CLEAR, CLEAR_CONTRAST = 8.0, 0.1
"""Clearness (see `Region.clear`), and contrast as a share of the picture's range, from which
brightness serves (brass on a dark ground shows 9 to 15; a ground as bright as the gear 2 to 6)."""
BRIGHTNESS_AHEAD = 1.5
"""Factor by which another mixture must be clearer than brightness, which files keep finer: a small
difference of colours between two greys looks clear where a JPEG file has smoothed it."""
NEARLY = 0.97
"""Share of the best one's by which another look at the same gear may be less like one."""
BESIDE_PX, EDGE_PX, SIDE_SECTORS, LEAST_IN_SECTOR = 9, 3, 12, 20
"""Width of the band along an outline in which both sides are compared and of the edge within it, in
pixels of the reduced picture; parts of a turn in which light is taken to be even; and their least
pixels."""


@dataclass(frozen=True, kw_only=True)
class Region:
    """Where the gear is on the photograph.

    Attributes
    ----------
    weights : ndarray, shape (3,), or None
        Mixture of red, green and blue that was measured; None for a grey picture.
    threshold : ndarray, shape (h', w'), float32
        Level midway between gear and ground over the reduced frame, in mixed pixel values.
    bright : bool
        True where the gear is brighter than the ground.
    x, y, tip_radius : float
        Rough centre and tip radius, px of the full picture.
    root_radius : float
        Rough root radius, px.
    teeth : int
        Rough count.
    share : float
        Share (0 to 1) of the seen turn that evenly spaced teeth take.
    cut_off : bool
        True where the gear reaches the picture's border.
    clear : float
        Difference of both sides of the outline, in their common standard deviation.
    contrast : float
        The same difference in mixed pixel values.
    coloured : bool
        True where the picture has colours, not only greys stored as colours.
    """

    weights: Floats | None
    threshold: NDArray[np.float32]
    bright: bool
    x: float
    y: float
    tip_radius: float
    root_radius: float
    teeth: int
    share: float
    cut_off: bool
    clear: float = inf
    contrast: float = inf
    coloured: bool = False


def find_gears(pixels: NDArray[Any]) -> list[Region]:
    """Find what looks like a gear, best first.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3)
        Upright photograph.

    Returns
    -------
    list of Region
        Empty where no outline repeats like teeth.
    """
    small = _reduced(pixels).astype(np.float32)
    found: list[Region] = []
    for weights in _mixtures(small):
        found += _gears_in(np.asarray(mix_colours(small, weights), np.float32), weights)
        if found and _certain(found[0], float(np.ptp(small))):
            break
    if small.ndim == 3 and found and max(r.share for r in found) <= CERTAIN_SHARE:
        best = max(found, key=_merit)
        weights = _fisher_mixture(small, best)
        found += _gears_in(np.asarray(mix_colours(small, weights), np.float32), weights)
    coloured = small.ndim == 3 and _colourfulness(small) > 0.0
    found = [replace(region, coloured=coloured) for region in found]
    distinct = _without_repeats(sorted(found, key=_merit, reverse=True))
    return [_to_full_size(region, pixels.shape[1] / small.shape[1]) for region in distinct]


def _reduced(pixels: NDArray[Any]) -> NDArray[Any]:
    """The picture made small enough to be looked through."""
    height, width = pixels.shape[:2]
    scale = min(1.0, REDUCED_SIDE_PX / max(height, width))
    size = (round(width * scale), round(height * scale))
    # Halves are made in a tenth of the time of other parts.
    while max(pixels.shape[:2]) > 4 * REDUCED_SIDE_PX:
        half = (pixels.shape[1] // 2, pixels.shape[0] // 2)
        even = pixels[: 2 * half[1], : 2 * half[0]]
        pixels = cv2.resize(even, half, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA))


def _certain(region: Region, span: float) -> bool:
    """Whether no other mixture of colours need be tried."""
    clear = region.clear > CLEAR and region.contrast > CLEAR_CONTRAST * span
    return region.share > CERTAIN_SHARE and clear


def _merit(region: Region) -> float:
    return float(region.share * region.tip_radius**0.5)


def _mixtures(small: NDArray[np.float32]) -> Iterator[Floats | None]:
    """Colour mixtures to try: brightness, each colour alone, and differences of colours."""
    if small.ndim == 2:
        yield None
        return
    yield LUMA
    if _colourfulness(small) < 0.01:
        return
    yield from np.eye(3)
    yield np.array([1.0, -0.5, -0.5])
    yield np.array([-0.5, -0.5, 1.0])
    yield np.array([-0.5, 1.0, -0.5])


def _colourfulness(small: NDArray[np.float32]) -> float:
    """Mean distance of the colours from grey, as a share of the picture's range."""
    from_grey = np.abs(small - small.mean(axis=2, keepdims=True))
    return float(from_grey.mean() / (np.ptp(small) or 1.0)) if from_grey.max() > 0.5 else 0.0


def _gears_in(grey: NDArray[np.float32], weights: Floats | None) -> list[Region]:
    """Gears that one grey picture shows, in its own pixels, best first."""
    regions = []
    for threshold in _dividing_levels(grey):
        for bright in (False, True):
            mask = (grey > threshold) if bright else (grey < threshold)
            for outline in gear_outlines(mask):
                circle = outline.circle
                clear, contrast = inf, inf
                if weights is not None:
                    clear, contrast = _sides(grey, mask, outline)
                regions.append(
                    Region(
                        weights=weights, threshold=threshold, bright=bright,
                        x=circle.x, y=circle.y, tip_radius=circle.radius,
                        root_radius=outline.root_radius, teeth=outline.teeth,
                        share=outline.share, cut_off=outline.cut_off,
                        clear=clear, contrast=contrast,
                    )
                )  # fmt: skip
        if regions:
            break
    return sorted(regions, key=_merit, reverse=True)


def _dividing_levels(grey: NDArray[np.float32]) -> Iterator[NDArray[np.float32]]:
    """Maps of the level between gear and ground: for uneven light first, then one level."""
    if float(np.ptp(grey)) <= 0:
        return
    height, width = grey.shape
    # Light is smooth, so a fourth of the reduced picture's lines tells it as well.
    size = (max(width // 4, 8), max(height // 4, 8))
    coarse = np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.float32)
    level = np.full(coarse.shape, _otsu_level(coarse), np.float32)
    flat = np.full(grey.shape, level[0, 0], np.float32)
    terms = _quadratic_terms(coarse.shape)
    for _ in range(5):
        above = coarse > level
        if not 0.005 < above.mean() < 0.995:
            break
        both = [_smooth_light(coarse, side, terms) for side in (above, ~above)]
        level = np.asarray(np.mean(both, axis=0) @ terms, np.float32).reshape(coarse.shape)
    yield np.asarray(cv2.resize(level, (width, height)), np.float32)
    yield flat


def _otsu_level(grey: NDArray[np.float32]) -> float:
    """Level that divides the greys into two classes with least spread (Otsu's)."""
    low, span = float(grey.min()), float(np.ptp(grey)) or 1.0
    eight = np.round((grey - low) * (255 / span)).astype(np.uint8)
    level, _ = cv2.threshold(eight, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    return low + (level + 0.5) * span / 255


def _quadratic_terms(shape: tuple[int, ...]) -> NDArray[np.float32]:
    """Terms of a quadratic surface over a frame, shape (6, h w)."""
    x = np.linspace(-1, 1, shape[1], dtype=np.float32)[None, :]
    y = np.linspace(-1, 1, shape[0], dtype=np.float32)[:, None]
    terms = np.empty((6, *shape), np.float32)
    for term, values in zip(terms, (1.0, x, y, x * y, x * x, y * y), strict=True):
        term[:] = values
    return terms.reshape(6, -1)


def _smooth_light(
    grey: NDArray[np.float32], chosen: Bools, terms: NDArray[np.float32]
) -> NDArray[np.float64]:
    """Coefficients of a quadratic surface through the chosen pixels."""
    weighted = terms * chosen.ravel()
    stiff = 1e-3 * np.count_nonzero(chosen) * np.diag([0, 0.01, 0.01, 1, 1, 1])
    return np.linalg.solve(weighted @ terms.T + stiff, weighted @ grey.ravel())


def _sides(grey: NDArray[np.float32], mask: Bools, outline: GearOutline) -> tuple[float, float]:
    """How clearly both sides of an outline differ, and by how much, in most parts of its turn."""
    band = np.zeros(mask.shape, np.uint8)
    for colour, width in ((1, BESIDE_PX), (0, EDGE_PX)):
        cv2.drawContours(band, [outline.contour], -1, colour, width)
    y, x = np.nonzero(band)
    value, material = grey[y, x].astype(np.float64), mask[y, x]
    turn = (np.arctan2(y - outline.circle.y, x - outline.circle.x) + pi) / (2 * pi)
    cell = 2 * (turn * SIDE_SECTORS).astype(int).clip(0, SIDE_SECTORS - 1) + material
    count, total, square = (
        np.bincount(cell, weights, 2 * SIDE_SECTORS).reshape(-1, 2)
        for weights in (None, value, value**2)
    )
    count = np.maximum(count, 1)
    mean = total / count
    variance = np.maximum(square / count - mean**2, 0.0).sum(axis=1)
    seen = count.min(axis=1) >= LEAST_IN_SECTOR
    if not seen.any():
        return 0.0, 0.0
    apart = np.abs(mean[:, 1] - mean[:, 0])[seen]
    # Rounding alone leaves any grey a little uncertain.
    return float(np.median(apart / np.sqrt(variance[seen] + 0.1))), float(np.median(apart))


def _fisher_mixture(small: NDArray[np.float32], region: Region) -> Floats:
    """Mixture of colours that divides gear from ground best (Fisher's linear discriminant)."""
    y, x = np.mgrid[0 : small.shape[0], 0 : small.shape[1]]
    distance = np.hypot(x - region.x, y - region.y) / region.tip_radius
    gear = small[(distance < 0.97 * region.root_radius / region.tip_radius) & (distance > 0.7)]
    ground = small[(distance > 1.02) & (distance < 1.15)]
    if min(len(gear), len(ground)) < 50:
        return LUMA
    within = np.cov(gear.T) + np.cov(ground.T)
    within += np.eye(3) * (0.01 * np.trace(within) + 1e-6)
    direction = np.linalg.solve(within, gear.mean(axis=0) - ground.mean(axis=0))
    return np.asarray(direction / np.abs(direction).sum(), np.float64)


def _without_repeats(regions: list[Region]) -> list[Region]:
    """Keep the clearest look at each place of those that are nearly the best; best place first."""
    kept: list[Region] = []
    while regions:
        best, nearly = regions[0], NEARLY * _merit(regions[0])
        here = [r for r in regions if _overlap(r, best)]
        kept.append(max((r for r in here if _merit(r) >= nearly), key=_clearness))
        regions = [r for r in regions if not _overlap(r, best)]
    return kept


def _clearness(region: Region) -> float:
    """How clear a gear is, with the start that brightness has."""
    return region.clear * (1.0 if mixed_otherwise(region.weights) else BRIGHTNESS_AHEAD)


def _overlap(one: Region, two: Region) -> bool:
    apart = np.hypot(one.x - two.x, one.y - two.y)
    return bool(apart <= 0.5 * max(one.tip_radius, two.tip_radius))


def _to_full_size(region: Region, factor: float) -> Region:
    """Region in px of the full picture; pixel centres stay at whole numbers."""
    return replace(
        region,
        x=(region.x + 0.5) * factor - 0.5,
        y=(region.y + 0.5) * factor - 0.5,
        tip_radius=region.tip_radius * factor,
        root_radius=region.root_radius * factor,
    )
