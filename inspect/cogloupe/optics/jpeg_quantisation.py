"""How coarsely a JPEG file keeps a picture, told from the picture's own blocks.

The file's table of steps is lost where a picture was cut or stored anew, but its waves still stand
at whole steps.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe.finding.colour import LUMA

BLOCK = 8
"""Pixels of a block's side (ISO/IEC 10918-1)."""
WAVES = ((0, 1), (1, 0), (1, 1), (0, 2), (2, 0), (1, 2), (2, 1), (0, 3), (3, 0), (2, 2))
"""Waves across and down a block that edges are mostly made of."""
LEAST_STEP, MOST_STEP = 2, 80
"""Steps looked for, in levels of bytes; smaller ones drown in the rounding of pixels."""
ALIKE = 0.7
"""Mean cosine about whole steps from which waves are called whole (rounded pixels of a JPEG leave
0.8 to 1, other pictures less than 0.3)."""
LEAST_WAVES = 50
"""Waves larger than half a step that a mean cosine takes: by chance it then strays by a tenth, and
seven times that never."""


def quantisation_step(pixels: NDArray[Any], places: NDArray[np.int64]) -> float:
    """Find the step by which a JPEG file rounded the waves of a picture's edges.

    Mean of `WAVES`, levels of bytes; 0 where none is seen, or where there are more levels.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3)
        The whole picture, since blocks are counted from its corner.
    places : ndarray, shape (n, 2)
        Pixels (x, y) on edges.

    References
    ----------
    ITU-T T.81 (JPEG), A.3.3 and A.3.4: cosine transform of blocks, and its rounding.
    """
    if pixels.dtype != np.uint8:
        return 0.0
    waves = _transform(_blocks(pixels, places))
    found = [_step_of(waves[:, down, across]) for down, across in WAVES]
    return float(np.mean(found))


def _blocks(pixels: NDArray[Any], places: NDArray[np.int64]) -> NDArray[np.float64]:
    """Brightness of the whole blocks that places lie in, shape (n, 8, 8)."""
    height, width = pixels.shape[:2]
    across = width // BLOCK
    column, row = (places // BLOCK).T
    whole = (column < across) & (row < height // BLOCK)
    block = np.unique(row[whole] * across + column[whole])
    row, column = np.divmod(block[:, None, None], across)
    inside = np.arange(BLOCK)
    values = pixels[row * BLOCK + inside[:, None], column * BLOCK + inside]
    return np.asarray(values if values.ndim == 3 else values @ LUMA, np.float64)


def _transform(blocks: NDArray[np.float64]) -> NDArray[np.float64]:
    """Cosine transform of blocks about middle grey."""
    n = np.arange(BLOCK)
    basis = np.cos(np.pi * (2 * n + 1) * n[:, None] / (2 * BLOCK)) * np.sqrt(2 / BLOCK)
    basis[0] /= np.sqrt(2)
    return np.asarray(basis @ (blocks - 128) @ basis.T)


def _step_of(waves: NDArray[np.float64]) -> float:
    """Largest step that waves stand at whole multiples of; 0 where there is none."""
    found = 0.0
    for step in range(LEAST_STEP, MOST_STEP + 1):
        large = waves[np.abs(waves) > step / 2]
        if len(large) < LEAST_WAVES:
            break
        if np.cos(2 * np.pi * large / step).mean() > ALIKE:
            found = float(step)
    return found
