"""Figures as the reading's files hold them."""

from math import degrees

import numpy as np


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
