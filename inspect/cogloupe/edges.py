"""Edge points to a few thousandths of a pixel.

The outline of the gear is followed at full resolution. Wherever it crosses a row or a column of
pixels (columns where the edge runs flatter than 45 degrees, rows elsewhere) that row or column is
one edge sample: grey values over a few pixels, uninterpolated, so that no pixel serves twice and
the noise of neighbouring samples stays independent. Each sample is compared with a step of the
local grey levels blurred by the local blur (a Gaussian integral), and the position is found by
weighted least squares, which reaches the information bound of the sample
``(sigma_n / A) sqrt(2 sqrt(pi) s)``.
"""

from dataclasses import dataclass, replace
from math import ceil, hypot, pi, sqrt
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from cogloupe.bevel import NO_BEVEL, Bevel, find_bevel
from cogloupe.outline import (
    Crossings,
    border_chains,
    crossings_of,
    material_mask,
    tangents,
    window_of,
)
from cogloupe.response import EdgeShape, decode, edge_shape, measure_curve
from cogloupe.segment import LUMA, Region, mix_colours
from cogloupe.stepfit import fit_steps

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
EdgeChoice = Literal["outer", "inner"]

BEVEL_REACH_PX = 14
BEVEL_DOUBT = 0.1
"""Standard uncertainty of the outer edge where a bevel is seen, as a share of the bevel's width."""
LONGEST_REACH_PX = 16
"""Samples reach at most this far to each side of the edge; a wider blur is beyond use."""


@dataclass(frozen=True)
class EdgePoints:
    """Edge samples of one closed or open outline, in order, clockwise on the picture.

    Attributes
    ----------
    xy : ndarray, shape (n, 2)
        Positions, px.
    normal : ndarray, shape (n, 2)
        Unit normals pointing out of the material.
    u : ndarray, shape (n,)
        Standard uncertainty of each position along its normal from pixel noise alone, px.
    blur : ndarray, shape (n,)
        Standard deviation of the edge's blur, pixel box included, px.
    good : ndarray, shape (n,), bool
        False where the grey profile does not look like one blurred step.
    """

    xy: Floats
    normal: Floats
    u: Floats
    blur: Floats
    good: Bools

    def __len__(self) -> int:
        """Count the samples."""
        return len(self.xy)

    def take(self, chosen: NDArray[np.bool_] | NDArray[np.int64]) -> "EdgePoints":
        """Pick samples.

        Parameters
        ----------
        chosen : ndarray
            Mask or indices.

        Returns
        -------
        EdgePoints
        """
        return EdgePoints(
            self.xy[chosen], self.normal[chosen], self.u[chosen], self.blur[chosen],
            self.good[chosen],
        )  # fmt: skip

    def straightened(self, curvature: Floats | float) -> Floats:
        """Undo the shift that blur gives a curved edge.

        Parameters
        ----------
        curvature : ndarray, shape (n,) or float
            Curvature of the true outline, 1/px, positive where the material is convex.

        Returns
        -------
        ndarray, shape (n, 2)
            Corrected positions, px.

        Notes
        -----
        A step blurred by s along an edge of radius R is seen shifted by s^2 / 2R towards the
        centre of curvature. A row or column that crosses the edge at an angle t to its normal
        also meets the curve's sagitta; weighted as the fit weights its pixels, that adds
        ``tan^2 t / 2`` of the same.
        """
        cosine = np.abs(self.normal).max(axis=1)
        oblique = 1 + (1 / cosine**2 - 1) / 2
        shift = self.blur**2 * np.asarray(curvature) / 2 * oblique
        return np.asarray(self.xy + self.normal * shift[:, None])


@dataclass(frozen=True)
class Outlines:
    """Edges of a gear.

    Attributes
    ----------
    outer : EdgePoints
        The toothed outline.
    holes : tuple of EdgePoints
        Holes, largest first.
    contrast : float
        Difference of grey between gear and ground, as a share of full scale.
    noise : float
        Noise of one pixel, as a share of the contrast.
    blur_px : float
        Median blur, px.
    burnt : float
        Share of the samples that touch full scale.
    curve : float
        How far the grey values follow the sRGB curve, 0 to 1.
    u_level_px : float
        Standard uncertainty that the doubt about that curve, and a bevel, leave in every edge's
        place, px.
    bevel_px : float
        Width of a bevel along the outline, px; 0 where none is seen.
    """

    outer: EdgePoints
    holes: tuple[EdgePoints, ...]
    contrast: float
    noise: float
    blur_px: float
    burnt: float
    curve: float
    u_level_px: float
    bevel_px: float


