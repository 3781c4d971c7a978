"""Exact area coverage of pixels by a polygon.

A rendering that is to serve as truth must not move an edge. Counting sub-pixel samples does; here
each edge is cut at the pixel borders, every piece adds the exact area to its right, and a running
sum along the row spreads it: the signed-area accumulation known from outline fonts.
"""

from collections.abc import Sequence

import numpy as np

from cogloupe_calibration.arrays import Floats


def signed_area(polygon: Floats) -> float:
    """Area of a closed polygon (n, 2) by the shoelace formula; its first corner is not repeated.

    Positive where the corners run clockwise on the picture.
    """
    # About a corner of the polygon itself, so that digits are not lost far from the origin.
    x, y = (polygon - polygon[0]).T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2)


def area_coverage(outline: Floats, shape: tuple[int, int], holes: Sequence[Floats] = ()) -> Floats:
    """Fraction of each pixel's area that lies inside an outline and outside its holes.

    Parameters
    ----------
    outline : ndarray, shape (n, 2)
        Corners of a simple polygon, px, x right and y down, either way round.
    shape : (int, int)
        Height and width of the picture; pixel (0, 0) covers -0.5 to 0.5 both ways.
    holes : sequence of ndarray, shape (m, 2)
        Simple polygons inside the outline and apart from each other, either way round.

    Returns
    -------
    ndarray, shape (h, w)
        Coverage, 0 to 1, exact to rounding. Parts outside the frame are cut off.
    """
    rings = [(outline, 1.0), *((hole, -1.0) for hole in holes)]
    edges = [_edges(ring, sign) for ring, sign in rings if len(ring) >= 3]
    if not edges:
        return np.zeros(shape)
    pieces = _split(_split(np.concatenate(edges), 1, shape[0]), 0, shape[1])
    return _accumulate(pieces, shape)


def _edges(ring: Floats, sign: float) -> Floats:
    """Edges (n, 2 ends, xy) with pixel borders on whole numbers, run so that area has the sign."""
    ring = np.asarray(ring, dtype=np.float64) + 0.5
    if signed_area(ring) * sign < 0:
        ring = ring[::-1]
    return np.stack([ring, np.roll(ring, -1, axis=0)], axis=1)


def _split(edges: Floats, axis: int, size: int) -> Floats:
    """Cut edges where they cross the whole numbers 0..size of one axis."""
    start, end = edges[:, 0, axis], edges[:, 1, axis]
    low, high = np.minimum(start, end), np.maximum(start, end)
    first = np.maximum(np.floor(low) + 1, 0)
    last = np.minimum(np.ceil(high) - 1, size)
    cuts = np.maximum(last - first + 1, 0).astype(np.int64)
    owner = np.repeat(np.arange(len(edges)), cuts + 1)
    rank = np.arange(len(owner)) - np.repeat(np.cumsum(cuts + 1) - (cuts + 1), cuts + 1)
    rising = end >= start
    line = np.where(rising[owner], first[owner] + rank, last[owner] - rank)
    ends = edges[owner, 1]
    inner = rank < cuts[owner]
    ends[inner] = _on_line(edges[owner[inner]], axis, line[inner])
    starts = edges[owner, 0]
    starts[1:][inner[:-1]] = ends[:-1][inner[:-1]]
    return np.stack([starts, ends], axis=1)


def _on_line(edges: Floats, axis: int, line: Floats) -> Floats:
    """Points where edges cross their line; the crossed coordinate is set exactly."""
    start, end = edges[:, 0], edges[:, 1]
    share = (line - start[:, axis]) / (end[:, axis] - start[:, axis])
    point = start + share[:, None] * (end - start)
    point[:, axis] = line
    return point


def _accumulate(pieces: Floats, shape: tuple[int, int]) -> Floats:
    """Sum the area to the right of every piece; what lies left of the frame counts in full."""
    height, width = shape
    row = np.floor(pieces[:, :, 1].mean(axis=1)).astype(np.int64)
    kept = (row >= 0) & (row < height)
    pieces, row = pieces[kept], row[kept]
    # An edge beyond the right border covers nothing; one beyond the left covers whole rows.
    x = np.clip(pieces[:, :, 0], 0, width).mean(axis=1)
    column = np.minimum(np.floor(x).astype(np.int64), width)
    # Clockwise on the picture with y down, the left border of a shape runs upwards.
    rise = pieces[:, 0, 1] - pieces[:, 1, 1]
    into = x - column
    stride = width + 2
    cell = row * stride + column
    total = np.bincount(cell, rise * (1 - into), minlength=height * stride)
    total += np.bincount(cell + 1, rise * into, minlength=height * stride)
    return np.asarray(np.cumsum(total.reshape(height, stride), axis=1)[:, :width])
