"""Two edges side by side: where the true outline runs when its edge is broken.

A bevel (or a raised burr) shows as a narrow band along the outline, brighter or darker than the
face by the way it is turned to the lamp. A single blurred step fitted across it follows now the
outer, now the inner of two edges, depending on which way the outline faces. Here ground, shadow,
band and face are fitted together, to all samples at once: the band's width belongs to the gear, its
brightness and that of its shadow change smoothly with the way it faces, the blur smoothly over the
frame, and each sample has its own place.
"""

from dataclasses import dataclass, replace
from math import pi
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe.response import EdgeShape
from cogloupe.stepfit import LEVEL_WINDOWS, Band, common_levels

Floats = NDArray[np.floating[Any]]

ORDERS = 3
"""Harmonics of the direction that a band's brightness may have. A matt surface needs one
(Lambert's cosine law), several lamps or a shine a few more (common practice, no source)."""
SHADE_ORDERS, SHADE_PX = 3, 4.0
"""The same for a shadow beside it, and how far it reaches (as far as a bevel of a tenth of a module
is high, common practice, no source)."""
FIRST_WIDTHS_PX = (2.5, 6.0)
NARROWEST_PX = 1.5
"""A narrower band cannot be told from an edge whose blur is no Gaussian."""
TURNS = 12
MARK_SAMPLES = 9
"""Neighbouring samples whose levels are averaged, so that those follow tool marks."""
SECTORS = 36
BIN_PX = 0.5


@dataclass(frozen=True)
class Bevel:
    """A band along the outline.

    Attributes
    ----------
    width_px : float
        Width of the band, px; 0 where no band is seen.
    share : ndarray, shape (2 ORDERS + 1,)
        Its light, 0 for that of the face and 1 for that of the ground, as harmonics of the way
        it faces: mean, then cosine and sine of each order.
    shade : ndarray, shape (2 SHADE_ORDERS + 1,)
        Change of the ground's light beside it, a shadow or a glow, on the same scale.
    """

    width_px: float
    share: Floats
    shade: Floats

    def along(self, normal: Floats) -> Band:
        """Take the band and the shadow as samples of the outline meet them.

        Parameters
        ----------
        normal : ndarray, shape (n, 2)
            Unit normals.

        Returns
        -------
        Band
        """
        light = _harmonics(normal, ORDERS) @ self.share
        return Band(self.width_px, light, SHADE_PX, _harmonics(normal, SHADE_ORDERS) @ self.shade)


NO_BEVEL = Bevel(0.0, np.zeros(2 * ORDERS + 1), np.zeros(2 * SHADE_ORDERS + 1))


@dataclass(frozen=True)
class Profiles:
    """Grey profiles across an outline, long enough to hold a bevel.

    Attributes
    ----------
    grey : ndarray, shape (n, k)
    offsets : ndarray, shape (k,)
        Places of the pixels along the profile, px.
    cosine : ndarray, shape (n,)
        Cosine between profile and edge normal.
    normal, xy : ndarray, shape (n, 2)
        Edge normals out of the material, and edge points, px.
    place, blur : ndarray, shape (n,)
        Where a step was fitted along the profile, and its blur, px.
    """

    grey: Floats
    offsets: Floats
    cosine: Floats
    normal: Floats
    xy: Floats
    place: Floats
    blur: Floats

    @property
    def short_of_level(self) -> bool:
        """Whether they end before the level of the face is seen beyond a narrow band."""
        return bool(self.offsets[-1] < 3 * np.median(self.blur) + NARROWEST_PX)


@dataclass(frozen=True)
class Misfit:
    """Mean squares of what steps leave of an outline's averaged profiles, in shares of contrast.

    What pixel noise leaves of the averages is taken off, down to a tenth of it.

    Attributes
    ----------
    overall : float
        Averaged over the whole outline: a wrong camera curve shows here.
    by_facing : float
        Averaged by the way the outline faces: a bevel shows here.
    """

    overall: float
    by_facing: float


