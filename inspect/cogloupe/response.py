"""The shape of a blurred edge in a camera's own grey values.

Light blurs evenly to both sides of an edge, but a camera that stores its values by the sRGB curve
(IEC 61966-2-1) bends the blurred step: half way between the two greys is then not half way
between the two amounts of light, and the edge seems to move into the darker side by half a blur.
How far a picture follows that curve is measured from the lopsidedness of its own edges.
"""

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import ndtr

Floats = NDArray[np.float64]

_GRID = np.linspace(0, 1, 2049) ** 2  # crowded where the curve bends most
_Z = np.linspace(-7, 7, 2801)
SNAP = 0.15
"""A measured share this near to 0 or 1 is taken as exactly that: cameras do one or the other."""


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
    """

    curve: float
    step: Floats
    slope: Floats

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
        return EdgeShape(0.0, step, bell)
    stored = (1 - curve) * _GRID + curve * srgb_encode(_GRID)
    low, high = np.interp([material, ground], stored, _GRID)
    light = low + (high - low) * step
    bent = (np.interp(light, _GRID, stored) - material) / (ground - material)
    return EdgeShape(curve, bent, np.gradient(bent, _Z))


def measure_curve(z: Floats, value: Floats, material: float, ground: float) -> tuple[float, float]:
    """How far a picture's edges follow the sRGB curve.

    Parameters
    ----------
    z : ndarray, shape (n,)
        Distances of pixels from their edge, in blurs, as found with a straight response.
    value : ndarray, shape (n,)
        Their grey values, 0 for material and 1 for ground.
    material, ground : float
        Stored grey levels, as shares of full scale.

    Returns
    -------
    curve : float
        0 to 1, set to 0 or 1 where it is near.
    shift : float
        Standard uncertainty of the edge's place that the doubt about the curve leaves, in blurs.
    """
    bins = np.linspace(-4, 4, 81)
    cell = np.digitize(z, bins) - 1
    inside = (cell >= 0) & (cell < 80)
    count = np.bincount(cell[inside], minlength=80)
    mean = np.bincount(cell[inside], value[inside], 80) / np.maximum(count, 1)
    spread = np.bincount(cell[inside], value[inside] ** 2, 80) / np.maximum(count, 1) - mean**2
    use = count >= 10
    if use.sum() < 40:
        return 0.0, 0.1
    u = np.sqrt(np.maximum(spread[use], 1e-8) / count[use] + 1e-6)
    middle, mean = ((bins[:-1] + bins[1:]) / 2)[use], mean[use]

    def misfit(p: Floats) -> Floats:
        step, _ = edge_shape(float(p[0]), material, ground).at((middle - p[1]) / p[2])
        return np.asarray((p[3] + p[4] * step - mean) / u)

    bounds = ([0, -2, 0.3, -0.3, 0.5], [1, 2, 3, 0.3, 1.5])
    fit = least_squares(misfit, [0.5, 0, 1, 0, 1], bounds=bounds, diff_step=1e-3)
    covariance = np.linalg.pinv(fit.jac.T @ fit.jac) * max(1.0, 2 * fit.cost / (len(u) - 5))
    return _settled(float(fit.x[0]), sqrt(covariance[0, 0]), material, ground)


def _settled(curve: float, u: float, material: float, ground: float) -> tuple[float, float]:
    """Snap the share to a real camera's, and turn the doubt that is left into a shift."""
    snapped = float(round(curve)) if abs(curve - round(curve)) < max(SNAP, 2 * u) else curve
    doubt = min(max(u, abs(snapped - curve)), 0.5)
    return snapped, doubt * abs(_half_way_shift(1.0, material, ground))


def _half_way_shift(curve: float, material: float, ground: float) -> float:
    """Where the stored value is half way between the levels, in blurs from the true edge."""
    shape = edge_shape(curve, material, ground)
    return float(np.interp(0.5, shape.step, _Z))
