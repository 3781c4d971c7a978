"""Running means along an outline, which closes on itself, and sums across it."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]

LEVEL_WINDOW = 120
"""Samples along the outline over which levels and blur are averaged: about one flank."""


def running_mean(values: Floats, window: int = LEVEL_WINDOW) -> Floats:
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


def dot(a: NDArray[Any], b: NDArray[Any]) -> Floats:
    """Sum of products of each row, shapes (n, k) to (n,)."""
    return np.asarray(np.einsum("nk,nk->n", a, b))
