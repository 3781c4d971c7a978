"""Angles, and places told by them. Angles rad unless named otherwise."""

from math import degrees, pi

import numpy as np

from cogloupe.numerics.missing import number
from cogloupe_calibration.arrays import Floats


def wrapped(angle: Floats) -> Floats:
    """Bring angles into [-pi, pi).

    Parameters
    ----------
    angle : ndarray
        Rad.
    """
    return np.asarray(np.mod(angle + pi, 2 * pi) - pi)


def polar(xy: Floats, centre: Floats) -> tuple[Floats, Floats]:
    """Polar coordinates about a centre.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Points, x right and y down.
    centre : ndarray, shape (2,)

    Returns
    -------
    radius, angle : ndarray, shape (n,)
        Angle in rad, growing clockwise on the picture.
    """
    x, y = (xy - centre).T
    return np.hypot(x, y), np.arctan2(y, x)


def atan2_deg(angle: float) -> float | None:
    """Angle as `atan2` gives it, in degrees; in (-180, 180].

    Parameters
    ----------
    angle : float
        Rad; NaN where not measured.
    """
    return number(degrees(float(np.angle(np.exp(1j * angle))))) if np.isfinite(angle) else None


def ring(centre: Floats, radius: float) -> Floats:
    """Points all round a circle."""
    turn = np.linspace(0, 2 * pi, 36, endpoint=False)
    return np.asarray(centre + radius * np.stack([np.cos(turn), np.sin(turn)], axis=1))
