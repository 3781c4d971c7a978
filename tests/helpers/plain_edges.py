"""The plainest estimator of an edge's place: one profile at a time, by a general least squares.

Slow and short, to compare the vectorised one with. It is given the true levels and blur, so it
meets the information bound of a single profile.
"""

import numpy as np
from scipy.optimize import least_squares
from scipy.special import ndtr

REACH_PX = 8


def place_of_edge(image, near, along_x, outwards, material, ground, blur, cosine):
    """Place of the edge on one row or column of pixels.

    Parameters
    ----------
    image : ndarray, shape (h, w)
    near : ndarray, shape (2,)
        A point within two pixels of the edge (x, y), on the middle of that row or column.
    along_x : bool
        Take the row; else the column.
    outwards : int
        1 where the ground lies at the larger coordinate, else -1.
    material, ground : float
        Grey levels.
    blur : float
        Standard deviation of the blur along the edge's normal, pixel box included, px.
    cosine : float
        Cosine between the row or column and the edge's normal.

    Returns
    -------
    float
        Coordinate along the row or column, px.
    """
    axis, other = (0, 1) if along_x else (1, 0)
    first = round(float(near[axis])) - REACH_PX
    pixels = np.arange(first, first + 2 * REACH_PX + 1)
    across = round(float(near[other]))
    grey = image[across, pixels] if along_x else image[pixels, across]

    def residuals(place):
        z = outwards * (pixels - place[0]) * cosine / blur
        return material + (ground - material) * ndtr(z) - grey

    return float(least_squares(residuals, [float(near[axis])], xtol=1e-10).x[0])
