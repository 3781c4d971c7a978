"""What edges of one picture share: terms that change slowly over the frame and with facing."""

from dataclasses import dataclass

import numpy as np

from cogloupe_calibration.arrays import Floats

ORDERS = 3
"""Harmonics of the way an outline faces that light beside it may have. A matt surface needs one
(Lambert's cosine law), several lamps or a shine more (common practice, no source)."""


@dataclass(frozen=True)
class Frame:
    """Part of the picture that an outline takes up, for what changes slowly over it.

    Attributes
    ----------
    centre : ndarray, shape (2,)
    reach : float
        Px.
    """

    centre: Floats
    reach: float

    @classmethod
    def about(cls, xy: Floats) -> "Frame":
        """Take the part that places, shape (n, 2), lie in."""
        low, high = xy.min(axis=0), xy.max(axis=0)
        return cls((low + high) / 2, float((high - low).max()) / 2)

    def terms(self, xy: Floats) -> Floats:
        """Work out constant, linear and square terms of places, each about 1 at most.

        Parameters
        ----------
        xy : ndarray, shape (n, 2)

        Returns
        -------
        ndarray, shape (n, 6)
        """
        x, y = ((xy - self.centre) / self.reach).T
        return np.stack([np.ones_like(x), x, y, x * y, x * x - y * y, x * x + y * y], axis=1)


def facing(normal: Floats, orders: int = ORDERS) -> Floats:
    """Work out harmonics of the way an outline faces.

    Parameters
    ----------
    normal : ndarray, shape (n, 2)

    Returns
    -------
    ndarray, shape (n, 2 orders)
        Cosine and sine of every order.
    """
    turn = np.arctan2(normal[:, 1], normal[:, 0])[:, None] * np.arange(1, orders + 1)
    return np.stack([np.cos(turn), np.sin(turn)], axis=2).reshape(len(turn), -1)
