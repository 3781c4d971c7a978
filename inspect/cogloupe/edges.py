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
from scipy.ndimage import maximum_filter1d

from cogloupe.bevel import (
    LEAST_GAIN,
    MISFIT_LOOKED_INTO,
    NO_BEVEL,
    Bevel,
    Misfit,
    Profiles,
    find_bevel,
    misfit,
)
from cogloupe.outline import (
    Crossings,
    border_chains,
    crossings_of,
    material_mask,
    tangents,
    window_of,
)
from cogloupe.response import EdgeShape, edge_shape
from cogloupe.segment import LUMA, Region, mix_colours
from cogloupe.stepfit import Band, fit_steps, running_mean

Floats = NDArray[np.float64]
Greys = NDArray[np.floating[Any]]
Bools = NDArray[np.bool_]
EdgeChoice = Literal["outer", "inner"]

BEVEL_REACH_PX = 14
BURNT_DOUBT = 1.5
"""Standard uncertainty of every edge's place, in blurs, where the ground beside it is burnt out:
how much brighter it really was is not known; three times as bright moves the edge 1.2 true blurs,
with the sRGB curve 1.8 (recomputed), and makes the blur look half as wide."""
COLOUR_IS_SRGB = 5.0
"""Factor by which the sRGB curve may fit a colour picture worse and still be believed."""
BURNT_PIXELS = 0.15
"""Share of a sample's pixels at full scale from which its bright level is called burnt out."""
LOOK_SAMPLES = 4000
"""Samples that are enough to tell camera curve and bevel, in stretches of `LOOK_STRETCH`."""
LOOK_STRETCH = 240
GRAIN_SAMPLES = 12
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
        1 where the grey values follow the sRGB curve, 0 where they are proportional to light.
    u_level_px : float
        Standard uncertainty that the doubt about that curve, and a bevel, leave in every edge's
        place, px.
    bevel_px : float
        Width of a bevel along the outline, px; 0 where none is seen.
    texture : float
        How much the levels of gear and ground vary from place to place beside the outline
        (tool marks, a grained ground), as a share of the contrast.
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
    texture: float


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
    grey = np.ascontiguousarray(mix_colours(window, region.weights))
    mask = material_mask(grey, region, pixels.shape, corner)
    outer, holes = border_chains(mask, region, corner)
    full_scale = float(np.iinfo(pixels.dtype).max)
    crossings = crossings_of(mask, outer)
    looks = _looks(grey, crossings.take(_stretches(len(crossings.step))), region, full_scale)
    best, *others = _best_looks(looks)
    bevel = best.bevel
    start = None if best.profiles is None else float(np.median(best.profiles.blur))
    measured = [
        _measure(grey, which, full_scale, best.shape, bevel, start)
        for which in (crossings, *(crossings_of(mask, hole) for hole in holes))
    ]
    inwards = bevel.width_px if edge == "inner" else 0.0
    placed = [
        replace(m.points, xy=m.points.xy - inwards * m.points.normal + np.array(corner, float))
        for m in measured
    ]
    first = measured[0]
    blur = float(np.median(first.points.blur))
    doubt = hypot(_curve_doubt(best, others), BURNT_DOUBT * first.burnt)
    u_level = hypot(doubt * blur, BEVEL_DOUBT * bevel.width_px)
    return Outlines(
        placed[0], tuple(placed[1:]), first.contrast / full_scale, first.noise / first.contrast,
        blur, first.burnt, best.shape.curve, u_level, bevel.width_px, first.texture,
    )  # fmt: skip


@dataclass(frozen=True)
class _Look:
    """The outer outline as one camera curve explains it, with or without a bevel.

    `handicap` is the factor by which the curve may fit better and still not be believed.
    """

    shape: EdgeShape
    profiles: Profiles | None
    misfit: Misfit
    half_way: float
    handicap: float = 1.0
    bevel: Bevel = NO_BEVEL

    @property
    def badness(self) -> float:
        """What tells a wrong camera curve: lopsided edges, or with a bevel all that is left."""
        left = self.misfit.beyond_chance if self.bevel.width_px else self.misfit.overall
        return self.handicap * left


def _best_looks(looks: list[_Look]) -> list[_Look]:
    """Looks at the outline, best first; with a bevel only where that explains it far better."""
    plain = sorted(looks, key=lambda look: look.badness)
    if plain[0].profiles is None or _left(plain) < MISFIT_LOOKED_INTO**2:
        return plain
    banded = sorted((_with_bevel(look) for look in looks), key=lambda look: look.badness)
    return banded if LEAST_GAIN * _left(banded) < _left(plain) else plain


def _left(looks: list[_Look]) -> float:
    return min(look.handicap * look.misfit.beyond_chance for look in looks)