def misfit(profiles: Profiles, shape: EdgeShape, bevel: Bevel = NO_BEVEL) -> Misfit:
    """How badly steps fit an outline's profiles.

    Parameters
    ----------
    profiles : Profiles
    shape : EdgeShape
    bevel : Bevel

    Returns
    -------
    Misfit
    """
    z = _blurs(profiles)
    step = shape.banded(z, bevel.along(profiles.normal).in_blurs(profiles.blur)).step
    levels = _levels(profiles, step)
    rise = levels[1] - levels[0]
    left = profiles.grey - levels[0][:, None] - rise[:, None] * step
    share = np.clip(left / np.median(np.abs(rise)), -0.6, 0.6)
    turn = np.mod(np.arctan2(profiles.normal[:, 1], profiles.normal[:, 0]) / (2 * pi), 1.0)
    sector = np.minimum((turn * SECTORS).astype(int), SECTORS - 1)
    distance = z * profiles.blur[:, None]
    bins = np.floor((distance - distance.min()) / BIN_PX).astype(int)
    cell = (sector[:, None] * (bins.max() + 1) + bins).ravel()
    size = SECTORS * (int(bins.max()) + 1)
    count, total, square = (
        np.bincount(cell, weights, size).reshape(SECTORS, -1)
        for weights in (np.ones(len(cell)), share.ravel(), share.ravel() ** 2)
    )
    pixel = float((square - total**2 / np.maximum(count, 1)).sum() / count.sum())
    overall = _mean_square(total.sum(axis=0), count.sum(axis=0), pixel)
    return Misfit(overall, _mean_square(total, count, pixel))


def _mean_square(total: NDArray[Any], count: NDArray[Any], pixel: float) -> float:
    """Mean square of the averages of groups of pixels, less what the noise of pixels leaves."""
    chance = pixel * float((count > 0).sum() / count.sum())
    left = float((total**2 / np.maximum(count, 1)).sum() / count.sum())
    return max(left - chance, 0.1 * chance)


def _levels(profiles: Profiles, step: Floats) -> Floats:
    """Levels that follow tool marks closely: only the shape of the edge is of interest here."""
    windows = (*LEVEL_WINDOWS, MARK_SAMPLES)
    return common_levels(profiles.grey, step, np.ones(len(step), bool), windows)


def find_bevel(profiles: Profiles, shape: EdgeShape) -> tuple[Bevel, Profiles]:
    """Find the band along an outline that explains its profiles best.

    Parameters
    ----------
    profiles : Profiles
        Placed by single steps.
    shape : EdgeShape

    Returns
    -------
    Bevel
        Whether to believe it is for the caller to judge (`misfit`).
    Profiles
        The same, placed and blurred by the two-edge step: `place` is the outer edge.
    """
    tried = [_settle(profiles, shape, width) for width in FIRST_WIDTHS_PX]
    state, _ = min(tried, key=lambda end: end[1])
    return state.bevel, replace(profiles, place=state.place, blur=state.blur)


@dataclass(frozen=True)
class _State:
    """Where the fit stands: `spread` are the terms of the blur over the frame."""

    bevel: Bevel
    spread: Floats
    place: Floats
    blur: Floats


def _settle(profiles: Profiles, shape: EdgeShape, width: float) -> tuple[_State, float]:
    """Fit a band from a first width; the mean square residual tells how well."""
    bases = (
        _harmonics(profiles.normal, ORDERS), _harmonics(profiles.normal, SHADE_ORDERS),
        np.ones((len(profiles.xy), 1)), _frame_terms(profiles.xy),
    )  # fmt: skip
    # A single step takes the band for more blur.
    spread = np.linalg.lstsq(bases[-1], 0.85 * profiles.blur, rcond=None)[0]
    blur = _blur(bases[-1], spread)
    state = _State(replace(NO_BEVEL, width_px=width), spread, profiles.place, blur)
    limits = NARROWEST_PX, 0.6 * float(profiles.offsets[-1])
    for turn in range(TURNS):
        state, residual = _better(profiles, shape, state, bases, limits, 0.3 if turn < 3 else 0.02)
    return state, residual


