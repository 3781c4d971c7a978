"""Fit a grey-value model to a small window of raw pixels round each of many marks, all at once."""

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import erf

from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import CalibrationError

Model = Callable[[Floats, Floats, Floats], tuple[Floats, Floats]]
"""Parameters (n, k), places x and y (n or 1, p) about the windows' centres to the value (n, p) and
its derivatives (n, p, k). Parameters 0 and 1 are the mark's centre, 2 its blur."""

STEPS = 12
"""Damped steps of a fit, at most; it ends when a step takes nothing more off."""
LOST_SHARE, LOST_PX = 0.4, 2.5
"""A mark that moves further from the first guess than this share of the window, and than so many
pixels, is another one (our own judgement)."""
OFF_MIDDLE_PX = 0.75
"""A mark further from the middle of its window than this is fitted once more about where it is."""
SMALLEST_BLUR_PX = 0.25
"""A pixel's own width blurs by 0.29 px, the root of a twelfth; a sharper edge there is none."""
# Windows are fitted in lots, so that many large ones fit into memory.
LOT_PIXELS = 200_000


@dataclass(frozen=True)
class Marks:
    """Fitted marks.

    Attributes
    ----------
    xy : ndarray, shape (n, 2)
        Places, px; NaN where the fit ran away.
    u : ndarray, shape (n,)
        Standard uncertainty of a coordinate from pixel noise, root mean square of x and y, px.
    blur : ndarray, shape (n,)
        Gaussian standard deviation, pixel box included, px.
    misfit : ndarray, shape (n,)
        RMS of what the model leaves, as a share of the mark's contrast.
    params : ndarray, shape (n, k)
        All parameters of the model; the first two are `xy`.
    """

    xy: Floats
    u: Floats
    blur: Floats
    misfit: Floats
    params: Floats

    def take(self, chosen: NDArray[np.bool_] | NDArray[np.int64]) -> "Marks":
        """Pick marks by a mask or indices."""
        return Marks(*(getattr(self, field.name)[chosen] for field in fields(self)))


def gathered(parts: list[Marks]) -> Marks:
    """Put marks that were fitted apart one after the other."""
    columns = ([getattr(part, field.name) for part in parts] for field in fields(Marks))
    return Marks(*(np.concatenate(column) for column in columns))


def smooth_step(z: Floats) -> tuple[Floats, Floats]:
    """Edge from -1 to 1 blurred by a Gaussian, and its slope.

    At z standard deviations of the blur from it ``erf(z / sqrt 2)`` and
    ``sqrt(2 / pi) exp(-z^2 / 2)``.
    """
    return np.asarray(erf(z * np.sqrt(0.5))), np.sqrt(2 / np.pi) * np.exp(-(z**2) / 2)


def checked_picture(grey: ArrayLike, least_px: int) -> Floats:
    """A grey picture (h, w) of any number type as floats.

    Raises
    ------
    CalibrationError
        Where it is smaller, or no picture.
    """
    picture = np.asarray(grey, dtype=np.float64)
    if picture.ndim != 2 or min(picture.shape) < least_px:
        least = f"{least_px} x {least_px} px"
        raise CalibrationError(
            f"picture has shape {picture.shape}: give a grey picture of {least} or more"
        )
    if not np.all(np.isfinite(picture)):
        raise CalibrationError("the picture holds values that are not numbers: save it anew")
    return picture


def windows(grey: Floats, centre: NDArray[np.int64], reach: int) -> tuple[Floats, Floats, Floats]:
    """Raw pixels in a disc round each centre.

    Parameters
    ----------
    grey : ndarray, shape (h, w)
    centre : ndarray, shape (n, 2), int
        Pixels x, y.
    reach : int
        Radius of the disc, px.

    Returns
    -------
    value : ndarray, shape (n, p)
        NaN outside the frame.
    x, y : ndarray, shape (1, p)
        Places about the centre.
    """
    dy, dx = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = dx**2 + dy**2 <= reach**2
    dx, dy = dx[disc][None], dy[disc][None]
    column, row = centre[:, :1] + dx, centre[:, 1:] + dy
    height, width = grey.shape
    inside = (column >= 0) & (column < width) & (row >= 0) & (row < height)
    value = grey[np.clip(row, 0, height - 1), np.clip(column, 0, width - 1)]
    return np.where(inside, value, np.nan), dx.astype(np.float64), dy.astype(np.float64)


