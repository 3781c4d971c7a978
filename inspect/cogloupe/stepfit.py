"""Fit a blurred step to many grey profiles at once: each its own place, the rest shared.

Profiles come in the order of the outline, so neighbours share their grey levels and their blur;
averaged over a stretch about as long as a flank, these cost the position next to nothing. Where
tool marks or a grained ground make the levels wander within a few pixels, what the picture's own
plateaus say of their correlation weights the pixels of each profile (generalised least squares).
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import exp, log
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from cogloupe.outline import bend
from cogloupe.response import BrokenEdge, EdgeShape

Floats = NDArray[np.floating[Any]]
Doubles = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

LEVEL_WINDOW = 120
"""Samples along the outline over which levels and blur are averaged: about one flank."""
LEVEL_WINDOWS = (12 * LEVEL_WINDOW, LEVEL_WINDOW)
"""Stretches over which grey levels are averaged, long to short: for steady and for uneven light."""
SLOW_BLUR_PX = 1.6
"""From this blur on levels, blur and place settle more slowly together and take more turns."""
GRAIN_SAMPLES = 12
"""Neighbouring samples that one grain of a texture may reach."""
WIDEST_BLUR_PX = 8.0
PLATEAU_BLURS = 2.2
"""From this distance to the edge on, in blurs, a pixel tells of its own side alone (to 1.4 %)."""
LEAST_GRAIN = 0.1
"""Variance that neighbouring pixels share, by what each has for itself, from which it is used."""


@dataclass(frozen=True)
class Band:
    """A bevel along the profiles' edge and the shadow beside it, as they meet them.

    Attributes
    ----------
    width_px, reach_px : float
        Width of the bevel, and how far its shadow reaches on the ground.
    light : ndarray, shape (n,)
        0 for the light of the material, 1 for that of the ground.
    shade : ndarray, shape (n,)
        Change of the ground's light at the edge, on the same scale.
    """

    width_px: float
    light: Floats
    reach_px: float
    shade: Floats

    def in_blurs(self, s: Floats) -> BrokenEdge:
        """Give the same in blurs of each profile."""
        return BrokenEdge(self.width_px / s, self.light, self.reach_px / s, self.shade)


BandOf = Callable[[Floats | None], Band]
"""The band beside given levels of face and ground, shape (2, n), or beside typical ones."""


@dataclass(frozen=True)
class Steps:
    """Blurred steps fitted to n profiles of k pixels.

    Attributes
    ----------
    place : ndarray, shape (n,)
        Edge position along the profile, px from its pixel inside.
    blur : ndarray, shape (n,)
        Blur along the normal, px.
    levels : ndarray, shape (2, n)
        Grey of material and ground.
    residual : ndarray, shape (n, k)
        Grey values less the steps'.
    """

    place: Doubles
    blur: Doubles
    levels: Doubles
    residual: Floats


def fit_steps(
    profiles: Floats,
    offsets: Floats,
    cosine: Floats,
    normal: Doubles,
    blur: float,
    shape: EdgeShape,
    bands: BandOf | None = None,
    grained: bool = True,
) -> Steps:
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
    bands : callable or None
        Gives a bevel along the edge, from the levels beside each sample or without them.
    grained : bool
        Weigh the pixels by the grain beside the edge; False is faster.

    Returns
    -------
    Steps
    """
    band = None if bands is None else bands(None)
    t = _half_way(profiles, offsets) - _beyond(shape, band, blur) * blur / cosine
    s = np.full(len(profiles), blur, profiles.dtype)
    turns = 6 if blur > SLOW_BLUR_PX or band is not None else 3
    limits = (-2.0, 3.0) if band is None else (-3.0, 4.0 + band.width_px)
    for turn in range(turns):
        scale = (cosine / s)[:, None]
        z = (offsets - t[:, None]) * scale
        unit = _unit_steps(shape, z, s, band)
        step = unit.step
        if turn == 0:
            plain = _plain(normal, profiles, step, len(offsets) // 2)
        levels = common_levels(profiles, step, plain)
        if bands is not None:
            band = bands(levels)
        rise = levels[1] - levels[0]
        residual = profiles - levels[0][:, None] - rise[:, None] * step
        slope = unit.rate * (-rise[:, None] * scale)
        here = t
        t = np.clip(t + np.clip(_share(slope, residual), -1, 1), *limits)
        if 0 < turn < turns - 1:
            change = _widening(unit.spread * (-rise / s)[:, None], slope, step, residual, plain)
            s = np.clip(s + np.clip(change, -0.3 * s, 0.3 * s), 0.3, WIDEST_BLUR_PX)
    if grained:
        grains = _grains(residual, z, plain, rise)
        if any(grain.variance > LEAST_GRAIN * grain.own for grain in grains):
            move = _weighted_share(slope, residual, unit, grains, _kinds(z, band))
            t = here + np.clip(move, -1, 1)
    place, blurs, greys = (values.astype(np.float64) for values in (t, s, levels))
    return Steps(place, blurs, greys, residual)


def _half_way(profiles: Floats, offsets: Floats) -> Floats:
    """Where profiles pass half way between the levels at their ends, between the middle pixels."""
    middle = running_mean((profiles[:, 0] + profiles[:, -1]) / 2)
    inside = int(np.flatnonzero(offsets == 0)[0])
    first, second = profiles[:, inside], profiles[:, inside + 1]
    rise = np.where(np.abs(second - first) > 1e-3, second - first, 1.0)
    return np.clip((middle - first) / rise, -0.5, 1.5)


def _beyond(shape: EdgeShape, band: Band | None, blur: float) -> Floats | float:
    """How far out of the true edge a step passes half way, in blurs; the outermost place."""
    if band is None:
        return shape.half_way
    edge = band.in_blurs(np.full(len(band.light), blur))
    z = np.arange(3.0, -2.0 - float(edge.width[0]), -0.25)
    step = shape.banded(np.broadcast_to(z, (len(edge.band), len(z))), edge).step
    return np.asarray(z[np.argmax(step < 0.5, axis=1)] + 0.125)


@dataclass(frozen=True)
class _Unit:
    """Unit steps, their change with place and with blur in blurs, and the share of each side."""

    step: Floats
    rate: Floats
    spread: Floats
    face: Floats
    ground: Floats


def _unit_steps(shape: EdgeShape, z: Floats, s: Floats, band: Band | None) -> _Unit:
    if band is None:
        step, rate = shape.at(z)
        return _Unit(step, rate, rate * z, 1 - step, step)
    edge = band.in_blurs(s)
    at = shape.banded(z, edge)
    spread = at.both * z + at.inner * edge.width[:, None]
    return _Unit(at.step, at.both, spread, at.face, at.ground)


def _dot(a: Floats, b: Floats) -> Floats:
    return np.asarray(np.einsum("nk,nk->n", a, b))


def _share(slope: Floats, residual: Floats) -> Floats:
    """Move of each place that takes up most of its residuals."""
    return _dot(slope, residual) / np.maximum(_dot(slope, slope), 1e-12)


def _widening(widen: Floats, slope: Floats, step: Floats, residual: Floats, plain: Bools) -> Floats:
    """Change of the blur that takes up most of the residuals, shared along the outline.

    Like the levels: a short stretch corrects a long one where chance does not explain it.

    Places and levels follow a change of the blur. What they would take up of its effect is taken
    out first, so that all settle in a few turns.
    """
    widen = widen - slope * (_dot(slope, widen) / np.maximum(_dot(slope, slope), 1e-12))[:, None]
    on_step, crossed = _dot(widen, step), _dot(step, step)
    on_rest, grounds = np.einsum("nk->n", widen) - on_step, np.einsum("nk->n", step)
    sums = plain * np.stack(
        [step.shape[1] - 2 * grounds + crossed, grounds - crossed, crossed, on_rest, on_step,
         _dot(widen, widen), _dot(widen, residual)]
    )  # fmt: skip
    far, near = (_solve_widening(sums, window) for window in LEVEL_WINDOWS)
    # Chance scatter of a stretch's wish from that of short pieces, within which marks err together.
    pieces = running_mean(sums[-1] - running_mean(sums[-1]), GRAIN_SAMPLES)
    own = np.maximum(running_mean(sums[-2]), 1e-12)
    by_chance = np.mean((pieces / own) ** 2) * GRAIN_SAMPLES / LEVEL_WINDOW
    difference = near - far
    return np.asarray(far + difference * _beyond_chance(np.mean(difference**2), by_chance))


def _solve_widening(sums: Floats, window: int) -> Floats:
    """Change of the blur for stretches of the outline."""
    # A plain running mean turns the sign of some ripples along the outline, which would grow.
    *levels, on_rest, on_step, own, wanted = running_mean(
        running_mean(sums, window // 2), window // 2
    )
    dark, bright = _solve_levels(np.stack([*levels, on_rest, on_step]), 0.0)
    left = np.maximum(own - dark * on_rest - bright * on_step, 0.1 * own + 1e-12)
    return np.asarray(wanted / left)


@dataclass(frozen=True)
class _Grain:
    """How a plateau wanders along a profile.

    `variance` and `reach` (px) are those of what neighbours share, a Gaussian of their distance;
    `own` is the variance that each pixel has for itself, of noise and of finer marks.
    """

    variance: float
    reach: float
    own: float

    def covariance(self, k: int) -> Floats:
        """Covariance that k neighbouring pixels share."""
        distance = np.arange(k)[:, None] - np.arange(k)
        return np.asarray(self.variance * np.exp(-(distance**2) / (2 * self.reach**2)))


def _grains(residual: Floats, z: Floats, plain: Bools, rise: Floats) -> tuple[_Grain, _Grain]:
    """Grain of material and ground, from the covariance of pixels none, one and three apart."""
    # Dirt is no grain.
    usual = np.abs(residual) < 6 * np.median(np.abs(residual[::7])) + 0.3 * np.abs(rise)[:, None]
    usual &= plain[:, None]
    sides = (usual & (z < -PLATEAU_BLURS), usual & (z > PLATEAU_BLURS))
    return _grain_of(residual, sides[0]), _grain_of(residual, sides[1])


def _grain_of(residual: Floats, side: Bools) -> _Grain:
    whole, near, far = (_lagged(residual, side, lag) for lag in (0, 1, 3))
    if near <= 0:
        return _Grain(0.0, 1.0, whole)
    reach_squared = 4 / log(1 / min(max(far / near, 1e-3), 0.98))  # (3^2 - 1^2) / 2
    variance = min(near * exp(1 / (2 * reach_squared)), whole)
    # A share of the grain too, so that a picture without noise can be solved.
    return _Grain(variance, reach_squared**0.5, max(whole - variance, 1e-3 * variance))


def _lagged(residual: Floats, side: Bools, lag: int) -> float:
    """Covariance of pixels of one side that lie a lag apart."""
    k = residual.shape[1]
    pairs = side[:, lag:] & side[:, : k - lag]
    products = residual[:, lag:] * residual[:, : k - lag]
    return float(products[pairs].sum()) / max(int(pairs.sum()), 1)


def _weighted_share(
    slope: Floats, residual: Floats, unit: _Unit, grains: tuple[_Grain, _Grain], kind: Ints
) -> Floats:
    """Like `_share`, with pixels weighted by what noise and the grain of both sides make of them.

    Aitken's generalised least squares. A mark under the blurred edge cannot be seen for the
    edge, but it reaches out to where it can. Samples of one kind share their weights: weights a
    little beside the best cost next to nothing, and make no error.
    """
    _, one, which = np.unique(kind, return_index=True, return_inverse=True)
    k = residual.shape[1]
    material, ground = (grain.covariance(k).astype(residual.dtype) for grain in grains)
    face, bright = unit.face[one], unit.ground[one]
    covariance = face[:, :, None] * face[:, None, :] * material
    covariance += bright[:, :, None] * bright[:, None, :] * ground
    diagonal = np.arange(k)
    covariance[:, diagonal, diagonal] += (1 - bright) * grains[0].own + bright * grains[1].own
    weighted = np.linalg.solve(covariance, slope[one, :, None])[which, :, 0]
    return _dot(weighted, residual) / np.maximum(_dot(weighted, slope), 1e-12)


def _kinds(z: Floats, band: Band | None) -> Ints:
    """Samples that lie nearly alike on their pixels: by place, slant and blur, and a bevel's light.

    Places are parted by an eighth of a pixel or so, slant and blur by five per cent.
    """
    scale = z[:, 1] - z[:, 0]
    place = np.rint(8 * z[:, 0] / scale).astype(np.int64)
    kind = 1000 * place + np.rint(20 * np.log(scale)).astype(np.int64)
    if band is not None:
        kind = 1000 * kind + np.rint(20 * band.light).astype(np.int64)
    return np.asarray(kind)


def running_mean(values: Floats, window: int = LEVEL_WINDOW) -> Floats:
    """Running mean along the outline (the last axis), which closes on itself."""
    return np.asarray(uniform_filter1d(values, min(window, values.shape[-1]), mode="wrap"))


def common_levels(
    profiles: Floats, step: Floats, plain: Bools, windows: tuple[int, ...] = LEVEL_WINDOWS
) -> Floats:
    """Grey of material and ground beside each sample, shared along the outline.

    Least squares of the profiles on the two plateaus of the step, summed over a stretch of the
    outline. A longer stretch has less noise but follows uneven light less closely. So each
    shorter one corrects the longer by the share of their difference that noise does not explain
    (shrinkage of James and Stein's kind).

    Parameters
    ----------
    profiles, step : ndarray, shape (n, k)
        Grey values, and the unit step fitted to each profile.
    plain : ndarray, shape (n,), bool
        False at corners and at samples that look unlike their neighbours.
    windows : tuple of int
        Stretches, long to short, in samples.

    Returns
    -------
    ndarray, shape (2, n)
    """
    n, k = profiles.shape
    grounds, crossed = np.einsum("nk->n", step), _dot(step, step)
    whole, bright = np.einsum("nk->n", profiles), _dot(step, profiles)
    sums = plain * np.stack(
        [k - 2 * grounds + crossed, grounds - crossed, crossed, whole - bright, bright]
    )
    middle = float(whole.mean() / k)
    levels = _solve_levels(running_mean(sums, windows[0]), middle)
    # A thousand profiles tell the noise as well as all of them.
    few = slice(None, None, max(1, n // 1000))
    rise = (levels[1] - levels[0])[few, None]
    residual = profiles[few] - levels[0][few, None] - rise * step[few]
    noise = (1.4826 * float(np.median(np.abs(residual)))) ** 2
    for window in windows[1:]:
        near_sums = running_mean(sums, window)
        information = np.maximum(near_sums[[0, 2]] * min(window, n), 1e-9)
        difference = np.where(information > 2, _solve_levels(near_sums, middle) - levels, 0.0)
        expected = np.mean(noise / np.maximum(information, 2.0), axis=1)
        share = _beyond_chance(np.mean(difference**2, axis=1), expected)
        levels = levels + share[:, None] * difference
    return np.asarray(levels, profiles.dtype)


def _beyond_chance(
    square: Floats | np.floating[Any], by_chance: Floats | np.floating[Any]
) -> Floats:
    """Share of differences of a mean square that chance, which leaves another, does not explain."""
    # Twice the expectation is the margin within which chance alone often falls.
    excess = np.maximum(square - 2 * by_chance, 0.0)
    return np.asarray(excess / np.maximum(excess + by_chance, 1e-12))


def _solve_levels(sums: Floats, otherwise: float) -> Floats:
    """Material and ground levels from running sums of the two-by-two normal equations."""
    rr, rs, ss, ry, sy = sums
    det = rr * ss - rs**2
    safe = np.where(det > 1e-9, det, 1.0)
    levels = np.stack([(ss * ry - rs * sy) / safe, (rr * sy - rs * ry) / safe])
    return np.where(det > 1e-9, levels, otherwise)


def _plain(normal: Doubles, profiles: Floats, step: Floats, reach: int) -> Bools:
    """Samples on smooth stretches of the outline whose grey values match their neighbours'."""
    smooth = bend(normal, reach) > 0.87  # less than 30 degrees over twice the reach
    if not smooth.any():
        smooth = np.ones(len(normal), bool)
    plain = smooth.copy()
    for beyond in (step < 0.02, step > 0.98):
        side = beyond.astype(profiles.dtype)
        count = np.einsum("nk->n", side)
        own = _dot(side, profiles) / np.maximum(count, 1)
        usable = smooth & (count > 0)
        if not usable.any():
            continue
        middle = running_mean(np.where(usable, own, 0.0)) / np.maximum(
            running_mean(usable * 1.0), 1e-9
        )
        away = np.abs(own - middle)
        plain &= (count > 0) & (away <= 5 * np.median(away[usable]) + 1e-9)
    return np.asarray(plain if plain.any() else smooth)
