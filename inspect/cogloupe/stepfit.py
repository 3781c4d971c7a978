"""Fit a blurred step to many grey profiles at once: each its own place, the rest shared.

Profiles come in the order of the outline, so neighbours share their grey levels and their blur;
averaged over a stretch about as long as a flank, these cost the position next to nothing.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from cogloupe.response import EdgeShape

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEVEL_WINDOW = 120
"""Samples along the outline over which the blur is averaged: about one flank."""
LEVEL_WINDOWS = (12 * LEVEL_WINDOW, LEVEL_WINDOW, 9)
"""Stretches over which grey levels are averaged, long to short: for steady light, for uneven
light, for tool marks."""
SLOW_BLURS_PX = (2.2, 5.0)
"""Between these blurs levels, blur and place settle slowly together and take more turns; beyond,
the profiles are too short to tell slope from level, and more turns would follow the noise."""
WIDEST_BLUR_PX = 8.0


def fit_steps(
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
    turns = 12 if SLOW_BLURS_PX[0] < blur < SLOW_BLURS_PX[1] else 5
    for turn in range(turns):
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
        if 0 < turn < turns - 1:
            widen = -bell * z / s[:, None]
            change = running_mean(plain * (widen * residual).sum(axis=1)) / np.maximum(
                running_mean(plain * (widen**2).sum(axis=1)), 1e-12
            )
            s = np.clip(s + np.clip(change, -0.3 * s, 0.3 * s), 0.3, WIDEST_BLUR_PX)
    return t, s, levels, residual


def running_mean(values: Floats, window: int = LEVEL_WINDOW) -> Floats:
    """Running mean along the outline (the last axis), which closes on itself."""
    return np.asarray(uniform_filter1d(values, min(window, values.shape[-1]), mode="wrap"))


def _levels(profiles: Floats, step: Floats, plain: Bools) -> Floats:
    """Grey of material and ground beside each sample, shared along the outline.

    Least squares of the profiles on the two plateaus of the step, summed over a stretch of the
    outline. A longer stretch has less noise but follows uneven light and tool marks less
    closely. So each shorter stretch corrects the longer one by the share of their difference
    that noise does not explain (shrinkage of James and Stein's kind).

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
    levels = _solve_levels(running_mean(sums, LEVEL_WINDOWS[0]), profiles.mean())
    residual = profiles - levels[0][:, None] * rest - levels[1][:, None] * step
    # A thousand profiles tell the noise as well as all of them.
    few = residual[:: max(1, n // 1000)]
    noise = (1.4826 * float(np.median(np.abs(few)))) ** 2
    for window in LEVEL_WINDOWS[1:]:
        near_sums = running_mean(sums, window)
        near = _solve_levels(near_sums, profiles.mean())
        information = np.maximum(near_sums[[0, 2]] * min(window, n), 1e-9)
        difference = np.where(information > 2, near - levels, 0.0)
        expected = np.mean(noise / np.maximum(information, 2.0), axis=1)
        # Twice the expectation is the margin within which chance alone often falls.
        excess = np.maximum(np.mean(difference**2, axis=1) - 2 * expected, 0.0)
        share = excess / np.maximum(excess + expected, 1e-12)
        levels = levels + share[:, None] * difference
    return levels


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
        middle = running_mean(np.where(usable, own, 0.0)) / np.maximum(
            running_mean(usable * 1.0), 1e-9
        )
        away = np.abs(own - middle)
        plain &= (count > 0) & (away <= 5 * np.median(away[usable]) + 1e-9)
    return np.asarray(plain if plain.any() else smooth)
