"""Least squares within bounds, for small fits on the way of every photograph.

A library's would do, but importing it takes longer than reading a gear.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from cogloupe_calibration.arrays import Reals

MOST_TURNS = 100
"""Turns after which a fit ends wherever it is; those of sharpened edges need 10 to 40."""
STEP, SETTLED = 1e-5, 1e-8
"""Steps that tell slopes, in sizes of the unknowns; and the share of the sum of squares that a turn
must take off for another to follow."""
FIRST_DAMPING, LEAST_DAMPING, MOST_DAMPING = 1e-2, 1e-7, 1e7
"""Damping of the normal equations (Marquardt): where it begins, and its bounds..."""
SOFTER, STIFFER = 0.2, 4.0
"""... and its factors after a turn that helped and one that did not (common practice)."""


@dataclass(frozen=True)
class BoundedFit:
    """Values that leave least, and the mean square of what they leave."""

    values: Reals
    mean_square: float


def fit_within(
    left: Callable[[Reals], Reals],
    start: Reals,
    bounds: tuple[Reals, Reals],
    sizes: Reals,
) -> BoundedFit:
    """Find values within bounds that leave the least sum of squares; a minimum near the start.

    Parameters
    ----------
    left : callable
        What values, shape (p,), leave: shape (n,).
    start : ndarray, shape (p,)
    bounds : tuple of ndarray, each of shape (p,)
        Least and most.
    sizes : ndarray, shape (p,)
        Changes of the values that matter about alike.

    References
    ----------
    Marquardt, An algorithm for least-squares estimation of nonlinear parameters (1963, from
    memory).
    """
    least, most = bounds
    values = np.clip(start, least, most)
    residual = left(values)
    square, damping = float(residual @ residual), FIRST_DAMPING
    for _ in range(MOST_TURNS):
        slopes = _slopes(left, values, residual, most, sizes)
        pull, normal = -slopes.T @ residual, slopes.T @ slopes
        room = (least - values) / sizes, (most - values) / sizes
        before = square
        while damping < MOST_DAMPING:
            damped = normal + np.diag(damping * np.diag(normal) + 1e-12 * np.trace(normal))
            tried = np.clip(values + sizes * _step(damped, pull, room), least, most)
            after = left(tried)
            if (found := float(after @ after)) < square:
                values, residual, square = tried, after, found
                damping = max(SOFTER * damping, LEAST_DAMPING)
                break
            damping *= STIFFER
        if before - square <= SETTLED * before:
            break
    return BoundedFit(values, square / len(residual))


def _slopes(
    left: Callable[[Reals], Reals], values: Reals, residual: Reals, most: Reals, sizes: Reals
) -> Reals:
    """Change of what is left with the values, each in its size, shape (n, p)."""
    steps = np.where(values + STEP * sizes > most, -STEP, STEP)
    return np.stack(
        [
            (left(values + step * sizes * one) - residual) / step
            for step, one in zip(steps, np.eye(len(values)), strict=True)
        ],
        axis=1,
    )


def _step(normal: Reals, pull: Reals, room: tuple[Reals, Reals]) -> Reals:
    """Solve for a step; what would leave its room goes to the end of it, and the others follow."""
    step = np.zeros_like(pull)
    free = np.ones(len(pull), bool)
    while free.any():
        wanted = pull[free] - normal[np.ix_(free, ~free)] @ step[~free]
        step[free] = np.linalg.solve(normal[np.ix_(free, free)], wanted)
        beyond = free & ((step < room[0]) | (step > room[1]))
        if not beyond.any():
            break
        step[beyond] = np.clip(step, *room)[beyond]
        free &= ~beyond
    return step
