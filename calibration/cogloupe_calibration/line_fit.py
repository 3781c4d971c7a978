"""Fit a common grey profile to every line of a ruled scale, on the pixels as they are."""

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import curve_fit
from scipy.special import ndtr

from cogloupe_calibration.arrays import Floats, Ints
from cogloupe_calibration.rulings import BIN_PX, Bands

TAIL_BLURS = 2.5
"""Blurs to which an edge shows: beyond lies less than 1 % of its height."""


@dataclass(frozen=True)
class LineShape:
    """Grey profile common to all lines: a strip of this width, blurred by a Gaussian."""

    width: float
    blur: float

    @property
    def reach(self) -> float:
        """How far from the centre the line still shows, px."""
        return self.width / 2 + TAIL_BLURS * self.blur

    def profile(self, v: Floats) -> Floats:
        """Height of the line at v from its centre."""
        h, s = self.width / 2, self.blur
        return np.asarray(ndtr((v + h) / s) - ndtr((v - h) / s), dtype=np.float64)

    def slope(self, v: Floats) -> Floats:
        """Derivative of `profile`."""
        h, s = self.width / 2, self.blur
        bells = np.exp(-(((v + h) / s) ** 2) / 2) - np.exp(-(((v - h) / s) ** 2) / 2)
        return np.asarray(bells / (s * sqrt(2 * pi)), dtype=np.float64)


@dataclass(frozen=True)
class LinePoints:
    """Points on the centres of lines; one row per line and band in which it is seen.

    `band`, `u`, `t`, `u_u`: band, place and standard uncertainty of u from pixel noise, px;
    `amplitude`: height above the ground, negative for dark lines; (m,) each.
    """

    band: Ints
    u: Floats
    t: Floats
    u_u: Floats
    amplitude: Floats

    def select(self, keep: NDArray[np.bool_]) -> "LinePoints":
        """Only the rows to keep."""
        return LinePoints(
            self.band[keep], self.u[keep], self.t[keep], self.u_u[keep], self.amplitude[keep]
        )


def fit_points(
    bands: Bands, band: Ints, u: Floats, *, shape: LineShape, reach: float, fade: Floats
) -> tuple[LinePoints, Floats, Floats]:
    """Fit the common line shape at given places, all at once.

    Parameters
    ----------
    band : ndarray, shape (m,), int
    u : ndarray, shape (m,)
        First guess of the centres.
    reach : float
        Half width of the pixels used, px.
    fade : ndarray, shape (m,)
        Relative change of the line's height per pixel along u, from uneven light; `fade_of`.

    Returns
    -------
    points : LinePoints, m rows
        NaN where the pixels do not reach round the line.
    offset, height : ndarray, shape (m, w)
        Distance of each bin from its centre, and its grey value over the ground as a fraction of
        the line's; NaN in empty bins.

    Notes
    -----
    Gauss-Newton on ground, slope of the ground, amplitude and place, weighted by pixels.
    """
    index, inside = bin_windows(bands, u, reach)
    rows = band[:, None]
    place, value, count = bands.u[rows, index], bands.value[rows, index], bands.count[rows, index]
    # Every half of the window needs a pixel column or two, or the ground is unknown there.
    inside &= np.minimum(*_filled_halves(place - u[:, None], count)) >= 2
    weight = np.where(inside[:, None] & (np.abs(place - u[:, None]) <= reach), count, 0.0)
    centre = u.copy()
    for _ in range(5):
        v = place - centre[:, None]
        solution, covariance = _solve(_design(v, shape, fade), value, weight)
        step = -solution[:, 3] / np.where(solution[:, 2] == 0, np.inf, solution[:, 2])
        centre += np.clip(step, -0.5, 0.5)
    height = np.maximum(np.abs(solution[:, 2]), 1e-12)
    u_u = bands.noise * np.sqrt(covariance[:, 3, 3]) / height
    t = np.sum(weight * bands.t[rows, index], axis=1) / np.maximum(weight.sum(axis=1), 1)
    lost = ~inside | (np.abs(centre - u) > reach / 2)
    points = LinePoints(band, np.where(lost, np.nan, centre), t, u_u, solution[:, 2])
    v = np.where(weight > 0, place - centre[:, None], np.nan)
    ground = solution[:, [0]] + solution[:, [1]] * v
    return points, v, (value - ground) / np.copysign(height, solution[:, 2])[:, None]


