"""The shape of a blurred edge in a camera's own grey values.

Light blurs evenly to both sides of an edge, but a camera that stores its values by the sRGB curve
(IEC 61966-2-1) bends the blurred step: half way between the two greys is then not half way
between the two amounts of light, and the edge seems to move into the darker side by half a blur.
Which of the two a picture follows is told from the lopsidedness of its own edges.
"""

from dataclasses import dataclass
from functools import cached_property
from math import pi, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Floats = NDArray[np.floating[Any]]

_GRID = np.linspace(0, 1, 2049) ** 2  # crowded where the curve bends most
_Z = np.linspace(-7, 7, 2801)
_SHARES = np.linspace(-1, 2, 6001)


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
    return np.interp(stored, _encoded(curve), _GRID)


@dataclass(frozen=True)
class BrokenEdge:
    """A band along the edges of n profiles, and a shadow beside them; lengths in blurs.

    Attributes
    ----------
    width : ndarray, shape (n,)
        Width of the band.
    band : ndarray, shape (n,)
        Its light, 0 for that of the material and 1 for that of the ground.
    reach : ndarray, shape (n,)
        How far the shadow reaches: the standard deviation of the Gaussian it fades as.
    shade : ndarray, shape (n,)
        How much the light of the ground changes at the edge, in differences of ground and
        material.
    """

    width: Floats
    band: Floats
    reach: Floats
    shade: Floats


@dataclass(frozen=True)
class BrokenStep:
    """Stored unit steps of a broken edge, each of shape (n, k), and their changes.

    Attributes
    ----------
    step : ndarray
    both, inner : ndarray
        Change when both edges move, and when the band grows wider inwards, per blur.
    lit, shaded : ndarray
        Change with the light of the band, and of the shadow.
    face, ground : ndarray
        Change with the stored level of either.
    """

    step: Floats
    both: Floats
    inner: Floats
    lit: Floats
    shaded: Floats
    face: Floats
    ground: Floats


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

    @property
    def half_way(self) -> float:
        """Distance out of the true edge, in blurs, where the stored value is half way."""
        return float(np.interp(0.5, self.step, _Z))

    @property
    def black(self) -> float:
        """What no light is, where that of the material is 0 and that of the ground is 1."""
        face, ground = decode(np.array([self.material, self.ground]), self.curve)
        return float(face / (face - ground))

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
        return _look_up(z, _Z, self.step, self.slope)

    def banded(self, z: Floats, edge: BrokenEdge) -> BrokenStep:
        """Step of an outline with a band along it and a shadow beside it, and how it changes.

        Parameters
        ----------
        z : ndarray, shape (n, k)
            Distance out of the outer edge, in blurs.
        edge : BrokenEdge

        Returns
        -------
        BrokenStep
        """
        within = z + edge.width[:, None]
        far, near = ndtr(within), ndtr(z)
        bell = _bell(z)
        fall = z / edge.reach[:, None]
        dark = near * np.exp(-(fall**2) / 2)
        inner = edge.band[:, None] * _bell(within)
        shade = edge.shade[:, None]
        value, rate = self._stored(near + edge.band[:, None] * (far - near) + shade * dark)
        slope = (1 - edge.band)[:, None] * bell + inner
        slope += shade * (bell * dark / np.maximum(near, 1e-9) - dark * fall / edge.reach[:, None])
        lit = rate * (far - near)
        at_face, at_ground = self._stored(np.array([0.0, 1.0], z.dtype))[1]
        face, ground = rate / at_face * (1 - far), rate / at_ground * near
        return BrokenStep(value, rate * slope, rate * inner, lit, rate * dark, face, ground)

    def light(self, stored: Floats) -> Floats:
        """Amount of light behind stored values, both 0 for material and 1 for ground.

        Parameters
        ----------
        stored : ndarray

        Returns
        -------
        ndarray
            Within the table that is kept of it, -1 to 2.
        """
        if self.curve == 0:
            return stored
        return np.interp(stored, *self._rising)

    @cached_property
    def _rising(self) -> tuple[Floats, Floats]:
        """Stored values that rise, and their light: black and white may end the table early."""
        stored, rate = self._storing
        kept = np.abs(rate) > 1e-6
        return stored[kept], _SHARES[kept]

    def _stored(self, share: Floats) -> tuple[Floats, Floats]:
        """Stored value of amounts of light and its rate, all 0 for material and 1 for ground."""
        if self.curve == 0:
            return share, np.ones_like(share)
        return _look_up(share, _SHARES, *self._storing)

    @cached_property
    def _storing(self) -> tuple[Floats, Floats]:
        """Stored values of the shares of light `_SHARES`, and their rate."""
        low, high = decode(np.array([self.material, self.ground]), self.curve)
        light = np.clip(low + (high - low) * _SHARES, 0.0, 1.0)
        stored = np.interp(light, _GRID, _encoded(self.curve))
        stored = (stored - self.material) / (self.ground - self.material)
        return stored, np.gradient(stored, _SHARES)


def _look_up(value: Floats, grid: Floats, one: Floats, other: Floats) -> tuple[Floats, Floats]:
    """Values of two tables over an even grid, read linearly."""
    place = np.clip((value - grid[0]) / (grid[1] - grid[0]), 0, len(grid) - 1.001)
    index = place.astype(np.intp)
    share = place - index
    one, other = (t.astype(value.dtype) for t in (one, other))
    return (
        one[index] + share * (one[index + 1] - one[index]),
        other[index] + share * (other[index + 1] - other[index]),
    )


def _bell(z: Floats) -> Floats:
    return np.exp(-(z**2) / 2) / sqrt(2 * pi)


def _encoded(curve: float) -> Floats:
    """Stored values over `_GRID`."""
    return (1 - curve) * _GRID + curve * srgb_encode(_GRID)


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
    step, bell = ndtr(_Z), _bell(_Z)
    if curve == 0 or abs(ground - material) < 1e-6:
        return EdgeShape(0.0, step, bell, material, ground)
    low, high = decode(np.array([material, ground]), curve)
    light = low + (high - low) * step
    bent = (np.interp(light, _GRID, _encoded(curve)) - material) / (ground - material)
    return EdgeShape(curve, bent, np.gradient(bent, _Z), material, ground)
