"""Colours turned into the one value that is measured."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe_calibration.arrays import Floats

LUMA = np.array([0.299, 0.587, 0.114])  # ITU-R BT.601


_BAND = 32  # rows of colours turned into numbers at a time


def mixed_otherwise(weights: Floats | None) -> bool:
    """Tell whether a mixture of colours, if any, is another than brightness."""
    return weights is not None and not np.allclose(weights, LUMA)


def mix_colours(pixels: NDArray[Any], weights: Floats | None) -> NDArray[Any]:
    """Turn colours into the one value that is measured.

    Parameters
    ----------
    pixels : ndarray, shape (..., 3) or (...)
        Colour or grey values.
    weights : ndarray, shape (3,), or None
        Mixture; None returns the values as they are.

    Returns
    -------
    ndarray, shape (...)
        float32 where colours were mixed.
    """
    if weights is None:
        return pixels
    mixture = weights.astype(np.float32)
    mixed = np.empty(pixels.shape[:-1], np.float32)
    for start in range(0, len(pixels), _BAND):
        band = pixels[start : start + _BAND].astype(np.float32)
        np.matmul(band, mixture, out=mixed[start : start + _BAND])
    return mixed