def bin_windows(bands: Bands, u: Floats, reach: float) -> tuple[Ints, NDArray[np.bool_]]:
    """Bins (m, w) round given places (m,), px, and whether the picture reaches so far.

    `reach` is half a window's width, px.
    """
    width = int(np.ceil(2 * reach / BIN_PX)) + 1
    first = np.floor((u - reach - bands.start) / BIN_PX).astype(np.int64)
    inside = (first >= 0) & (first + width <= bands.u.shape[1])
    index = np.clip(first[:, None] + np.arange(width), 0, bands.u.shape[1] - 1)
    return index, inside


def _filled_halves(v: Floats, count: Floats) -> tuple[Ints, Ints]:
    filled = count > 0
    return np.sum(filled & (v < -1), axis=1), np.sum(filled & (v > 1), axis=1)


def _design(v: Floats, shape: LineShape, fade: Floats) -> Floats:
    lit = 1 + fade[:, None] * v
    return np.stack([np.ones_like(v), v, lit * shape.profile(v), shape.slope(v)], axis=2)


def fade_of(points: LinePoints) -> Floats:
    """Relative change of the lines' height along u, from a smooth fit over the picture.

    In 1/px, (m,). A line lit more on one side has its centre of grey pulled there, by a few
    thousandths of a pixel, and differently at the two ends of the scale.
    """
    seen = np.isfinite(points.u) & (points.amplitude * np.nanmedian(points.amplitude) > 0)
    if np.count_nonzero(seen) < 12:
        return np.zeros(len(points.u))
    height = np.log(np.abs(points.amplitude[seen]))
    size = max(float(np.ptp(points.u[seen])), 1.0)
    u, t = points.u / size, points.t / size
    design = np.stack([np.ones_like(u), u, t, u**2, u * t, t**2], axis=1)[seen]
    good = np.abs(height - np.median(height)) < np.log(3)
    for _ in range(3):
        terms = np.linalg.lstsq(design[good], height[good], rcond=1e-9)[0]
        left = np.abs(height - design @ terms)
        good = left <= 3 * np.median(left[good]) + 1e-9
    slope = (terms[1] + 2 * terms[3] * u + terms[4] * t) / size
    return np.where(seen, slope, 0.0)


def _solve(design: Floats, value: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Weighted least squares of every window; solution (m, 4) and its unit covariance."""
    normal = np.einsum("mki,mk,mkj->mij", design, weight, design)
    right = np.einsum("mki,mk->mi", design, weight * value)
    # A window with no pixels has a zero matrix; the ridge leaves its answer at zero.
    inverse = np.linalg.inv(normal + 1e-9 * np.eye(4))
    return np.einsum("mij,mj->mi", inverse, right), inverse


def fit_shape(offset: Floats, height: Floats, guess: LineShape, period: float) -> LineShape:
    """Fit the common shape to all lines laid over each other.

    Offsets and heights (m, w) are as `fit_points` gives them; the period, px, limits width and
    blur.
    """
    v, h = _stacked(offset, height, period)

    def model(v: Floats, width: float, blur: float, scale: float, base: float) -> Floats:
        return base + scale * LineShape(width, blur).profile(v)

    start = (min(guess.width, 0.8 * period), min(guess.blur, 0.4 * period), 1.0, 0.0)
    limits = ([0.2, 0.25, 0.1, -1.0], [period, period, 20.0, 1.0])
    try:
        (width, blur, *_), _ = curve_fit(model, v, h, p0=start, bounds=limits)
    except RuntimeError:
        return guess
    return LineShape(float(width), float(blur))


def _stacked(offset: Floats, height: Floats, period: float) -> tuple[Floats, Floats]:
    """Median height in steps of a fifth of a pixel, so that dirt does not count."""
    good = np.isfinite(offset) & (np.abs(offset) < period / 2)
    v, h = offset[good], height[good]
    step = np.round(v / 0.2).astype(int)
    order = np.lexsort((h, step))
    first = np.flatnonzero(np.diff(step[order], prepend=step.min() - 1))
    size = np.diff(first, append=len(order))
    middle = order[first + size // 2]
    place = np.bincount(step - step.min(), v)[step[middle] - step.min()] / size
    return place, h[middle]
