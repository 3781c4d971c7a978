"""Normal equations of what thousands of short profiles share, each kind of change by its terms.

A shared unknown changes every profile by a rate, an array over its pixels, and by a term that tells
how much of it there is at that profile. So pixels are summed once, for every two rates; all else is
done with these sums.
"""

from collections.abc import Sequence

import numpy as np

from cogloupe_calibration.arrays import Floats, Reals


def products(values: Sequence[Reals] | Reals) -> Floats:
    """Sum the products of every two values over the pixels.

    Parameters
    ----------
    values : m ndarrays, shape (k, n)
        Pixel by pixel in memory: see `response.blurs_out`.

    Returns
    -------
    ndarray, shape (m, m, n)
    """
    count, n = len(values), values[0].shape[1]
    found = np.empty((count, count, n))
    for i in range(count):
        for j in range(i + 1):
            found[i, j] = found[j, i] = np.einsum("kn,kn->n", values[i], values[j])
    return found


def normal_equations(sums: Floats, blocks: Sequence[Reals]) -> tuple[Floats, Floats]:
    """Normal equations of unknowns made of blocks of terms.

    Parameters
    ----------
    sums : ndarray, shape (b + 1, b + 1, n)
        Products of the rates of the blocks, and of the data, which come last.
    blocks : b ndarrays, shape (n, q)
        Terms of each rate.

    Returns
    -------
    normal : ndarray, shape (u, u)
        Of all terms of all blocks.
    pull : ndarray, shape (u,)
    """
    ends = np.cumsum([block.shape[1] for block in blocks])
    parts = [slice(end - block.shape[1], end) for end, block in zip(ends, blocks, strict=True)]
    normal, pull = np.empty((ends[-1], ends[-1])), np.empty(ends[-1])
    for i, block in enumerate(blocks):
        pull[parts[i]] = block.T @ sums[i, -1]
        for j in range(i + 1):
            normal[parts[i], parts[j]] = block.T @ (sums[i, j][:, None] * blocks[j])
            normal[parts[j], parts[i]] = normal[parts[i], parts[j]].T
    return normal, pull


def inverses(normal: Reals, ridge: Reals) -> Floats:
    """Invert many small normal equations, by sweeping one unknown after the other.

    Parameters
    ----------
    normal : ndarray, shape (u, u, n)
        Symmetric, and with the ridge positive definite, so that no pivots are needed.
    ridge : ndarray, shape (u, n) or (u, 1)
        Added to the diagonals.

    Returns
    -------
    ndarray, shape (u, u, n)

    Notes
    -----
    All of them at once take a third of the time of a library that takes one by one.
    """
    found = np.array(normal, np.float64)
    every = np.arange(len(found))
    found[every, every] += ridge
    for k in every:
        row = found[k] / found[k, k]
        column, own = found[:, k].copy(), 1 / found[k, k]
        found -= column[:, None] * row
        found[k], found[:, k], found[k, k] = row, -column * own, own
    return found


def applied(matrices: Floats, values: Reals) -> Floats:
    """Multiply matrices, shape (u, u, n), with vectors, shape (u, n)."""
    return np.asarray(np.einsum("ijn,jn->in", matrices, values))