def fit_marks(
    grey: Floats, xy: Floats, reach: int, start: Callable[[Floats, slice], Floats], model: Model
) -> Marks:
    """Fit a model to the windows round given places, in their order.

    Parameters
    ----------
    grey : ndarray, shape (h, w)
    xy : ndarray, shape (n, 2)
        First guess of the centres, px.
    reach : int
        Radius of the windows, px.
    start : callable
        Window values (m, p), NaN outside the frame, of a slice of the marks to the parameters
        (m, k) to begin with; the centre is filled in here. Index 3 is the ground, 4 the contrast.
    """
    centre = np.rint(xy).astype(np.int64)
    lots = _lots(len(xy), reach)
    params = np.concatenate([start(windows(grey, centre[lot], reach)[0], lot) for lot in lots])
    params[:, :2] = xy
    params, u, misfit = _fitted_about(grey, centre, params, reach, model)
    # A window must lie evenly about its mark: that symmetry keeps the mark from moving.
    away = np.max(np.abs(params[:, :2] - centre), axis=1)
    moved = np.flatnonzero((away > OFF_MIDDLE_PX) & (away < reach))
    if len(moved):
        there = np.rint(params[moved, :2]).astype(np.int64)
        again = _fitted_about(grey, there, params[moved], reach, model)
        params[moved], u[moved], misfit[moved] = again
    off = np.hypot(*(params[:, :2] - xy).T)
    lost = ~np.isfinite(u) | (off > max(LOST_PX, LOST_SHARE * reach))
    params[lost, :2] = np.nan
    return Marks(params[:, :2], u, params[:, 2], misfit, params)


def _lots(marks: int, reach: int) -> list[slice]:
    size = max(1, LOT_PIXELS // int(3.2 * reach**2))
    return [slice(first, first + size) for first in range(0, marks, size)]


def _fitted_about(
    grey: Floats, centre: NDArray[np.int64], params: Floats, reach: int, model: Model
) -> tuple[Floats, Floats, Floats]:
    """Parameters, standard uncertainty of a place, misfit; windows about the given pixels."""
    parts = []
    for lot in _lots(len(centre), reach):
        value, x, y = windows(grey, centre[lot], reach)
        begun = params[lot].copy()
        begun[:, :2] -= centre[lot]
        fitted, u, misfit = _fitted(value, x, y, begun, model)
        fitted[:, :2] += centre[lot]
        parts.append((fitted, u, misfit))
    whole, u, misfit = (np.concatenate(part) for part in zip(*parts, strict=True))
    return whole, u, misfit


def _fitted(
    value: Floats, x: Floats, y: Floats, params: Floats, model: Model
) -> tuple[Floats, Floats, Floats]:
    """Damped Gauss-Newton (Levenberg-Marquardt), each window with its own damping."""
    weight = np.isfinite(value).astype(np.float64)
    value = np.nan_to_num(value)
    damping = np.full(len(params), 1e-2)
    left, normal, gradient = _normal(value, weight, params, x, y, model)
    for _ in range(STEPS):
        tried = _bounded(params + _step(normal, gradient, damping), params)
        after, next_normal, next_gradient = _normal(value, weight, tried, x, y, model)
        better = after < left
        params = np.where(better[:, None], tried, params)
        normal = np.where(better[:, None, None], next_normal, normal)
        gradient = np.where(better[:, None], next_gradient, gradient)
        settled = np.abs(left - after) <= 1e-7 * left
        left = np.where(better, after, left)
        damping = np.clip(np.where(better, damping / 8, damping * 8), 1e-9, 1e6)
        if settled.all():
            break
    return params, *_quality(left, weight, normal, params)


def _normal(
    value: Floats, weight: Floats, params: Floats, x: Floats, y: Floats, model: Model
) -> tuple[Floats, Floats, Floats]:
    seen, slope = model(params, x, y)
    residual = (value - seen) * weight
    slope = slope * weight[..., None]
    turned = slope.swapaxes(1, 2)
    gradient = (turned @ residual[..., None])[..., 0]
    return np.sum(residual**2, axis=1), turned @ slope, gradient


def _step(normal: Floats, gradient: Floats, damping: Floats) -> Floats:
    size = np.sqrt(np.einsum("nkk->nk", normal)) + 1e-9
    scaled = normal / (size[:, :, None] * size[:, None, :])
    # A little on the diagonal keeps windows without any contrast solvable.
    scaled = scaled + (damping[:, None, None] + 1e-10) * np.eye(size.shape[1])
    return np.asarray(np.linalg.solve(scaled, (gradient / size)[..., None])[..., 0] / size)


def _bounded(tried: Floats, before: Floats) -> Floats:
    """Keep a step within a pixel, and the blur positive."""
    bounded = tried.copy()
    bounded[:, :3] = before[:, :3] + np.clip(tried[:, :3] - before[:, :3], -1.0, 1.0)
    bounded[:, 2] = np.maximum(bounded[:, 2], SMALLEST_BLUR_PX)
    return bounded


def _quality(left: Floats, weight: Floats, normal: Floats, params: Floats) -> tuple[Floats, Floats]:
    spare = np.maximum(weight.sum(axis=1) - params.shape[1], 1)
    noise = np.sqrt(left / spare)
    size = np.sqrt(np.einsum("nkk->nk", normal)) + 1e-9
    inverse = np.linalg.pinv(normal / (size[:, :, None] * size[:, None, :]))
    variance = np.einsum("nkk->nk", inverse)[:, :2] / size[:, :2] ** 2
    contrast = np.maximum(np.abs(params[:, 4]), 1e-9)
    return noise * np.sqrt(variance.mean(axis=1)), noise / contrast
