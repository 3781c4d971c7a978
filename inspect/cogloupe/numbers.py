"""Figures that may be missing: their mean, and how the reading's files hold them."""

from math import degrees

import numpy as np
from numpy.typing import NDArray


def mean_seen(values: NDArray[np.float64]) -> float:
    """Mean of what was measured; NaN where nothing was.

    Parameters
    ----------
    values : ndarray
        NaN where not measured.

    Returns
    -------
    float
    """
    return float(np.nanmean(values)) if np.isfinite(values).any() else float("nan")


def number(value: float) -> float | None:
    """A float for the file: None where it was not measured.

    Parameters
    ----------
    value : float

    Returns
    -------
    float or None
    """
    return float(value) if np.isfinite(value) else None


def atan2_deg(angle: float) -> float | None:
    """Angle as `atan2` gives it, in degrees.

    Parameters
    ----------
    angle : float
        Rad; NaN where not measured.

    Returns
    -------
    float or None
        In (-180, 180].
    """
    return number(degrees(float(np.angle(np.exp(1j * angle))))) if np.isfinite(angle) else None
