"""Whether the wall of a bore is in sight, and where its upper rim then lies.

Seen aslant or from near by, a bore shows a strip of its wall between its two rims. Against a lamp
the wall is brighter than the face, whatever the gear is made of, since it gleams at so flat a
sight; an edge that parts dark from bright then lies somewhere on the strip. Profiles across the
edge, all round, are laid out by angle and radius, and circles with even levels between them are
fitted to them. Lengths px.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import pi
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe.numerics.bounded_least_squares import BoundedFit, fit_within
from cogloupe_calibration.arrays import Floats, Reals

SECTORS = 72
"""Directions in which profiles are averaged."""
REACH, REACH_PX = 0.25, (12.0, 24.0)
"""How far profiles reach to either side of the edge, in radii of the bore, and in px."""
WIDTHS_PX, DIRECTIONS = (3.0, 8.0, 15.0), 6
"""Strips that the fit of two rims begins with, and ways in which they may be widest."""
FOLLOWED = 2
"""Likeliest of these beginnings that are followed."""
ONE_SIDED = 0.03
"""What a strip of wall on one side leaves of one circle, once a turn, if it differs from the face
by a sixteenth of the step; less is no wall in sight."""
TWO_RIMS = 0.6
"""Two rims are believed where they leave at most this share of what one circle leaves."""


@dataclass(frozen=True, kw_only=True)
class Wall:
    """What a bore shows of its wall.

    Attributes
    ----------
    in_sight : bool or None
        None where the picture leaves it open.
    upper : ndarray, shape (3,)
        Upper rim where two rims are told apart: how much larger it is than the circle that was
        given, and how far its middle lies from that one's, x and y.
    apart : ndarray, shape (2,)
        How the middle of the upper rim then lies from that of the lower one.
    """

    in_sight: bool | None
    upper: Floats
    apart: Floats


@dataclass(frozen=True)
class _Unrolled:
    """Profiles by direction, shape (SECTORS, m), at these radii less the circle's, shape (m,)."""

    values: Floats
    turn: Floats
    radius: Floats

    @property
    def waves(self) -> Floats:
        """What is alike all round, and once a turn, shape (SECTORS, 3)."""
        return np.stack([np.ones(SECTORS), np.cos(self.turn), np.sin(self.turn)], axis=1)

    def inside(self, rim: Reals, blur: float) -> Floats:
        """Share of a blurred disc, shape (SECTORS, m)."""
        out = (self.radius - rim[:, None]) / blur
        return np.asarray(1 / (1 + cv2.exp(np.clip(1.7 * out, -40, 40))))

    def left(self, parts: Sequence[Floats]) -> Floats:
        """What the best levels leave: one of the hole, of each further part one that may turn."""
        hole, *others = parts
        columns = [hole, *(o * wave[:, None] for o in others for wave in self.waves.T)]
        design = np.stack([column.ravel() for column in columns], axis=1)
        found = np.linalg.lstsq(design.T @ design, design.T @ self.values.ravel(), rcond=1e-9)[0]
        return np.asarray(self.values.ravel() - design @ found)


def see_wall(pixels: NDArray[Any], centre: Floats, radius: float) -> Wall:
    """Look for the wall of a bore.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3)
    centre : ndarray, shape (2,)
    radius : float
        Of the circle fitted to the edge of the hole.
    """
    seen = _unroll(pixels, centre, radius)
    reach = float(seen.radius[-1])
    nothing = Wall(in_sight=None, upper=np.zeros(3), apart=np.zeros(2))
    contrast = float(np.median(seen.values[:, -3:]) - np.median(seen.values[:, :3]))
    one = _one_rim(seen, reach)
    left = _left_by_one(seen, one.values).reshape(seen.values.shape)
    once = np.abs(2 * (left * np.exp(1j * seen.turn)[:, None]).mean(axis=0)).max()
    if once < ONE_SIDED * abs(contrast):
        return replace(nothing, in_sight=False)
    if contrast > 0:  # in front light a wall may be as bright as the face here and dark there
        return nothing
    two = _two_rims(seen, one.values, reach)
    if two.mean_square > TWO_RIMS**2 * one.mean_square or two.values[0] < two.values[3]:
        return nothing
    upper = np.asarray(two.values[:3], float)
    return Wall(in_sight=True, upper=upper, apart=upper[1:] - two.values[4:6])


def _unroll(pixels: NDArray[Any], centre: Floats, radius: float) -> _Unrolled:
    reach = float(np.clip(REACH * radius, *REACH_PX))
    each = int(np.ceil(2 * pi * radius / SECTORS))
    turn = 2 * pi * (np.arange(SECTORS * each) + 0.5) / (SECTORS * each)
    out = np.arange(-reach, reach + 0.5)
    arm = np.stack([np.cos(turn), np.sin(turn)])[:, :, None] * (radius + out)
    x, y = arm + np.asarray(centre)[:, None, None]
    corner = np.maximum(np.floor([x.min(), y.min()]).astype(int) - 1, 0)
    patch = pixels[corner[1] : int(y.max()) + 3, corner[0] : int(x.max()) + 3].astype(np.float32)
    grey = patch if patch.ndim == 2 else patch.mean(axis=2)
    at = [np.asarray(v - c, np.float32) for v, c in ((x, corner[0]), (y, corner[1]))]
    values = cv2.remap(grey, at[0], at[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    values = values.reshape(SECTORS, each, -1).mean(axis=1)
    return _Unrolled(np.asarray(values, float), turn.reshape(SECTORS, each).mean(axis=1), out)


def _one_rim(seen: _Unrolled, reach: float) -> BoundedFit:
    most = np.array([reach, reach, reach, reach])
    least = np.array([-reach, -reach, -reach, 0.3])
    start = np.array([0.0, 0.0, 0.0, 1.0])
    return fit_within(lambda v: _left_by_one(seen, v), start, (least, most), np.ones(4))


def _left_by_one(seen: _Unrolled, values: Reals) -> Floats:
    hole = seen.inside(seen.waves @ values[:3], values[3])
    return seen.left([hole, 1 - hole])


def _two_rims(seen: _Unrolled, one: Reals, reach: float) -> BoundedFit:
    ways = 2 * pi * np.arange(DIRECTIONS) / DIRECTIONS
    starts = [
        np.concatenate([one[:3] + 0.45 * width * np.array([1.1, np.cos(a), np.sin(a)]), one])
        for width in WIDTHS_PX
        for a in ways
    ]
    starts.sort(key=lambda v: float(np.sum(_left_by_two(seen, v) ** 2)))
    bound = np.full(7, reach)
    bounds = np.append(-bound[:6], 0.3), bound
    fits = [
        fit_within(lambda v: _left_by_two(seen, v), start, bounds, np.ones(7))
        for start in starts[:FOLLOWED]
    ]
    return min(fits, key=lambda fit: fit.mean_square)


def _left_by_two(seen: _Unrolled, values: Reals) -> Floats:
    """What hole, wall and face leave; where the upper rim lies inside, it hides the lower one."""
    upper, lower = seen.waves @ values[:3], seen.waves @ values[3:6]
    hole, open_to = (seen.inside(rim, values[6]) for rim in (np.minimum(upper, lower), upper))
    return seen.left([hole, open_to - hole, 1 - open_to])
