"""Outlines of whole gaps as lines of points, and how far measured points lie off them.

Gap frame: origin on the gear's axis, y along the middle of the gap and outwards, x clockwise on
the picture. An outline runs from the right flank of the tooth before (x below zero), tip first,
over the floor to the left flank of the tooth after. Lengths are in one unit, here mm.
"""

from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from cogloupe_calibration.arrays import Floats

_AT_ONCE = 1024  # points compared with the whole outline at a time


@dataclass(frozen=True)
class GapOutline:
    """A gap's outline at equal steps of its length.

    Attributes
    ----------
    xy : ndarray, shape (n, 2)
        Points.
    normal : ndarray, shape (n, 2)
        Unit normals out of the material, into the gap.
    station : ndarray, shape (n,)
        Length along the outline from the middle of the floor, below zero on the left side.
    """

    xy: Floats
    normal: Floats
    station: Floats


def whole_gap(radius: Floats, angle: Floats, step: float) -> GapOutline:
    """Whole outline of a symmetrical gap.

    Parameters
    ----------
    radius, angle : ndarray, shape (n,)
        Half the gap from the end of the floor's flat to the tip: radii, and angles from its
        middle, rad.
    step : float
        Distance between the outline's points.
    """
    flat = np.linspace(0.0, max(float(angle[0]), 0.0), 8)[:-1]
    turn = np.concatenate([flat, angle])
    out = np.concatenate([np.full(len(flat), radius[0]), radius])
    half = np.stack([out * np.sin(turn), out * np.cos(turn)], axis=1)
    return evenly(np.concatenate([half[:0:-1] * [-1.0, 1.0], half]), step)


def evenly(xy: Floats, step: float) -> GapOutline:
    """Outline at equal steps through a line of points.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Points in order, x rising on the floor.
    step : float
        Distance between the outline's points.
    """
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    at = np.linspace(0.0, length[-1], max(ceil(length[-1] / step), 8) + 1)
    even = interpolated(at, length, xy)
    along = np.gradient(even, axis=0)
    along = along / np.maximum(np.hypot(*along.T), 1e-15)[:, None]
    normal = np.stack([-along[:, 1], along[:, 0]], axis=1)
    floor = _floor(even)
    middle = np.interp(0.0, even[floor, 0], at[floor])
    return GapOutline(even, normal, at - middle)


def interpolated(at: Floats, known: Floats, values: Floats) -> Floats:
    """Points or normals between known places.

    Parameters
    ----------
    at : ndarray, shape (m,)
    known : ndarray, shape (n,)
        Rising places at which `values` are known.
    values : ndarray, shape (n, 2)

    Returns
    -------
    ndarray, shape (m, 2)
    """
    return np.stack([np.interp(at, known, column) for column in values.T], axis=1)


def _floor(xy: Floats) -> slice:
    """Points about the lowest one over which x rises throughout."""
    low = int(np.argmin(np.hypot(*xy.T)))
    rising = np.diff(xy[:, 0]) > 0
    stops = np.flatnonzero(~rising)
    before, after = stops[stops < low], stops[stops >= low]
    return slice(
        int(before[-1]) + 1 if len(before) else 0, int(after[0]) + 1 if len(after) else None
    )


def blurred(outline: GapOutline, blur: float) -> GapOutline:
    """Outline as a blurred picture shows it.

    Parameters
    ----------
    blur : float
        Standard deviation of the blur.

    Notes
    -----
    Blur of s moves an edge of curvature k by ``s^2 k / 2`` towards its centre of curvature; the
    mean of the outline's own points under a Gaussian of s along it moves by the same, and rounds
    the corners where k jumps.
    """
    step = float(outline.station[1] - outline.station[0])
    reach = min(ceil(4 * blur / step), len(outline.xy) - 1)
    if reach < 1:
        return outline
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) * step / blur) ** 2)
    kernel /= kernel.sum()
    first, last = outline.xy[0], outline.xy[-1]
    before, after = outline.xy[reach:0:-1], outline.xy[-2 : -reach - 2 : -1]
    ends = np.concatenate([2 * first - before, outline.xy, 2 * last - after])
    smooth = [np.convolve(column, kernel, mode="valid") for column in ends.T]
    return GapOutline(np.stack(smooth, axis=1), outline.normal, outline.station)


def off_outline(outline: GapOutline, xy: Floats) -> tuple[Floats, NDArray[np.int64]]:
    """Distance of points from an outline, along the normal of its nearest point.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)

    Returns
    -------
    off : ndarray, shape (n,)
        Out of the material.
    nearest : ndarray, shape (n,), int
        Index of that point.
    """
    # Square distances less those of the points themselves, in one product, since memory is dear; a
    # tree of places is slow to import.
    own = (outline.xy**2).sum(axis=1)
    line = np.concatenate([-2 * outline.xy.T, own[None]])
    points = np.concatenate([xy, np.ones((len(xy), 1))], axis=1)
    parts = [
        (points[start : start + _AT_ONCE] @ line).argmin(axis=1)
        for start in range(0, len(xy), _AT_ONCE)
    ]
    nearest = np.concatenate(parts) if parts else np.empty(0, np.int64)
    off = ((xy - outline.xy[nearest]) * outline.normal[nearest]).sum(axis=1)
    return off, np.asarray(nearest, np.int64)
