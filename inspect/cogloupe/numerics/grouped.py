"""Means and medians of, and polynomials fitted to, many groups of points at once."""

import numpy as np

from cogloupe_calibration.arrays import Floats, Ints
from cogloupe_calibration.robust import scatter


def grouped_means(group: Ints, values: Floats, groups: int) -> tuple[Floats, Ints]:
    """Mean of each group, and how many points it has.

    Parameters
    ----------
    group : ndarray, shape (n,), int
        Group 0..groups-1 of each point.
    values : ndarray, shape (n,)
    groups : int
        Number of groups.

    Returns
    -------
    mean : ndarray, shape (groups,)
        NaN where a group has no point.
    count : ndarray, shape (groups,), int
    """
    count = np.bincount(group, minlength=groups)
    total = np.bincount(group, values, groups)
    return np.asarray(total / np.where(count > 0, count, np.nan)), count


def grouped_polynomials(
    group: Ints, x: Floats, y: Floats, groups: int, degree: int, clip: float = 4.0
) -> tuple[Floats, Floats]:
    """Fit one polynomial to each group by least squares, setting aside points far off.

    Parameters
    ----------
    group : ndarray, shape (n,), int
        Group 0..groups-1 of each point.
    x, y : ndarray, shape (n,)
    groups : int
        Number of groups.
    degree : int
        Degree of the polynomials.
    clip : float
        A point further than this many robust standard deviations (pooled over all groups) from
        its polynomial is left out of the final fit.

    Returns
    -------
    coefficients : ndarray, shape (groups, degree + 1)
        Ascending powers; NaN where a group has too few points.
    u : ndarray, shape (groups,)
        Standard uncertainty of the constant term from the pooled scatter.
    """
    weight = np.ones_like(y)
    powers = x[:, None] ** np.arange(2 * degree + 1)
    coefficients, u = np.full((groups, degree + 1), np.nan), np.full(groups, np.nan)
    for _ in range(3):
        coefficients, inverse = _solve(group, powers, y, weight, groups, degree)
        residual = y - (powers[:, : degree + 1] * coefficients[group]).sum(axis=1)
        known = np.isfinite(residual)
        if not known.any():
            return coefficients, u
        typical = scatter(residual[known])
        weight = (known & (np.abs(residual) <= clip * typical + 1e-12)).astype(float)
        u = typical * np.sqrt(inverse)
    return coefficients, np.asarray(u)


def _solve(
    group: Ints, powers: Floats, y: Floats, weight: Floats, groups: int, degree: int
) -> tuple[Floats, Floats]:
    """Coefficients of every group, and the constant term's entry of the inverse normal matrix."""
    sums = [np.bincount(group, weight * power, groups) for power in powers.T]
    right = np.stack(
        [np.bincount(group, weight * powers[:, k] * y, groups) for k in range(degree + 1)], axis=1
    )
    index = np.add.outer(np.arange(degree + 1), np.arange(degree + 1))
    normal = np.stack(sums, axis=1)[:, index]
    enough = sums[0] >= degree + 3
    normal[~enough] = np.eye(degree + 1)
    # A whisper of damping keeps a group whose points share one x solvable.
    normal = normal + 1e-12 * np.trace(normal, axis1=1, axis2=2)[:, None, None] * np.eye(degree + 1)
    inverse = np.linalg.inv(normal)
    solution = (inverse @ right[:, :, None])[:, :, 0]
    solution[~enough] = np.nan
    leverage = np.where(enough, inverse[:, 0, 0], np.nan)
    return np.asarray(solution, np.float64), np.asarray(leverage, np.float64)


def grouped_medians(group: Ints, values: Floats, groups: int) -> tuple[Floats, Ints]:
    """Median (of an even number, the upper middle one) of the values of every group.

    Parameters
    ----------
    group : ndarray, shape (n,), int
        Group 0..groups-1 of each value.
    values : ndarray, shape (n,)

    Returns
    -------
    median : ndarray, shape (groups,)
        NaN where a group is empty.
    count : ndarray, shape (groups,), int
    """
    order = np.lexsort((values, group))
    group, values = group[order], values[order]
    first = np.searchsorted(group, np.arange(groups), side="left")
    last = np.searchsorted(group, np.arange(groups), side="right")
    if len(values) == 0:
        return np.full(groups, np.nan), last - first
    middle = np.minimum((first + last) // 2, len(values) - 1)
    return np.where(last > first, values[middle], np.nan), last - first
