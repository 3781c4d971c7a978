"""Where an outline passes between the pixels of a picture, row by row and column by column.

Where it runs flatter than 45 degrees it is crossed along columns, elsewhere along rows, and every
row or column that it passes is one sample: uninterpolated, so that no pixel serves twice and the
noise of neighbouring samples is independent.
"""

from dataclasses import dataclass, replace

import numpy as np

from cogloupe.numerics.moving_average import dot
from cogloupe.optics.contour_following import normals
from cogloupe_calibration.arrays import Floats, Ints


@dataclass(frozen=True, kw_only=True)
class Crossings:
    """Places where an outline passes between two neighbouring pixels, in its order.

    Attributes
    ----------
    inside : ndarray, shape (n, 2), int
        Pixel (x, y) on the material side.
    step : ndarray, shape (n, 2), int
        Unit step along the row or column to the ground side.
    place : ndarray, shape (n,)
        Where between the two the outline passes, 0 to 1.
    normal : ndarray, shape (n, 2)
        Unit normal out of the material.
    """

    inside: Ints
    step: Ints
    place: Floats
    normal: Floats

    def __len__(self) -> int:
        """Count the samples."""
        return len(self.place)

    def take(self, chosen: Ints) -> "Crossings":
        """Pick crossings by index."""
        # Rows are taken in a tenth of the time of an index in brackets.
        inside, step = self.inside.take(chosen, axis=0), self.step.take(chosen, axis=0)
        normal = self.normal.take(chosen, axis=0)
        return Crossings(inside=inside, step=step, place=self.place[chosen], normal=normal)

    @property
    def cosine(self) -> Floats:
        """Cosine between row or column and normal."""
        return np.abs(dot(self.normal, self.step))

    def recentred(self, out: Floats | float) -> "Crossings":
        """Cross the same rows and columns where the edge lies after a move, px along the normals.

        Parameters
        ----------
        out : ndarray, shape (n,)
        """
        along = self.place + out / np.maximum(self.cosine, 1e-9)
        whole = np.floor(along)
        inside = self.inside + whole.astype(np.int64)[:, None] * self.step
        return replace(self, inside=inside, place=along - whole)

    def moved(self, out: Floats | float = 0.0) -> Floats:
        """Places in px after a move out of the material.

        Parameters
        ----------
        out : ndarray, shape (n,)
            Px along the normals; a sample moves along its row or column.

        Returns
        -------
        ndarray, shape (n, 2)
        """
        along = self.place + out / np.maximum(self.cosine, 1e-9)
        return np.asarray(self.inside + along[:, None] * self.step)


def crossings_of(xy: Floats) -> Crossings:
    """Crossings of a closed line of points with rows and columns.

    One to every row or column that is passed.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Points, px; clockwise on the picture about material, the other way about a hole.
    """
    both = [_across(xy, axis) for axis in (0, 1)]
    turn, place, axis = (np.concatenate(parts) for parts in zip(*both, strict=True))
    order = np.argsort(turn, kind="stable")
    place, axis = place.take(order, axis=0), axis[order]
    normal = normals(place)
    every = np.arange(len(axis))
    along = np.abs(normal)
    kept = np.flatnonzero(along[every, axis] + (axis == 0) * 1e-12 > along[every, 1 - axis])
    place, axis, normal = place.take(kept, axis=0), axis[kept], normal.take(kept, axis=0)
    every = every[: len(kept)]
    way = np.where(normal[every, axis] > 0, 1, -1)
    at = place[every, axis] * way
    inside = np.rint(place).astype(np.int64)
    inside[every, axis] = np.floor(at).astype(np.int64) * way
    step = np.zeros_like(inside)
    step[every, axis] = way
    return Crossings(inside=inside, step=step, place=at - np.floor(at), normal=normal)


def _across(xy: Floats, axis: int) -> tuple[Floats, Floats, Ints]:
    """Crossings with the lines along an axis: how far round the line, where, and the axis."""
    after = np.roll(xy, -1, axis=0)
    here, there = xy[:, 1 - axis], after[:, 1 - axis]
    first = np.ceil(np.minimum(here, there)).astype(np.int64)
    count = np.ceil(np.maximum(here, there)).astype(np.int64) - first
    piece = np.repeat(np.arange(len(xy)), count)
    line = first[piece] + np.arange(len(piece)) - np.repeat(np.cumsum(count) - count, count)
    share = (line - here[piece]) / (there - here)[piece]
    place = xy.take(piece, axis=0) + share[:, None] * (after - xy).take(piece, axis=0)
    place[:, 1 - axis] = line
    return piece + share, place, np.full(len(piece), axis, np.int64)
