"""Mixtures of colours that a gear may stand out in, and how clearly it does."""

from collections.abc import Iterator
from math import pi

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe.finding.colour import LUMA
from cogloupe.finding.gear_detection import GearOutline
from cogloupe_calibration.arrays import Bools, Floats

BESIDE_PX, EDGE_PX, SIDE_SECTORS, LEAST_IN_SECTOR = 9, 3, 12, 20
"""Width of the band along an outline in which both sides are compared and of the edge within it, in
pixels of the reduced picture; parts of a turn in which light is taken to be even; and their least
pixels."""


def mixtures(small: NDArray[np.float32]) -> Iterator[Floats | None]:
    """Colour mixtures to try: brightness, each colour alone, and differences of colours.

    Parameters
    ----------
    small : ndarray, shape (h, w) or (h, w, 3)

    Yields
    ------
    ndarray, shape (3,), or None
        None for a grey picture.
    """
    if small.ndim == 2:
        yield None
        return
    yield LUMA
    if colourfulness(small) < 0.01:
        return
    yield from np.eye(3)
    yield np.array([1.0, -0.5, -0.5])
    yield np.array([-0.5, -0.5, 1.0])
    yield np.array([-0.5, 1.0, -0.5])


def colourfulness(small: NDArray[np.float32]) -> float:
    """Mean distance of the colours from grey, as a share of the picture's range.

    Parameters
    ----------
    small : ndarray, shape (h, w) or (h, w, 3)
    """
    if small.ndim == 2:
        return 0.0
    from_grey = np.abs(small - small.mean(axis=2, keepdims=True))
    return float(from_grey.mean() / (np.ptp(small) or 1.0)) if from_grey.max() > 0.5 else 0.0


def clearness(
    grey: NDArray[np.float32], mask: Bools, outline: GearOutline
) -> tuple[float, float, float]:
    """How clearly both sides of an outline differ in most parts of its turn.

    Parameters
    ----------
    grey : ndarray, shape (h, w)
    mask : ndarray, shape (h, w), bool
        What the outline encloses.

    Returns
    -------
    clear : float
        Difference of both sides, in their common standard deviation; the median of the parts.
    contrast : float
        The same difference in grey values.
    brighter : float
        Mean by which the inner side is brighter than the outer, in grey values.
    """
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
        return 0.0, 0.0, 0.0
    step = (mean[:, 1] - mean[:, 0])[seen]
    # Rounding alone leaves any grey a little uncertain.
    clear = np.abs(step) / np.sqrt(variance[seen] + 0.1)
    return float(np.median(clear)), float(np.median(np.abs(step))), float(step.mean())


def dividing_mixture(
    small: NDArray[np.float32], centre: tuple[float, float], radii: tuple[float, float]
) -> Floats:
    """Mixture of colours that divides gear from ground best (Fisher's linear discriminant).

    Parameters
    ----------
    small : ndarray, shape (h, w, 3)
    centre : (float, float)
        Of the gear, px.
    radii : (float, float)
        Of its roots and tips, px.

    Returns
    -------
    ndarray, shape (3,)
    """
    y, x = np.mgrid[0 : small.shape[0], 0 : small.shape[1]]
    distance = np.hypot(x - centre[0], y - centre[1]) / radii[1]
    gear = small[(distance < 0.97 * radii[0] / radii[1]) & (distance > 0.7)]
    ground = small[(distance > 1.02) & (distance < 1.15)]
    if min(len(gear), len(ground)) < 50:
        return LUMA
    within = np.cov(gear.T) + np.cov(ground.T)
    within += np.eye(3) * (0.01 * np.trace(within) + 1e-6)
    direction = np.linalg.solve(within, gear.mean(axis=0) - ground.mean(axis=0))
    return np.asarray(direction / np.abs(direction).sum(), np.float64)
