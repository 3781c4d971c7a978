"""Find gears by grey levels: what lies on one side of a level, and is edged with even teeth.

The ground and the gear are each taken to be lit by a smooth (quadratic) light, so that uneven light
does not move the dividing level.
"""

from collections.abc import Iterator
from math import inf

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe.finding.colour import mix_colours, mixed_otherwise
from cogloupe.finding.gear_detection import gear_outlines
from cogloupe.finding.mixtures import clearness, dividing_mixture, mixtures
from cogloupe.finding.region import Region, overlap, region_of
from cogloupe_calibration.arrays import Bools, Floats

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

MOST_BORDERS = 0.1
"""Share of neighbouring pixels on both sides of a level from which that is noise: thousands of
outlines would be looked at. A fine gear that fills the picture has 0.03."""


def gears_by_mask(small: NDArray[np.float32]) -> list[Region]:
    """Find what a grey level shows as a gear, best first.

    In its pixels, a look at each place; empty where no outline repeats like teeth.

    Parameters
    ----------
    small : ndarray, shape (h, w) or (h, w, 3)
        Reduced picture.
    """
    found: list[Region] = []
    for weights in mixtures(small):
        found += _gears_in(np.asarray(mix_colours(small, weights), np.float32), weights)
        if found and _certain(found[0], float(np.ptp(small))):
            break
    if small.ndim == 3 and found and max(r.share for r in found) <= CERTAIN_SHARE:
        best = max(found, key=lambda region: region.merit)
        radii = best.root_radius, best.tip_radius
        weights = dividing_mixture(small, (best.x, best.y), radii)
        found += _gears_in(np.asarray(mix_colours(small, weights), np.float32), weights)
    return _without_repeats(sorted(found, key=lambda region: region.merit, reverse=True))


def _certain(region: Region, span: float) -> bool:
    """Whether no other mixture of colours need be tried."""
    clear = region.clear > CLEAR and region.contrast > CLEAR_CONTRAST * span
    return region.share > CERTAIN_SHARE and clear


def _gears_in(grey: NDArray[np.float32], weights: Floats | None) -> list[Region]:
    """Gears that one grey picture shows, in its own pixels, best first."""
    regions = []
    for threshold in _dividing_levels(grey):
        above = grey > threshold
        if np.mean(above[:, 1:] != above[:, :-1]) > MOST_BORDERS:
            break
        for bright in (False, True):
            mask = above if bright else (grey < threshold)
            for outline in gear_outlines(mask):
                clear, contrast = inf, inf
                if weights is not None:
                    clear, contrast, _ = clearness(grey, mask, outline)
                looks = {"weights": weights, "threshold": threshold, "bright": bright}
                regions.append(region_of(outline, clear=clear, contrast=contrast, **looks))
        if regions:
            break
    return sorted(regions, key=lambda region: region.merit, reverse=True)


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


def _without_repeats(regions: list[Region]) -> list[Region]:
    """Keep the clearest look at each place of those that are nearly the best; best place first."""
    kept: list[Region] = []
    while regions:
        here = [r for r in regions if overlap(r, regions[0])]
        nearly = NEARLY * regions[0].merit, NEARLY * max(r.follows for r in here)
        alike = [r for r in here if r.merit >= nearly[0] and r.follows >= nearly[1]]
        kept.append(max(alike or here, key=_clearness))
        regions = [r for r in regions if not overlap(r, regions[0])]
    return kept


def _clearness(region: Region) -> float:
    """How clear a gear is, with the start that brightness has."""
    return region.clear * (1.0 if mixed_otherwise(region.weights) else BRIGHTNESS_AHEAD)
