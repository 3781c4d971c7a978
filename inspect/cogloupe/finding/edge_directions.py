"""Which way edges run, all over a picture, whatever their light: no grey level decides anything.

Directions are doubled angles, as complex numbers: an edge from dark to light and one from light to
dark that run the same way count alike. Each is as long as the edge stands out of its
surroundings, so that faint edges in the shade count nearly as much as bright ones.
"""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe_calibration.arrays import Reals

Directions = NDArray[np.complex64]
"""Doubled angle of the grey gradient, shape (h, w); modulus 0 (no edge) to 1."""

EDGE_BLUR_PX, AROUND_PX = 1.0, 10.0
"""Blur before gradients are taken, and reach of the surroundings that an edge is compared with, in
pixels of the reduced picture."""
LEAST_COLOUR = 1e-3
"""Range of a difference of colours, in shares of full scale, under which a picture is grey."""
FAINTEST = 1e-6
"""Square of the gradient, in shares of full scale a pixel, below which nothing is called an edge: a
quarter of a level of 8 bits."""


def edge_directions(small: NDArray[Any]) -> Directions:
    """Directions of the edges on a picture.

    Parameters
    ----------
    small : ndarray, shape (h, w) or (h, w, 3)
        Reduced picture, in levels of 8 bits or of 16.

    Returns
    -------
    ndarray, shape (h, w), complex64
        Mean over brightness and two differences of colours, so that whatever shows an edge counts.
    """
    planes = _planes(small)
    total = np.zeros(small.shape[:2], np.complex64)
    for plane in planes:
        smooth = np.asarray(cv2.GaussianBlur(plane, (0, 0), EDGE_BLUR_PX), np.float32)
        east, south = _gradient(smooth)
        energy = east * east + south * south
        around = cv2.GaussianBlur(energy, (0, 0), AROUND_PX)
        weight = 1 / (energy + around + np.median(energy) + FAINTEST)
        total += weight * (east + 1j * south) ** 2
    return np.asarray(total / len(planes), np.complex64)


def _gradient(plane: Reals) -> tuple[Reals, Reals]:
    east, south = (cv2.Sobel(plane, cv2.CV_32F, *d, ksize=3, scale=1 / 8) for d in ((1, 0), (0, 1)))
    return np.asarray(east), np.asarray(south)


def _planes(small: NDArray[Any]) -> list[Reals]:
    """Brightness and, where there are colours, two differences of them, in shares of full scale."""
    values = small.astype(np.float32) / (255 if small.max() <= 255 else 65535)
    if values.ndim == 2:
        return [values]
    red, green, blue = (values[..., i] for i in range(3))
    differences = [red - blue, green - (red + blue) / 2]
    return [(red + green + blue) / 3, *(d for d in differences if np.ptp(d) > LEAST_COLOUR)]
