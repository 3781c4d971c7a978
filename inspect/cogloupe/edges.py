"""Edge points to a few thousandths of a pixel.

The outline of the gear is followed at full resolution. Wherever it crosses a row or a column of
pixels (columns where the edge runs flatter than 45 degrees, rows elsewhere) that row or column is
one edge sample: grey values over a few pixels, uninterpolated, so that no pixel serves twice and
the noise of neighbouring samples stays independent. Each sample is compared with a step of the
local grey levels blurred by the local blur (a Gaussian integral), and the position is found by
weighted least squares, which reaches the information bound of the sample
``(sigma_n / A) sqrt(2 sqrt(pi) s)``.
"""

from dataclasses import dataclass
from math import ceil, pi, sqrt
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from cogloupe.response import EdgeShape, edge_shape, measure_curve
from cogloupe.segment import LUMA, Region, mix_colours

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LONGEST_REACH_PX = 16
"""Samples reach at most this far to each side of the edge; a wider blur is beyond use."""
LEVEL_WINDOW = 120
"""Samples along the outline over which grey levels and blur are averaged: about one flank."""


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
        Standard uncertainty that the doubt about that curve leaves in every edge's place, px.
    """

    outer: EdgePoints
    holes: tuple[EdgePoints, ...]
    contrast: float
    noise: float
    blur_px: float
    burnt: float
    curve: float
    u_level_px: float


def find_edges(pixels: NDArray[Any], region: Region) -> Outlines:
    """Measure the outlines of a gear that `segment.find_gears` has placed.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3)
        Upright photograph.
    region : Region
        Where the gear is.

    Returns
    -------
    Outlines
        Positions in px of the full picture.
    """
    window, corner = _window(pixels, region)
    grey = mix_colours(window, region.weights)
    mask = _mask(grey, region, pixels.shape, corner)
    outer, holes = _outline_chains(mask, region, corner)
    full_scale = float(np.iinfo(pixels.dtype).max)
    crossings = _crossings(mask, outer)
    shape, doubt = _learn_shape(grey, crossings, region, full_scale)
    measured = [_measure(grey, crossings, full_scale, shape)]
    measured += [_measure(grey, _crossings(mask, hole), full_scale, shape) for hole in holes]
    placed = [_moved(m.points, np.array(corner, float)) for m in measured]
    first = measured[0]
    blur = float(np.median(first.points.blur))
    return Outlines(
        placed[0], tuple(placed[1:]), first.contrast / full_scale, first.noise / first.contrast,
        blur, first.burnt, shape.curve, doubt * blur,
    )  # fmt: skip


def _learn_shape(
    grey: NDArray[Any], crossings: "_Crossings", region: Region, full_scale: float
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


def _window(pixels: NDArray[Any], region: Region) -> tuple[NDArray[Any], tuple[int, int]]:
    """Part of the picture that holds the gear, and its upper left corner (x, y)."""
    reach = region.tip_radius * 1.08 + 2 * LONGEST_REACH_PX
    height, width = pixels.shape[:2]
    x0, y0 = (max(0, int(c - reach)) for c in (region.x, region.y))
    x1 = min(width, ceil(region.x + reach) + 1)
    y1 = min(height, ceil(region.y + reach) + 1)
    return pixels[y0:y1, x0:x1], (x0, y0)


def _mask(
    grey: NDArray[Any], region: Region, shape: tuple[int, ...], corner: tuple[int, int]
) -> NDArray[np.uint8]:
    """Material (1) and ground (0), after a light smoothing that keeps noise off the border."""
    height, width = grey.shape
    factor = np.array(region.threshold.shape[::-1]) / shape[1::-1]
    # The reduced map is smooth enough to be read linearly at the window's own grid.
    to_map = np.array(
        [[factor[0], 0, (corner[0] + 0.5) * factor[0] - 0.5],
         [0, factor[1], (corner[1] + 0.5) * factor[1] - 0.5]]
    )  # fmt: skip
    level = cv2.warpAffine(
        region.threshold, to_map, (width, height),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    if grey.dtype == np.uint8:
        level = np.clip(np.round(level), 0, 255).astype(np.uint8)
        smooth = cv2.GaussianBlur(grey, (5, 5), 1.0)
    else:
        smooth = cv2.GaussianBlur(grey.astype(np.float32, copy=False), (5, 5), 1.0)
    compare = cv2.CMP_GT if region.bright else cv2.CMP_LE
    return np.asarray(cv2.compare(smooth, level, compare) // 255)


def _outline_chains(
    mask: NDArray[np.uint8], region: Region, corner: tuple[int, int]
) -> tuple[NDArray[Any], list[NDArray[Any]]]:
    """Border pixels of the gear and of the larger holes in it, in order."""
    contours, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    centre = np.array([region.x, region.y]) - corner
    outers = [i for i in range(len(contours)) if tree[0, i, 3] < 0]
    best = max(outers, key=lambda i: _gear_fit(contours[i], centre, region.tip_radius))
    smallest = max(24, 0.05 * region.tip_radius)
    holes = [
        contours[i][:, 0, :]
        for i in range(len(contours))
        if tree[0, i, 3] == best and len(contours[i]) > smallest
    ]
    return contours[best][:, 0, :], sorted(holes, key=len, reverse=True)[:40]


def _gear_fit(contour: NDArray[Any], centre: Floats, tip_radius: float) -> float:
    """Outline length that runs where the teeth were seen."""
    if len(contour) < 40:
        return 0.0
    distance = np.hypot(*(contour[:, 0, :] - centre).T) / tip_radius
    return float(((distance > 0.3) & (distance < 1.08)).sum())


@dataclass(frozen=True)
class _Crossings:
    """Places where an outline passes between two neighbouring pixels.

    `inside` is the pixel (x, y) on the material side, `step` the unit step to the ground side.
    """

    inside: NDArray[np.int64]
    step: NDArray[np.int64]
    normal: Floats


def _crossings(mask: NDArray[np.uint8], chain: NDArray[Any]) -> _Crossings:
    """Crossings in the order of a chain of border pixels, thinned to one per row or column."""
    padded = np.pad(mask, 1, mode="edge")  # the frame's border is not an edge
    steps = np.array([[1, 0], [0, 1], [-1, 0], [0, -1]])
    neighbours = chain[:, None, :] + steps
    outside = padded[neighbours[..., 1] + 1, neighbours[..., 0] + 1] == 0
    which, direction = np.nonzero(outside)
    inside, step = chain[which].astype(np.int64), steps[direction]
    half_way = inside + step / 2
    tangent = _tangent(half_way)
    normal = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)
    if np.mean((normal * step).sum(axis=1)) < 0:
        # Run the other way round, so that polar angle grows along the outer outline.
        inside, step, normal = inside[::-1], step[::-1], -normal[::-1]
    along = np.abs(normal)
    principal = np.where(step[:, 0] != 0, along[:, 0] >= along[:, 1], along[:, 1] > along[:, 0])
    keep = principal & ((normal * step).sum(axis=1) > 0)
    return _Crossings(inside[keep], step[keep], normal[keep])


def _tangent(xy: Floats, reach: int = 5) -> Floats:
    """Unit tangents of a closed chain, from smoothed neighbours on both sides."""
    reach = min(reach, max(1, len(xy) // 4))
    smooth = uniform_filter1d(xy, reach, axis=0, mode="wrap")
    chord = np.roll(smooth, -reach, axis=0) - np.roll(smooth, reach, axis=0)
    length = np.maximum(np.hypot(*chord.T), 1e-9)
    return np.asarray(chord / length[:, None])


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


def _measure(
    grey: NDArray[Any], crossings: _Crossings, full_scale: float, shape: EdgeShape
) -> _Measured:
    """Fit every sample of one outline."""
    blur, reach = _first_blur(grey, crossings), 0
    while reach != (reach := _reach(blur)):
        profiles, offsets, kept = _profiles(grey, crossings, reach)
        if len(profiles) == 0:
            return _nothing_measured()
        cosine = np.abs((crossings.normal * crossings.step).sum(axis=1))[kept]
        t, s, levels, residual = _fit_steps(
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
    return _Measured(points, typical, noise, burnt, levels, profiles, distance)


def _nothing_measured() -> _Measured:
    empty = np.empty(0)
    points = EdgePoints(np.empty((0, 2)), np.empty((0, 2)), empty, empty, np.empty(0, bool))
    return _Measured(points, 1.0, 1.0, 0.0, np.empty((2, 0)), empty, empty)


def _tangent_normals(xy: Floats, steps: NDArray[np.int64]) -> Floats:
    """Normals from the measured positions, turned to the ground side."""
    tangent = _tangent(xy)
    normal = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)
    return np.asarray(normal * np.where((normal * steps).sum(axis=1) < 0, -1.0, 1.0)[:, None])


def _reach(blur: float) -> int:
    """Pixels to each side that a sample needs for a blur: the whole slope and some level."""
    return int(np.clip(ceil(3 * blur) + 3, 5, LONGEST_REACH_PX))


def _profiles(
    grey: NDArray[Any], crossings: _Crossings, reach: int
) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Grey values across the edge, from material to ground, and their distances from `inside`."""
    offsets = np.arange(-reach + 1, reach + 1)
    ends = crossings.inside[:, None, :] + crossings.step[:, None, :] * offsets[[0, -1], None]
    height, width = grey.shape
    inside = ((ends >= 0) & (ends < [width, height])).all(axis=(1, 2))
    kept = np.flatnonzero(inside)
    place = crossings.inside[kept, None, :] + crossings.step[kept, None, :] * offsets[:, None]
    return grey[place[..., 1], place[..., 0]].astype(np.float64), offsets.astype(float), kept