def _better(
    profiles: Profiles,
    shape: EdgeShape,
    state: _State,
    bases: tuple[Floats, ...],
    limits: tuple[float, float],
    damping: float,
) -> tuple[_State, float]:
    """One step of Gauss and Newton, each sample's own place eliminated."""
    residual, by_place, rates = _rates(profiles, shape, state)
    gain = np.maximum((by_place**2).sum(axis=1), 1e-12)
    without_place = [
        v - by_place * ((by_place * v).sum(axis=1) / gain)[:, None] for v in (*rates, residual)
    ]
    left = without_place[-1]
    own = (left**2).mean(axis=1)
    usual = own < 9 * np.median(own)
    shared = np.stack(without_place[:-1])
    products = np.einsum("ank,bnk->abn", shared, shared) * usual
    right = np.einsum("ank,nk->an", shared, left) * usual
    normal = np.block(
        [[a.T @ (products[i, j][:, None] * b) for j, b in enumerate(bases)]
         for i, a in enumerate(bases)]
    )  # fmt: skip
    normal += np.diag(damping * np.diag(normal) + 1e-9 * np.trace(normal))
    change = np.linalg.solve(
        normal, np.concatenate([b.T @ r for b, r in zip(bases, right, strict=True)])
    )
    changes = np.split(change, np.cumsum([b.shape[1] for b in bases])[:-1])
    light, shade, width, spread = changes
    moved = sum(g * (b @ c)[:, None] for g, b, c in zip(rates, bases, changes, strict=True))
    place = np.clip((by_place * (residual - moved)).sum(axis=1) / gain, -1, 1)
    bevel = Bevel(
        float(np.clip(state.bevel.width_px + np.clip(width[0], -0.7, 0.7), *limits)),
        state.bevel.share + light,
        state.bevel.shade + shade,
    )
    spread = state.spread + spread
    after = _State(bevel, spread, np.clip(state.place + place, -4, 6), _blur(bases[-1], spread))
    return after, float(own[usual].mean())


def _rates(
    profiles: Profiles, shape: EdgeShape, state: _State
) -> tuple[Floats, Floats, tuple[Floats, ...]]:
    """Residuals, and how the profiles change with place; with light, shade, width and blur."""
    at = replace(profiles, place=state.place, blur=state.blur)
    edge = state.bevel.along(profiles.normal).in_blurs(state.blur)
    z = _blurs(at)
    look = shape.banded(z, edge)
    levels = _levels(profiles, look.step)
    rise = (levels[1] - levels[0])[:, None]
    residual = profiles.grey - levels[0][:, None] - rise * look.step
    per_blur = rise / state.blur[:, None]
    by_place = -per_blur * profiles.cosine[:, None] * look.both
    by_blur = -per_blur * (look.both * z + look.inner * edge.width[:, None])
    return residual, by_place, (rise * look.lit, rise * look.shaded, per_blur * look.inner, by_blur)


def _blurs(profiles: Profiles) -> Floats:
    """Distance of every pixel out of the edge, in blurs."""
    along = profiles.offsets - profiles.place[:, None]
    return np.asarray(along * (profiles.cosine / profiles.blur)[:, None])


def _blur(terms: Floats, spread: Floats) -> Floats:
    return np.clip(terms @ spread, 0.35, 8.0)


def _harmonics(normal: Floats, orders: int) -> Floats:
    turn = np.arctan2(normal[:, 1], normal[:, 0])[:, None] * np.arange(1, orders + 1)
    both = np.stack([np.cos(turn), np.sin(turn)], axis=2).reshape(len(turn), -1)
    return np.concatenate([np.ones((len(turn), 1)), both], axis=1)


def _frame_terms(xy: Floats) -> Floats:
    """Constant, linear and square terms of the place in the frame, each about 1 at most."""
    x, y = ((xy - xy.mean(axis=0)) / np.abs(xy - xy.mean(axis=0)).max()).T
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