def _with_bevel(look: _Look) -> _Look:
    """The same look with the band that suits it best."""
    if look.profiles is None:
        return look
    bevel, profiles = find_bevel(look.profiles, look.shape)
    left = misfit(profiles, look.shape, bevel)
    return replace(look, profiles=profiles, misfit=left, bevel=bevel)


def _stretches(samples: int) -> NDArray[np.int64]:
    """Some long stretches of an outline, spread round it, which tell camera and bevel as well."""
    index = np.arange(samples)
    every = ceil(samples / LOOK_SAMPLES)
    return np.asarray(index[(index // LOOK_STRETCH) % every == 0])


def _looks(
    grey: NDArray[Any], crossings: Crossings, region: Region, full_scale: float
) -> list[_Look]:
    """The outer outline under each camera curve that may be behind the picture.

    Light that is stored in proportion, or by the sRGB curve: cameras do one or the other. A
    mixture of colours other than brightness follows no one curve and is taken as it is.
    """
    plain = edge_shape(0.0, 0.0, 1.0)
    first = _measure(grey, crossings, full_scale, plain, grained=False)
    low, high = (float(np.median(v)) / full_scale for v in first.levels)
    bent = edge_shape(1.0, low, high)
    half_way = abs(bent.half_way)
    # Longer profiles than the teeth are thick would run into the next flank.
    module = 2 * region.tip_radius / (region.teeth + 2)
    reach = int(np.clip(0.7 * module, 5, BEVEL_REACH_PX))
    look = _look(grey, first, edge_shape(0.0, low, high), half_way, reach)
    if region.weights is not None and not np.allclose(region.weights, LUMA):
        return [look]
    blur = float(np.median(first.points.blur))
    second = _measure(grey, crossings, full_scale, bent, blur=blur, grained=False)
    # A camera's colour picture is sRGB unless the edges speak clearly against it.
    handicap = COLOUR_IS_SRGB if region.coloured else 1.0
    return [replace(look, handicap=handicap), _look(grey, second, bent, half_way, reach)]


def _look(
    grey: NDArray[Any], measured: "_Measured", shape: EdgeShape, half_way: float, reach: int
) -> _Look:
    """Take longer profiles on smooth stretches of the outline, and see how single steps fit."""
    normal = measured.points.normal
    half = min(reach, max(1, len(normal) // 4))
    turn = (np.roll(normal, half, axis=0) * np.roll(normal, -half, axis=0)).sum(axis=1)
    # The stretches were cut out of the outline: normals are wrong where they meet.
    jump = np.abs(np.roll(measured.points.xy, -1, axis=0) - measured.points.xy).max(axis=1) > 3
    usable = measured.points.good & ~maximum_filter1d(jump, 2 * BEVEL_REACH_PX, mode="wrap")
    kept = np.flatnonzero(usable & (turn > 0.8))
    if len(kept) < 400:
        kept = np.flatnonzero(usable)
    crossings = measured.crossings.take(kept)
    greys, offsets, inside = _profiles(grey, crossings, reach)
    kept = kept[inside]
    if len(kept) < 200 or measured.burnt > 0.5:
        return _Look(shape, None, Misfit(1.0, 1.0, 0.0), half_way)
    cosine = np.abs((normal[kept] * crossings.step[inside]).sum(axis=1))
    points = measured.points.take(kept)
    profiles = Profiles(
        greys, offsets, cosine, points.normal, points.xy, measured.place[kept], points.blur
    )
    return _Look(shape, profiles, misfit(profiles, shape), half_way)


def _curve_doubt(best: _Look, others: list[_Look]) -> float:
    """Standard uncertainty of every edge's place from doubt about the camera curve, in blurs."""
    if not others:
        return 0.5 * best.half_way
    return 0.5 * best.half_way * sqrt(best.badness / others[0].badness)


@dataclass(frozen=True)
class _Measured:
    """Samples of one outline with what they were fitted from.

    `levels` (2, n) are the greys of material and ground beside each sample, `place` (n,) is where
    the edge lies, in steps from the pixel inside.
    """

    points: EdgePoints
    contrast: float
    noise: float
    burnt: float
    texture: float
    levels: Floats
    place: Floats
    crossings: Crossings


def _measure(
    grey: NDArray[Any],
    crossings: Crossings,
    full_scale: float,
    shape: EdgeShape,
    bevel: Bevel = NO_BEVEL,
    blur: float | None = None,
    grained: bool = True,
) -> _Measured:
    """Fit every sample of one outline; a good first blur spares turns."""
    blur, reach = blur or _first_blur(grey, crossings), 0
    while reach != (reach := _reach(blur, bevel.width_px)):
        profiles, offsets, kept = _profiles(grey, crossings, reach)
        if len(profiles) == 0:
            return _nothing_measured(crossings)
        cosine = np.abs((crossings.normal * crossings.step).sum(axis=1))[kept].astype(np.float32)
        normal = crossings.normal[kept]
        band = Band(bevel.width_px, bevel.light(normal)) if bevel.width_px else None
        steps = fit_steps(profiles, offsets, cosine, normal, blur, shape, band, grained)
        blur = max(blur, float(np.median(steps.blur)))
    t, s, levels, residual = steps.place, steps.blur, steps.levels, steps.residual
    noise = 1.4826 * float(np.median(np.abs(residual[::5])))
    contrast = levels[1] - levels[0]
    across = crossings.step[kept]
    xy = crossings.inside[kept] + t[:, None] * across
    typical = float(np.median(np.abs(contrast)))
    u = noise / np.maximum(np.abs(contrast), 1e-6) * np.sqrt(2 * sqrt(pi) * s * cosine)
    misfit = np.sqrt(np.mean(residual**2, axis=1))
    good = (misfit < 4 * noise + 0.02 * typical) & (np.abs(contrast) > 0.3 * typical)
    burnt = float(np.mean((profiles >= full_scale).mean(axis=1) > BURNT_PIXELS))
    points = EdgePoints(xy, _tangent_normals(xy, across), u, s, good)
    z = (offsets - t[:, None]) * (cosine / s)[:, None]
    texture = _texture(residual, z) / max(typical, 1e-6)
    return _Measured(points, typical, noise, burnt, texture, levels, t, crossings.take(kept))


def _texture(residual: Greys, z: Greys) -> float:
    """Size of what the levels beside a short flank miss, both sides together, noise taken off.

    Plateau pixels are averaged over a dozen neighbouring samples, about what lies beside a flank of
    small teeth; a level that is off there moves the whole flank.
    """
    squares = 0.0
    for side in (z < -2.2, z > 2.2):
        count = running_mean(side.sum(axis=1).astype(float), GRAIN_SAMPLES)
        mean = running_mean((side * residual).sum(axis=1), GRAIN_SAMPLES) / np.maximum(count, 1e-9)
        pixel = (1.4826 * float(np.median(np.abs(residual[::7])))) ** 2
        by_chance = pixel / np.maximum(np.median(count) * GRAIN_SAMPLES, 1)
        squares += max((1.4826 * float(np.median(np.abs(mean)))) ** 2 - by_chance, 0.0)
    return sqrt(squares)


def _nothing_measured(crossings: Crossings) -> _Measured:
    empty = np.empty(0)
    points = EdgePoints(np.empty((0, 2)), np.empty((0, 2)), empty, empty, np.empty(0, bool))
    return _Measured(points, 1.0, 1.0, 0.0, 0.0, np.empty((2, 0)), empty, crossings)


def _tangent_normals(xy: Floats, steps: NDArray[np.int64]) -> Floats:
    """Normals from the measured positions, turned to the ground side."""
    tangent = tangents(xy)
    normal = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)
    return np.asarray(normal * np.where((normal * steps).sum(axis=1) < 0, -1.0, 1.0)[:, None])


def _reach(blur: float, bevel_px: float) -> int:
    """Pixels to each side that a sample needs: the whole slope, a band and some level."""
    return int(np.clip(ceil(3 * blur + bevel_px) + 3, 5, LONGEST_REACH_PX))


def _profiles(
    grey: NDArray[Any], crossings: Crossings, reach: int
) -> tuple[Greys, Greys, NDArray[np.int64]]:
    """Grey values across the edge, from material to ground, and their distances from `inside`."""
    offsets = np.arange(-reach + 1, reach + 1)
    height, width = grey.shape
    ends = crossings.inside + crossings.step * offsets[[0, -1], None, None]
    inside = ((ends >= 0) & (ends < [width, height])).all(axis=(0, 2))
    kept = np.flatnonzero(inside)
    # One flat index is read faster than two.
    start, stride = (v[kept] @ [1, width] for v in (crossings.inside, crossings.step))
    greys = grey.ravel()[start[:, None] + stride[:, None] * offsets]
    return greys.astype(np.float32), offsets.astype(np.float32), kept


def _first_blur(grey: NDArray[Any], crossings: Crossings) -> float:
    """Blur from the steepest slope of the typical profile: A / (s sqrt(2 pi))."""
    few = crossings.take(np.arange(0, len(crossings.step), 8))
    profiles, _, kept = _profiles(grey, few, LONGEST_REACH_PX // 2)
    if len(profiles) == 0:
        return 1.0
    cosine = np.abs((few.normal * few.step).sum(axis=1))[kept]
    steepest = np.median(np.abs(np.diff(profiles, axis=1)).max(axis=1) / cosine)
    height = np.median(np.abs(profiles[:, :2].mean(axis=1) - profiles[:, -2:].mean(axis=1)))
    return float(np.clip(height / max(steepest, 1e-9) / sqrt(2 * pi), 0.4, 5.0))