def find_edges(pixels: NDArray[Any], region: Region, edge: EdgeChoice = "outer") -> Outlines:
    """Measure the outlines of a gear that `segment.find_gears` has placed.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3)
        Upright photograph.
    region : Region
        Where the gear is.
    edge : {'outer', 'inner'}
        Which edge of a bevel to measure, where there is one.

    Returns
    -------
    Outlines
        Positions in px of the full picture.
    """
    window, corner = window_of(pixels, region)
    grey = mix_colours(window, region.weights)
    mask = material_mask(grey, region, pixels.shape, corner)
    outer, holes = border_chains(mask, region, corner)
    full_scale = float(np.iinfo(pixels.dtype).max)
    crossings = crossings_of(mask, outer)
    shape, doubt = _learn_shape(grey, crossings, region, full_scale)
    measured = [_measure(grey, crossings, full_scale, shape)]
    measured += [_measure(grey, crossings_of(mask, hole), full_scale, shape) for hole in holes]
    placed = [replace(m.points, xy=m.points.xy + np.array(corner, float)) for m in measured]
    first = measured[0]
    blur = float(np.median(first.points.blur))
    bevel = _look_for_bevel(grey, first, shape.curve, full_scale)
    if bevel.width_px > 0:
        placed = [_shifted(points, bevel.shift(points.normal, edge)) for points in placed]
    u_level = hypot(doubt * blur, BEVEL_DOUBT * bevel.width_px)
    return Outlines(
        placed[0], tuple(placed[1:]), first.contrast / full_scale, first.noise / first.contrast,
        blur, first.burnt, shape.curve, u_level, bevel.width_px,
    )  # fmt: skip


def _look_for_bevel(
    grey: NDArray[Any], measured: "_Measured", curve: float, full_scale: float
) -> Bevel:
    """Look for a second edge inside the outline, in amounts of light on longer profiles."""
    kept = np.flatnonzero(measured.points.good)
    if len(kept) < 200:
        return NO_BEVEL
    crossings = measured.crossings.take(kept)
    profiles, offsets, inside = _profiles(grey, crossings, BEVEL_REACH_PX)
    kept = kept[inside]
    light = decode(profiles / full_scale, curve)
    low, high = decode(measured.levels[:, kept] / full_scale, curve)
    scaled = (light - high[:, None]) / (low - high)[:, None]
    steps = crossings.step[inside]
    cosine = np.abs((measured.points.normal[kept] * steps).sum(axis=1))
    distance = (offsets - measured.place[kept, None]) * cosine[:, None]
    blur = float(np.median(measured.points.blur))
    return find_bevel(distance, scaled, measured.points.normal[kept], blur)


def _shifted(points: EdgePoints, shift: Floats) -> EdgePoints:
    return replace(points, xy=points.xy + points.normal * shift[:, None])


def _learn_shape(
    grey: NDArray[Any], crossings: Crossings, region: Region, full_scale: float
) -> tuple[EdgeShape, float]:
    """Shape of this picture's edges, and the doubt about it in blurs.

    A mixture of colours other than brightness follows no one curve; it is taken as it is, and the
    doubt of half a curve is left in.
    """
    first = _measure(grey, crossings, full_scale, edge_shape(0.0, 0.0, 1.0))
    low, high = (float(np.median(v)) / full_scale for v in first.levels)
    if region.weights is not None and not np.allclose(region.weights, LUMA):
        return edge_shape(0.0, low, high), 0.25
    ok = np.flatnonzero(first.points.good)
    z = first.distance[ok].ravel()
    rise = (first.levels[1] - first.levels[0])[ok, None]
    value = ((first.profiles[ok] - first.levels[0][ok, None]) / rise).ravel()
    curve, doubt = measure_curve(z, value, low, high)
    return edge_shape(curve, low, high), doubt


