"""Values of the pixels of a whole picture along crossings of an outline, its border included."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe.optics.greys import Greys
from cogloupe.optics.joint.crossings import Crossings
from cogloupe_calibration.arrays import Bools, Floats, Ints


@dataclass(frozen=True, kw_only=True)
class WideGreys(Greys):
    """Values of a picture that may be asked for beyond it: there lies more of its border."""

    @classmethod
    def of(cls, pixels: NDArray[Any], weights: Floats | None) -> "WideGreys":
        """Take all of a picture, shape (h, w) or (h, w, 3), in a mixture of its colours."""
        whole, (height, width) = np.ascontiguousarray(pixels), pixels.shape[:2]
        return cls(pixels=whole, corner=(0, 0), shape=(height, width), weights=weights)

    def by_curve(self, curve: float) -> "WideGreys":
        """Take light as another camera's curve has it."""
        return replace(self, in_light=curve > 0, power=curve or 1.0)

    @property
    def curve(self) -> float:
        """Exponent that the light of the sRGB curve is raised to; 0 takes values as they are."""
        return self.power if self.in_light else 0.0

    def across(self, crossings: Crossings, offsets: Ints) -> NDArray[np.float32]:
        """Take the values at so many steps, shape (k,), from the pixels inside: shape (k, n)."""
        return np.asarray(self.along(crossings.inside, crossings.step, offsets).T)

    def within(self, crossings: Crossings, offsets: Ints) -> Bools:
        """Tell which of these pixels lie on the picture, shape (k, n)."""
        height, width = self.shape
        x, y = crossings.inside.T[:, None] + crossings.step.T[:, None] * offsets[:, None]
        return np.asarray((x >= 0) & (x < width) & (y >= 0) & (y < height))

    def _pixels(self, start: Ints, step: Ints, offsets: Ints) -> NDArray[Any]:
        height, width = self.shape
        x, y = start.T[:, None] + step.T[:, None] * offsets[:, None]
        index = y.clip(0, height - 1) * width + x.clip(0, width - 1)
        rows = self.pixels.reshape(-1, *self.pixels.shape[2:])
        return np.asarray(rows.take(index, axis=0))
