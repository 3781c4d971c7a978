"""The one value a pixel that is measured, worked out only where it is asked for.

Light adds up and blurs evenly, stored values do not. So where a camera stores by the sRGB curve,
every colour is turned back to light before colours are mixed and edges are fitted.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe.response import srgb_light
from cogloupe.segment import Region, mix_colours

Floats = NDArray[np.float64]
Singles = NDArray[np.floating[Any]]

MARGIN_PX = 32
"""Ground kept round the gear, px."""


@dataclass(frozen=True)
class Greys:
    """Values of the pixels in a part of a picture.

    Attributes
    ----------
    pixels : ndarray, shape (H, W) or (H, W, 3)
        The whole picture, in one piece.
    corner : tuple of int
        Upper left pixel (x, y) of the part.
    shape : tuple of int
        Height and width of the part, px.
    weights : ndarray, shape (3,), or None
        Mixture of the colours, where there are any.
    in_light : bool
        Values are turned back to light by the sRGB curve; else they are taken as they are.
    """

    pixels: NDArray[Any]
    corner: tuple[int, int]
    shape: tuple[int, int]
    weights: Floats | None
    in_light: bool = False

    @property
    def full_scale(self) -> float:
        """Value of a pixel that is burnt out in all colours."""
        return float(np.iinfo(self.pixels.dtype).max)

    def rows(self, start: int, stop: int) -> NDArray[Any]:
        """Take rows of the part as they are stored.

        Parameters
        ----------
        start, stop : int

        Returns
        -------
        ndarray, shape (stop - start, w)
        """
        x, y = self.corner
        window = self.pixels[y + start : y + stop, x : x + self.shape[1]]
        return mix_colours(window, self.weights)

    def along(
        self, start: NDArray[np.int64], step: NDArray[np.int64], offsets: NDArray[np.int64]
    ) -> NDArray[np.float32]:
        """Take the values along rows or columns.

        Parameters
        ----------
        start, step : ndarray, shape (n, 2)
            First pixel (x, y) of the part, and the way from one to the next.
        offsets : ndarray, shape (k,)
            How many steps from the first.

        Returns
        -------
        ndarray, shape (n, k), float32
        """
        # One flat index is read faster than two.
        width = self.pixels.shape[1]
        first, stride = (start + self.corner) @ [1, width], step @ [1, width]
        index = first[:, None] + stride[:, None] * offsets
        if self.weights is None:
            return self._valued(self.pixels.ravel()[index])
        colours = self._valued(self.pixels.reshape(-1, 3)[index])
        return np.asarray(colours @ self.weights.astype(np.float32))

    def stored(self, values: Singles, changes: Singles) -> Singles:
        """Turn small changes of values into those of what a picture stores, about.

        Noise is about alike in bright and dark parts of that.

        Parameters
        ----------
        values : ndarray
            As `along` gives them.
        changes : ndarray

        Returns
        -------
        ndarray
        """
        if not self.in_light:
            return changes
        return np.asarray(changes * np.interp(np.abs(values), self._light, self._rate))

    def contrast(self, levels: Singles) -> float:
        """Difference of two values as a picture stores it, as a share of full scale.

        Parameters
        ----------
        levels : ndarray, shape (2,)

        Returns
        -------
        float
        """
        low, high = (float(level) for level in levels)
        between = low + (high - low) * (np.arange(64) + 0.5) / 64
        changes = self.stored(between, np.full(64, high - low))
        return abs(float(changes.mean())) / self.full_scale

    @cached_property
    def _rate(self) -> NDArray[np.float64]:
        """Change of the stored value with light."""
        values = np.arange(len(self._light), dtype=np.float64)
        return np.asarray(np.gradient(values, self._light.astype(np.float64)))

    def _valued(self, stored: NDArray[Any]) -> NDArray[np.float32]:
        return self._light[stored] if self.in_light else stored.astype(np.float32)

    @cached_property
    def _light(self) -> NDArray[np.float32]:
        """Light behind every stored value, both up to full scale."""
        stored = np.arange(self.full_scale + 1) / self.full_scale
        return (self.full_scale * srgb_light(stored)).astype(np.float32)


def greys_of(pixels: NDArray[Any], region: Region) -> Greys:
    """Values of the part of a picture that holds a gear.

    Parameters
    ----------
    pixels : ndarray, shape (H, W) or (H, W, 3)
        Upright photograph.
    region : Region
        Where the gear is.

    Returns
    -------
    Greys
    """
    reach = region.tip_radius * 1.08 + MARGIN_PX
    height, width = pixels.shape[:2]
    x0, y0 = (max(0, int(c - reach)) for c in (region.x, region.y))
    x1 = min(width, int(np.ceil(region.x + reach)) + 1)
    y1 = min(height, int(np.ceil(region.y + reach)) + 1)
    whole = np.ascontiguousarray(pixels)
    return Greys(whole, (x0, y0), (y1 - y0, x1 - x0), region.weights)