@dataclass(frozen=True)
class _Measured:
    """Samples of one outline with what they were fitted from.

    `levels` (2, n) are the greys of material and ground, `profiles` and `distance` (n, k) the
    grey values and their distances out of the edge in blurs.
    """

    points: EdgePoints
    contrast: float
    noise: float
    burnt: float
    levels: Floats
    profiles: Floats
    distance: Floats
    place: Floats
    crossings: Crossings


def _measure(
    grey: NDArray[Any], crossings: Crossings, full_scale: float, shape: EdgeShape
) -> _Measured:
    """Fit every sample of one outline."""
    blur, reach = _first_blur(grey, crossings), 0
    while reach != (reach := _reach(blur)):
        profiles, offsets, kept = _profiles(grey, crossings, reach)
        if len(profiles) == 0:
            return _nothing_measured(crossings)
        cosine = np.abs((crossings.normal * crossings.step).sum(axis=1))[kept]
        t, s, levels, residual = fit_steps(
            profiles, offsets, cosine, crossings.normal[kept], blur, shape
        )
        blur = max(blur, float(np.median(s)))
    noise = 1.4826 * float(np.median(np.abs(residual)))
    contrast = levels[1] - levels[0]
    steps = crossings.step[kept]
    xy = crossings.inside[kept] + t[:, None] * steps
    typical = float(np.median(np.abs(contrast)))
    u = noise / np.maximum(np.abs(contrast), 1e-6) * np.sqrt(2 * sqrt(pi) * s * cosine)
    misfit = np.sqrt(np.mean(residual**2, axis=1))
    good = (misfit < 4 * noise + 0.02 * typical) & (np.abs(contrast) > 0.3 * typical)
    burnt = float(np.mean((profiles >= full_scale).any(axis=1)))
    points = EdgePoints(xy.astype(float), _tangent_normals(xy, steps), u, s, good)
    distance = (offsets - t[:, None]) * (cosine / s)[:, None]
    return _Measured(
        points, typical, noise, burnt, levels, profiles, distance, t, crossings.take(kept)
    )


def _nothing_measured(crossings: Crossings) -> _Measured:
    empty = np.empty(0)
    points = EdgePoints(np.empty((0, 2)), np.empty((0, 2)), empty, empty, np.empty(0, bool))
    return _Measured(points, 1.0, 1.0, 0.0, np.empty((2, 0)), empty, empty, empty, crossings)


def _tangent_normals(xy: Floats, steps: NDArray[np.int64]) -> Floats:
    """Normals from the measured positions, turned to the ground side."""
    tangent = tangents(xy)
    normal = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)
    return np.asarray(normal * np.where((normal * steps).sum(axis=1) < 0, -1.0, 1.0)[:, None])


def _reach(blur: float) -> int:
    """Pixels to each side that a sample needs for a blur: the whole slope and some level."""
    return int(np.clip(ceil(3 * blur) + 3, 5, LONGEST_REACH_PX))


def _profiles(
    grey: NDArray[Any], crossings: Crossings, reach: int
) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Grey values across the edge, from material to ground, and their distances from `inside`."""
    offsets = np.arange(-reach + 1, reach + 1)
    ends = crossings.inside[:, None, :] + crossings.step[:, None, :] * offsets[[0, -1], None]
    height, width = grey.shape
    inside = ((ends >= 0) & (ends < [width, height])).all(axis=(1, 2))
    kept = np.flatnonzero(inside)
    place = crossings.inside[kept, None, :] + crossings.step[kept, None, :] * offsets[:, None]
    return grey[place[..., 1], place[..., 0]].astype(np.float64), offsets.astype(float), kept


def _first_blur(grey: NDArray[Any], crossings: Crossings) -> float:
    """Blur from the steepest slope of the typical profile: A / (s sqrt(2 pi))."""
    profiles, _, kept = _profiles(grey, crossings, LONGEST_REACH_PX // 2)
    if len(profiles) == 0:
        return 1.0
    cosine = np.abs((crossings.normal * crossings.step).sum(axis=1))[kept]
    steepest = np.median(np.abs(np.diff(profiles, axis=1)).max(axis=1) / cosine)
    height = np.median(np.abs(profiles[:, :2].mean(axis=1) - profiles[:, -2:].mean(axis=1)))
    return float(np.clip(height / max(steepest, 1e-9) / sqrt(2 * pi), 0.4, 5.0))
