"""Grey profiles across an outline: one row or column of pixels at every crossing."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from cogloupe.optics.joint.crossings import Crossings
from cogloupe.optics.joint.wide_greys import WideGreys
from cogloupe_calibration.arrays import Bools, Ints, Reals

LEAST_INSIDE_PX, LEAST_OUTSIDE_PX = 6, 5
"""Pixels of material and of ground that a profile must have on the picture."""


@dataclass(frozen=True, kw_only=True)
class Profiles:
    """Grey values across an outline, from material to ground.

    Attributes
    ----------
    crossings : Crossings
        Where n profiles cross the outline.
    grey : ndarray, shape (k, n), float32
        Pixel by pixel in memory, see `response.blurs_out`; 0 beyond the picture.
    offsets : ndarray, shape (k,)
        Pixels from the one inside.
    within : ndarray, shape (k, n), or None
        Which pixels lie on the picture; None where all do.
    """

    crossings: Crossings
    grey: Reals
    offsets: Ints
    within: Bools | None

    def __len__(self) -> int:
        """Count the profiles."""
        return len(self.crossings)

    @cached_property
    def distance(self) -> Reals:
        """Distance of every pixel out of the outline, px along the normal, shape (k, n)."""
        cosine = self.crossings.cosine.astype(np.float32)
        place = self.crossings.place.astype(np.float32)
        return np.asarray((self.offsets.astype(np.float32)[:, None] - place) * cosine)

    @property
    def pixels(self) -> Reals | float:
        """Number of pixels of each; one that lies beyond the picture counts as of one, of 0."""
        return len(self.offsets) if self.within is None else np.maximum(self.within.sum(axis=0), 1)

    def take(self, chosen: Ints) -> "Profiles":
        """Pick profiles by index."""
        within = None if self.within is None else self.within.take(chosen, axis=1)
        return Profiles(
            crossings=self.crossings.take(chosen), grey=self.grey.take(chosen, axis=1),
            offsets=self.offsets, within=within,
        )  # fmt: skip


def profiles_across(greys: WideGreys, crossings: Crossings, reach: int) -> Profiles:
    """Take grey values across an outline.

    Parameters
    ----------
    crossings : Crossings
        `in_sight`, or nearly.
    reach : int
        Pixels to each side.
    """
    offsets = np.arange(-reach + 1, reach + 1)
    grey = greys.across(crossings, offsets)
    within = None
    if not greys.within(crossings, offsets[[0, -1]]).all():
        within = greys.within(crossings, offsets)
        grey *= within
    return Profiles(crossings=crossings, grey=grey, offsets=offsets, within=within)


def in_sight(greys: WideGreys, crossings: Crossings) -> Crossings:
    """Drop crossings that have too little of the picture to either side."""
    ends = greys.within(crossings, np.array([-LEAST_INSIDE_PX, LEAST_OUTSIDE_PX]))
    return crossings.take(np.flatnonzero(ends.all(axis=0)))
