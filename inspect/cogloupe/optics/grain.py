"""How tool marks and a grained ground make the levels beside an edge wander, and what pixels weigh.

What a picture's own plateaus say of it is the covariance of generalised least squares.
"""

from dataclasses import dataclass
from math import exp, log

import numpy as np

from cogloupe.numerics.moving_average import dot
from cogloupe_calibration.arrays import Bools, Floats, Ints, Reals
from cogloupe_calibration.robust import median

PLATEAU_BLURS = 2.2
"""From this distance to the edge on, in blurs, a pixel tells of its own side alone (to 1.4 %)."""
PLATEAU_SHARE = 0.99
"""Share of one side in a pixel from which it is taken to tell of that side alone."""

ENOUGH_PROFILES = 4000
"""Profiles that tell the grain as well as all: a variance of so many pixels is known to 2 %."""
LEAST_NOISE = 1e-6
"""Variance that any side is taken to have, by the square of the contrast."""


@dataclass(frozen=True)
class Grain:
    """How a plateau wanders along a profile.

    Attributes
    ----------
    variance, reach : float
        Of what neighbouring pixels share, a Gaussian of their distance in px.
    own : float
        Variance that each pixel has for itself, of noise and of finer marks.
    """

    variance: float
    reach: float
    own: float

    def covariance(self, k: int) -> Reals:
        """Covariance that k neighbouring pixels share, shape (k, k)."""
        distance = np.arange(k)[:, None] - np.arange(k)
        return np.asarray(self.variance * np.exp(-(distance**2) / (2 * self.reach**2)))


def grains_beside(residual: Reals, z: Reals, rise: Reals, plain: Bools) -> tuple[Grain, Grain]:
    """Grain of material and ground, from the covariance of pixels none, one and three apart.

    Parameters
    ----------
    residual, z : ndarray, shape (n, k)
        What steps leave of profiles, and distances from their edges, in blurs.
    rise : ndarray, shape (n,)
        From material to ground.
    plain : ndarray, shape (n,), bool
        Samples that may tell.
    """
    few = slice(None, None, max(1, len(residual) // ENOUGH_PROFILES))
    residual, z, rise, plain = residual[few], z[few], rise[few], plain[few]
    # Dirt is no grain.
    off = np.abs(residual)
    usual = off < 6 * median(off[::7]) + 0.3 * np.abs(rise)[:, None]
    usual &= plain[:, None]
    sides = (usual & (z < -PLATEAU_BLURS), usual & (z > PLATEAU_BLURS))
    least = LEAST_NOISE * median(np.abs(rise)) ** 2
    return _grain_of(residual, sides[0], least), _grain_of(residual, sides[1], least)


def _grain_of(residual: Reals, side: Bools, least: float) -> Grain:
    whole, near, far = (_lagged(residual, side, lag) for lag in (0, 1, 3))
    whole = max(whole, least)
    if near <= 0:
        return Grain(0.0, 1.0, whole)
    reach_squared = 4 / log(1 / min(max(far / near, 1e-3), 0.98))  # (3^2 - 1^2) / 2
    variance = min(near * exp(1 / (2 * reach_squared)), whole)
    # A share of the grain too, so that a picture without noise can be solved.
    return Grain(variance, reach_squared**0.5, max(whole - variance, 1e-3 * variance))


def _lagged(residual: Reals, side: Bools, lag: int) -> float:
    """Covariance of pixels of one side that lie a lag apart."""
    k = residual.shape[1]
    pairs = side[:, lag:] & side[:, : k - lag]
    products = residual[:, lag:] * residual[:, : k - lag]
    return float((products * pairs).sum()) / max(int(pairs.sum()), 1)


def weighed_products(
    values: Reals, grains: tuple[Grain, Grain], material: Reals, ground: Reals, kind: Ints
) -> Floats:
    """Products of values along profiles, weighed by the inverse covariances of their pixels.

    Parameters
    ----------
    values : ndarray, shape (m, k, n)
        Pixel by pixel in memory: see `response.blurs_out`.
    grains : tuple of Grain
        Of material and ground.
    material, ground : ndarray, shape (n, k)
        What either side adds to a pixel.
    kind : ndarray, shape (n,), int
        Profiles of one kind are nearly alike and share their weights: weights a little beside the
        best cost next to nothing, and make no error.

    Returns
    -------
    ndarray, shape (m, m, n)
    """
    order = np.argsort(kind, kind="stable")
    first = np.flatnonzero(np.diff(kind[order], prepend=kind[order[0]] - 1))
    one = order[first]
    weights = _weights(grains, material.take(one, axis=0), ground.take(one, axis=0))
    alike = values.take(order, axis=2)
    weighed = np.empty_like(alike)
    for weight, start, stop in zip(weights, first, [*first[1:], len(kind)], strict=True):
        weighed[:, :, start:stop] = weight @ alike[:, :, start:stop]
    products = np.empty((len(values), len(values), len(kind)))
    for i, value in enumerate(alike):
        for j, other in enumerate(weighed[: i + 1]):
            products[i, j, order] = products[j, i, order] = dot(value.T, other.T)
    return products


def _weights(grains: tuple[Grain, Grain], material: Reals, ground: Reals) -> Reals:
    """Inverses of the covariances of pixels, shape (n, k, k)."""
    k = material.shape[1]
    inner, outer = (grain.covariance(k).astype(material.dtype) for grain in grains)
    covariance = material[:, :, None] * material[:, None, :] * inner
    covariance += ground[:, :, None] * ground[:, None, :] * outer
    diagonal = np.arange(k)
    covariance[:, diagonal, diagonal] += (1 - ground) * grains[0].own + ground * grains[1].own
    return np.linalg.inv(covariance)
