"""The one value a pixel that is measured, worked out only where it is asked for.

Light adds up and blurs evenly, stored values do not. So where a camera stores by the sRGB curve,
every colour is turned back to light before colours are mixed and edges are fitted.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe.finding.colour import mix_colours, mixed_otherwise
from cogloupe.finding.segmentation import Region
from cogloupe.numerics.moving_average import running_mean
from cogloupe.optics.response import srgb_light
from cogloupe_calibration.arrays import Floats, Ints, Reals

MARGIN_PX = 32
"""Ground kept round the gear, px."""
ROUNDING = 0.5
"""Noise that any colour is taken to have, in levels of bytes."""
MARKS_LEFT = 0.1
"""Share of the variance of tool marks that the fit of edges cannot tell from an edge (rendered
gears show 0.02 to 0.1)."""
LEAST_PROFILES = 200
"""Profiles without which no mixture of colours is looked for: variances are known to a tenth."""


@dataclass(frozen=True, kw_only=True)
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
    power : float
        Exponent that the light of that curve is raised to, for cameras of another curve.
    """

    pixels: NDArray[Any]
    corner: tuple[int, int]
    shape: tuple[int, int]
    weights: Floats | None
    in_light: bool = False
    power: float = 1.0

    @property
    def full_scale(self) -> float:
        """Value of a pixel that is burnt out in all colours."""
        return float(np.iinfo(self.pixels.dtype).max)

    @property
    def mixed(self) -> bool:
        """Whether colours are mixed otherwise than to brightness."""
        return mixed_otherwise(self.weights)

    def rows(self, start: int, stop: int) -> NDArray[Any]:
        """Take rows of the part as they are stored.

        Returns
        -------
        ndarray, shape (stop - start, w)
        """
        x, y = self.corner
        window = self.pixels[y + start : y + stop, x : x + self.shape[1]]
        return mix_colours(window, self.weights)

    def along(self, start: Ints, step: Ints, offsets: Ints) -> NDArray[np.float32]:
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
        colours = self._colours(start, step, offsets)
        mixed = colours if self.weights is None else colours @ self.weights.astype(np.float32)
        return np.asarray(mixed.T)

    def colours(self, start: Ints, step: Ints, offsets: Ints) -> NDArray[np.float32]:
        """Take the same with colours unmixed, shape (n, k, 3), or (n, k) where there are none."""
        return np.swapaxes(self._colours(start, step, offsets), 0, 1)

    def burnt(self, start: Ints, step: Ints, offsets: Ints) -> NDArray[np.bool_]:
        """Tell which of these pixels are burnt out in all colours, shape (n, k)."""
        full = self._pixels(start, step, offsets) >= self.full_scale
        return np.asarray(full if self.weights is None else full.all(axis=2)).T

    def _colours(self, start: Ints, step: Ints, offsets: Ints) -> NDArray[np.float32]:
        stored = self._pixels(start, step, offsets)
        return self._light.take(stored) if self.in_light else stored.astype(np.float32)

    def _pixels(self, start: Ints, step: Ints, offsets: Ints) -> NDArray[Any]:
        """Stored values, shape (k, n) or (k, n, 3): see `response.blurs_out`."""
        # One flat index is read faster than two.
        width = self.pixels.shape[1]
        x, y = start.T + np.array(self.corner)[:, None]
        across, down = step.T
        index = y * width + x + (down * width + across) * offsets[:, None]
        rows = self.pixels.reshape(-1, *self.pixels.shape[2:])
        return np.asarray(rows.take(index, axis=0))

    def lit(self, stored: Reals) -> Reals:
        """Turn stored values, of no colours, to what is measured of them."""
        return np.interp(stored, np.arange(len(self._light)), self._light)

    def stored(self, values: Reals, changes: Reals) -> Reals:
        """Turn small changes of values into those of what a picture stores, about.

        Noise is about alike in bright and dark parts of that. Differences of colours stay as they
        are.

        Parameters
        ----------
        values : ndarray
            As `along` gives them.
        """
        if not self.in_light or (self.weights is not None and self.weights.min() < 0):
            return changes
        return np.asarray(changes * np.interp(np.abs(values), self._light, self._rate))

    def contrast(self, levels: Reals) -> float:
        """Difference of two values as a picture stores it, as a share of full scale.

        Parameters
        ----------
        levels : ndarray, shape (2,)
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

    @cached_property
    def _light(self) -> NDArray[np.float32]:
        """Light behind every stored value, both up to full scale."""
        stored = np.arange(self.full_scale + 1) / self.full_scale
        return (self.full_scale * srgb_light(stored) ** self.power).astype(np.float32)


def greys_of(pixels: NDArray[Any], region: Region) -> Greys:
    """Values of the part of a picture that holds a gear.

    Parameters
    ----------
    pixels : ndarray, shape (H, W) or (H, W, 3)
        Upright photograph.
    region : Region
        Where the gear is.
    """
    reach = region.tip_radius * 1.08 + MARGIN_PX
    height, width = pixels.shape[:2]
    x0, y0 = (max(0, int(c - reach)) for c in (region.x, region.y))
    x1 = min(width, int(np.ceil(region.x + reach)) + 1)
    y1 = min(height, int(np.ceil(region.y + reach)) + 1)
    whole = np.ascontiguousarray(pixels)
    return Greys(pixels=whole, corner=(x0, y0), shape=(y1 - y0, x1 - x0), weights=region.weights)


def clearest_mixture(greys: Greys, inside: Ints, step: Ints, reach: int) -> Floats | None:
    """Find the mixture of colours that tells gear and ground apart best beside an outline.

    Parameters
    ----------
    greys : Greys
        Of a colour picture.
    inside, step : ndarray, shape (n, 2)
        Pixels (x, y) inside the outline, in its order, and the way out.
    reach : int
        Pixels to each side; the outer half of them is looked at, beyond blur and bevel.

    Returns
    -------
    ndarray, shape (3,), or None
        Magnitudes sum to one. None where nothing tells.

    Notes
    -----
    Fisher's linear discriminant. Tool marks and a bevel change the brightness of a metal more than
    its colour, so where the ground has another colour a difference of colours hardly shows them.
    """
    sides = [np.arange(-reach, -reach // 2), np.arange(reach // 2 + 1, reach + 1)]
    far = inside[:, None] + step[:, None] * np.array([-reach, reach])[:, None]
    seen = ((far >= 0) & (far < greys.shape[::-1])).all(axis=(1, 2))
    if seen.sum() < LEAST_PROFILES:
        return None
    means, spread = [], np.zeros((3, 3))
    for offsets in sides:
        colours = greys.colours(inside[seen], step[seen], offsets).astype(np.float64)
        # Slow changes of the lighting are no matter: levels follow them.
        slow = running_mean(colours.mean(axis=1).T).T
        left = (colours - slow[:, None]).reshape(-1, 3)
        lag = min(4, colours.shape[1] - 1)
        steps = (colours[:, lag:] - colours[:, :-lag]).reshape(-1, 3)
        noise = steps.T @ steps / (2 * len(steps))
        spread += noise + MARKS_LEFT * (left.T @ left / len(left) - noise)
        means.append(np.median(colours, axis=(0, 1)))
    ridge = (ROUNDING * greys.full_scale / 255) ** 2 + 1e-3 * np.trace(spread)
    weights = np.linalg.solve(spread + ridge * np.eye(3), means[1] - means[0])
    size = np.abs(weights).sum()
    return np.asarray(weights / size) if size > 0 else None
