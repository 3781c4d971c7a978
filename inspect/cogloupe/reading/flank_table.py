"""Figures of all flanks of a reading as arrays."""

import numpy as np

from cogloupe.reading.models import SIDES, Reading
from cogloupe_calibration.arrays import Floats


def flank_array(reading: Reading, name: str) -> Floats:
    """A figure of every flank.

    Parameters
    ----------
    name : str
        Field of a flank.

    Returns
    -------
    ndarray, shape (z, 2)
        NaN where it was not measured.
    """
    rows = [[getattr(getattr(tooth, side), name) for side in SIDES] for tooth in reading.teeth]
    return np.array(rows, dtype=np.float64).reshape(-1, 2)
