"""Means along an outline, which closes on itself, and sums across it."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe_calibration.arrays import Reals

LEVEL_WINDOW = 120
"""Samples along the outline over which levels and blur are averaged: about one flank."""
PIECE = 12
"""Samples of the pieces that what changes slowly is worked out for; grain of a texture reaches no
further."""


def running_mean(values: Reals, window: int = LEVEL_WINDOW) -> Reals:
    """Average each value with its neighbours.

    Parameters
    ----------
    values : ndarray, shape (..., n)
        In order along the outline, the last beside the first.
    window : int
        How many are averaged; of an even number, one more before than after.

    Returns
    -------
    ndarray, shape (..., n)
    """
    n = values.shape[-1]
    window = min(window, n)
    before = window // 2
    # OpenCV takes rows, and closes them only by copies of their ends.
    rows = values.reshape(-1, n)
    closed = cv2.copyMakeBorder(rows, 0, 0, before, window - before - 1, cv2.BORDER_WRAP)
    mean = cv2.blur(closed, (window, 1), anchor=(before, 0))[:, before : before + n]
    return np.asarray(mean.reshape(values.shape), values.dtype)


def by_piece(values: Reals, length: int = PIECE) -> Reals:
    """Average values over pieces of an outline.

    Parameters
    ----------
    values : ndarray, shape (m, n)
        In order along the outline.
    length : int
        Samples of a piece, or little more.

    Returns
    -------
    ndarray, shape (m, pieces)
    """
    rows, n = values.shape
    pieces = max(1, n // length)
    return np.asarray(cv2.resize(values, (pieces, rows), interpolation=cv2.INTER_AREA))


def mean_of_pieces(pieces: Reals, samples: int) -> Reals:
    """Average each piece with as many on either side, over about so many samples."""
    # An even number of them would move what is averaged by half a piece.
    return running_mean(pieces, samples // PIECE | 1)


def along(pieces: Reals, n: int) -> Reals:
    """Give each of n samples what lies between the middles of pieces.

    Parameters
    ----------
    pieces : ndarray, shape (m, pieces)

    Returns
    -------
    ndarray, shape (m, n)
    """
    return np.asarray(cv2.resize(pieces, (n, len(pieces)), interpolation=cv2.INTER_LINEAR))


def dot(a: NDArray[Any], b: NDArray[Any]) -> Reals:
    """Sum of products of each row, shapes (n, k) to (n,)."""
    return np.asarray(np.einsum("nk,nk->n", a, b))
