"""The shape of a blurred edge in a camera's own grey values.

Light blurs evenly to both sides of an edge, but a camera that stores its values by the sRGB curve
(IEC 61966-2-1) bends the blurred step: half way between the two greys is then not half way
between the two amounts of light, and the edge seems to move into the darker side by half a blur.
Which of the two a picture follows is told from the lopsidedness of its own edges.
"""

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]

_GRID = np.linspace(0, 1, 2049) ** 2  # crowded where the curve bends most
_Z = np.linspace(-7, 7, 2801)


def srgb_encode(light: Floats) -> Floats:
    """Stored value of an amount of light, both 0 to 1 (IEC 61966-2-1).

    Parameters
    ----------
    light : ndarray

    Returns
    -------
    ndarray
    """
    low = 12.92 * light
    high = 1.055 * np.maximum(light, 1e-12) ** (1 / 2.4) - 0.055
    return np.where(light <= 0.0031308, low, high)


def decode(stored: Floats, curve: float) -> Floats:
    """Amount of light behind stored values, both as shares of full scale.

    Parameters
    ----------
    stored : ndarray
    curve : float
        0 for values proportional to light, 1 for sRGB, or a mixture.

    Returns
    -------
    ndarray
    """
    if curve == 0:
        return stored
    return np.interp(stored, (1 - curve) * _GRID + curve * srgb_encode(_GRID), _GRID)


@dataclass(frozen=True)
class EdgeShape:
    """A unit step of light, blurred by one, as the camera stores it: tables against distance.

    Attributes
    ----------
    curve : float
        0 for values proportional to light, 1 for sRGB.
    step, slope : ndarray
        Step from 0 (material) to 1 (ground), and its derivative, over the distances `_Z`.
    material, ground : float
        Stored levels, as shares of full scale.
    """

    curve: float
    step: Floats
    slope: Floats
    material: float
    ground: float

    def light(self, value: Floats) -> Floats:
        """Light behind stored values, both 0 for ground and 1 for material.

        Parameters
        ----------
        value : ndarray
            Stored values on that scale.

        Returns
        -------
        ndarray
        """
        stored = np.clip(self.ground + (self.material - self.ground) * value, 0.0, 1.0)
        low, high = decode(np.array([self.ground, self.material]), self.curve)
        return np.asarray((decode(stored, self.curve) - low) / (high - low))

    def at(self, z: Floats) -> tuple[Floats, Floats]:
        """Step and slope at distances from the edge.

        Parameters
        ----------
        z : ndarray
            Distance out of the material, in blurs.

        Returns
        -------
        step, slope : ndarray
        """
        place = np.clip((z - _Z[0]) / (_Z[1] - _Z[0]), 0, len(_Z) - 1.001)
        index = place.astype(np.intp)
        share = place - index
        return (
            self.step[index] + share * (self.step[index + 1] - self.step[index]),
            self.slope[index] + share * (self.slope[index + 1] - self.slope[index]),
        )


def edge_shape(curve: float, material: float, ground: float) -> EdgeShape:
    """Shape of an edge between two stored grey levels.

    Parameters
    ----------
    curve : float
        0 for values proportional to light, 1 for sRGB, or a mixture.
    material, ground : float
        Stored grey levels, as shares of full scale.

    Returns
    -------
    EdgeShape

    Notes
    -----
    Where light is uneven both levels change by one factor, which leaves the shape nearly as it
    is; one shape serves the whole outline.
    """
    step, bell = ndtr(_Z), np.exp(-(_Z**2) / 2) / sqrt(2 * pi)
    if curve == 0 or abs(ground - material) < 1e-6:
        return EdgeShape(0.0, step, bell, material, ground)
    stored = (1 - curve) * _GRID + curve * srgb_encode(_GRID)
    low, high = np.interp([material, ground], stored, _GRID)
    light = low + (high - low) * step
    bent = (np.interp(light, _GRID, stored) - material) / (ground - material)
    return EdgeShape(curve, bent, np.gradient(bent, _Z), material, ground)


def half_way_shift(curve: float, material: float, ground: float) -> float:
    """Where the stored value is half way between the levels.

    Parameters
    ----------
    curve, material, ground : float
        As for `edge_shape`.

    Returns
    -------
    float
        Distance out of the material from the true edge, in blurs.
    """
    shape = edge_shape(curve, material, ground)
    return float(np.interp(0.5, shape.step, _Z))
