"""How badly steps fit an outline's profiles: what tells a wrong camera curve, and a bevel."""

from dataclasses import dataclass
from math import sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe.optics.bevel import (
    NO_BEVEL,
    Bevel,
    Profiles,
    from_edge,
    levels_beside,
    single_steps,
    unit_steps,
)
from cogloupe.optics.bevel_start import sector_of
from cogloupe.optics.greys import Greys
from cogloupe_calibration.arrays import Reals
from cogloupe_calibration.robust import median

STEP_BLURS, BIN_BLURS, PARTS = 2.5, 0.5, 40
"""Where a step tells the camera's curve, how finely that is looked at, and the parts of an outline
whose words are compared."""
SECTORS = 36
"""Ways of facing, of 10 degrees, over which profiles are averaged: finer than light from one side
changes, and each with hundreds of samples."""
BIN_PX = 0.5
"""How finely they are averaged; finer than what a blurred edge shows."""


@dataclass(frozen=True)
class Misfit:
    """What steps leave of an outline's averaged profiles.

    Attributes
    ----------
    overall : float
        Mean square, in its own variance, of what is left on average over the whole outline: a
        wrong camera curve shows here.
    by_facing : float
        Mean square of what is left, averaged by the way the outline faces, in shares of contrast: a
        bevel shows here. What noise and marks leave is taken off, down to a tenth of what pixel
        noise does.
    error : float
        Typical standard deviation of what is left on average over the whole outline, in shares of
        contrast.
    """

    overall: float
    by_facing: float
    error: float


def misfit(profiles: Profiles, greys: Greys, bevel: Bevel = NO_BEVEL) -> Misfit:
    """How badly steps fit an outline's profiles.

    Parameters
    ----------
    greys : Greys
        What was measured.
    """
    z = from_edge(profiles)
    found = levels_beside(profiles, unit_steps(profiles, bevel))
    left = greys.stored(found.grey, profiles.grey - found.grey)
    whole = greys.full_scale * greys.contrast(np.median(found.levels, axis=1))
    share = np.clip(left / whole, -0.6, 0.6)
    distance = z * profiles.blur[:, None]
    bins = np.floor((distance - distance.min()) / BIN_PX).astype(int)
    group = _half_sectors(profiles.normal)
    cell = (group[:, None] * (bins.max() + 1) + bins).ravel("F")
    size = 2 * SECTORS * (int(bins.max()) + 1)
    count, total, square = (
        np.bincount(cell, weights, size).reshape(SECTORS, 2, -1)
        for weights in (None, share.ravel("F"), share.ravel("F") ** 2)
    )
    pixel = float((square - total**2 / np.maximum(count, 1)).sum() / count.sum())
    overall, error = _in_its_errors(z, share)
    return Misfit(overall, _mean_square(total, count, pixel), error)


def roughness(profiles: Profiles) -> float:
    """How roughly single steps fit: what a typical sample leaves, in px that it moves an edge."""
    near = np.abs(from_edge(profiles)) < STEP_BLURS
    found = levels_beside(profiles, single_steps(profiles))
    square = ((profiles.grey - found.grey) ** 2 * near).sum(axis=1) / np.maximum(
        near.sum(axis=1), 1
    )
    return median(np.sqrt(square) * profiles.blur) / median(np.abs(found.rise))


def _in_its_errors(z: Reals, share: Reals) -> tuple[float, float]:
    """Mean square of the average misfit across the edge, in the variance that its parts show.

    Gives the root of that variance, too.

    Tool marks reach over many samples, so what pixels leave says nothing of their chance.
    """
    bins = np.floor((z + STEP_BLURS) / BIN_BLURS).astype(int)
    count = int(2 * STEP_BLURS / BIN_BLURS)
    part = np.arange(len(z)) * PARTS // len(z)
    near = (bins >= 0) & (bins < count)
    cell = (part[:, None] * count + bins)[near]
    sums = np.stack(
        [np.bincount(cell, weights, PARTS * count) for weights in (None, share[near])]
    ).reshape(2, PARTS, count)
    seen = sums[0].sum(axis=0) > PARTS
    if not seen.any():
        return 1.0, 1.0
    weight, total = sums[:, :, seen]
    mean = total.sum(axis=0) / weight.sum(axis=0)
    apart = np.where(weight > 0, total / np.maximum(weight, 1) - mean, 0.0)
    error = np.maximum(apart.std(axis=0, ddof=1) / sqrt(PARTS), 1e-9)
    return float(np.mean((mean / error) ** 2)), median(error)


def _half_sectors(normal: Reals) -> NDArray[np.int64]:
    """Number each half, along the outline, of the samples that face each way: shape (n,)."""
    sector = sector_of(normal, SECTORS)
    order = np.argsort(sector, kind="stable")
    counts = np.bincount(sector, minlength=SECTORS)
    rank = np.arange(len(sector)) - np.repeat(np.cumsum(counts) - counts, counts)
    group = np.empty(len(sector), dtype=np.int64)
    group[order] = 2 * sector[order] + (2 * rank >= counts[sector[order]])
    return group


def _mean_square(total: NDArray[Any], count: NDArray[Any], pixel: float) -> float:
    """Mean square of the averages of cells, from two halves of each whose chance is their own.

    Tool marks are much like noise that reaches over many samples: what they leave in one half says
    nothing of the other.
    """
    one, two = count.swapaxes(0, 1)
    weight = one * two / np.maximum(one + two, 1)
    means = (total / np.maximum(count, 1)).prod(axis=1)
    chance = pixel * float((one + two > 0).sum() / count.sum())
    return max(float((weight * means).sum() / max(weight.sum(), 1.0)), 0.1 * chance)