def _first_blur(grey: NDArray[Any], crossings: _Crossings) -> float:
    """Blur from the steepest slope of the typical profile: A / (s sqrt(2 pi))."""
    profiles, _, kept = _profiles(grey, crossings, LONGEST_REACH_PX // 2)
    if len(profiles) == 0:
        return 1.0
    cosine = np.abs((crossings.normal * crossings.step).sum(axis=1))[kept]
    steepest = np.median(np.abs(np.diff(profiles, axis=1)).max(axis=1) / cosine)
    height = np.median(np.abs(profiles[:, :2].mean(axis=1) - profiles[:, -2:].mean(axis=1)))
    return float(np.clip(height / max(steepest, 1e-9) / sqrt(2 * pi), 0.4, 5.0))


def _fit_steps(
    profiles: Floats,
    offsets: Floats,
    cosine: Floats,
    normal: Floats,
    blur: float,
    shape: EdgeShape,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Fit a blurred step to every profile: positions apart, levels and blur shared by neighbours.

    Parameters
    ----------
    profiles : ndarray, shape (n, k)
    offsets : ndarray, shape (k,)
    cosine : ndarray, shape (n,)
        Cosine between profile and edge normal.
    normal : ndarray, shape (n, 2)
        Edge normals, to tell corners.
    blur : float
        Start value, px along the normal.
    shape : EdgeShape
        The blurred step in this picture's grey values.

    Returns
    -------
    t : ndarray, shape (n,)
        Edge position along the profile, px from `inside`.
    s : ndarray, shape (n,)
        Blur along the normal, px.
    levels : ndarray, shape (2, n)
        Grey of material and ground.
    residual : ndarray, shape (n, k)
    """
    t = np.full(len(profiles), 0.5)
    s = np.full(len(profiles), blur)
    for turn in range(5):
        scale = cosine / s
        z = (offsets - t[:, None]) * scale[:, None]
        step, rate = shape.at(z)
        if turn < 2:
            plain = _plain(normal, profiles, step, len(offsets) // 2)
        levels = _levels(profiles, step, plain)
        rise = (levels[1] - levels[0])[:, None]
        residual = profiles - levels[0][:, None] - rise * step
        bell = rate * rise
        slope = -bell * scale[:, None]
        gain = np.maximum((slope**2).sum(axis=1), 1e-12)
        t = np.clip(t + np.clip((slope * residual).sum(axis=1) / gain, -1, 1), -2.0, 3.0)
        if 0 < turn < 4:
            widen = -bell * z / s[:, None]
            change = _smooth(plain * (widen * residual).sum(axis=1)) / np.maximum(
                _smooth(plain * (widen**2).sum(axis=1)), 1e-12
            )
            s = np.clip(s + np.clip(change, -0.3 * s, 0.3 * s), 0.3, LONGEST_REACH_PX / 2)
    return t, s, levels, residual


def _smooth(values: Floats, window: int = LEVEL_WINDOW) -> Floats:
    """Running mean along the outline (the last axis), which closes on itself."""
    return np.asarray(uniform_filter1d(values, min(window, values.shape[-1]), mode="wrap"))


def _levels(profiles: Floats, step: Floats, plain: Bools) -> Floats:
    """Grey of material and ground beside each sample, shared along the outline.

    Least squares of the profiles on the two plateaus of the step, summed over a stretch of the
    outline. A longer stretch has less noise but follows the light less closely, so a stretch of
    about a flank is drawn towards one ten times as long by as much as noise alone explains
    their difference (shrinkage of James and Stein's kind).

    Parameters
    ----------
    profiles, step : ndarray, shape (n, k)
        Grey values, and the unit step fitted to each profile.
    plain : ndarray, shape (n,), bool
        False at corners and at samples that look unlike their neighbours.

    Returns
    -------
    ndarray, shape (2, n)
    """
    rest = 1 - step
    sums = plain * np.stack(
        [(rest * rest).sum(axis=1), (rest * step).sum(axis=1), (step * step).sum(axis=1),
         (rest * profiles).sum(axis=1), (step * profiles).sum(axis=1)]
    )  # fmt: skip
    n = profiles.shape[0]
    near = _solve_levels(_smooth(sums), profiles.mean())
    far = _solve_levels(_smooth(sums, 12 * LEVEL_WINDOW), profiles.mean())
    residual = profiles - far[0][:, None] * rest - far[1][:, None] * step
    noise = (1.4826 * float(np.median(np.abs(residual)))) ** 2
    information = np.maximum(_smooth(sums[[0, 2]]) * min(LEVEL_WINDOW, n), 1e-9)
    expected = np.mean(noise / information, axis=1)
    # Twice the expectation is the margin within which chance alone often falls.
    excess = np.maximum(np.mean((near - far) ** 2, axis=1) - 2 * expected, 0.0)
    share = excess / np.maximum(excess + expected, 1e-12)
    return np.asarray(far + share[:, None] * (near - far))


def _solve_levels(sums: Floats, otherwise: float) -> Floats:
    """Material and ground levels from running sums of the two-by-two normal equations."""
    rr, rs, ss, ry, sy = sums
    det = rr * ss - rs**2
    safe = np.where(det > 1e-9, det, 1.0)
    levels = np.stack([(ss * ry - rs * sy) / safe, (rr * sy - rs * ry) / safe])
    return np.where(det > 1e-9, levels, otherwise)


def _plain(normal: Floats, profiles: Floats, step: Floats, reach: int) -> Bools:
    """Samples on smooth stretches of the outline whose grey values match their neighbours'."""
    half = min(reach, max(1, len(normal) // 4))
    turn = (np.roll(normal, half, axis=0) * np.roll(normal, -half, axis=0)).sum(axis=1)
    smooth = turn > 0.87  # less than 30 degrees over twice the reach
    if not smooth.any():
        smooth = np.ones(len(normal), bool)
    plain = smooth.copy()
    for side in (step < 0.02, step > 0.98):
        count = side.sum(axis=1)
        own = (side * profiles).sum(axis=1) / np.maximum(count, 1)
        usable = smooth & (count > 0)
        if not usable.any():
            continue
        middle = _smooth(np.where(usable, own, 0.0)) / np.maximum(_smooth(usable * 1.0), 1e-9)
        away = np.abs(own - middle)
        plain &= (count > 0) & (away <= 5 * np.median(away[usable]) + 1e-9)
    return np.asarray(plain if plain.any() else smooth)


def _moved(points: EdgePoints, shift: Floats) -> EdgePoints:
    return EdgePoints(points.xy + shift, points.normal, points.u, points.blur, points.good)
