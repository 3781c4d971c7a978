"""Grey levels beside an edge, shared along the outline."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from cogloupe.numerics.moving_average import (
    LEVEL_WINDOW,
    along,
    by_piece,
    dot,
    mean_of_pieces,
    running_mean,
)
from cogloupe.optics.response import UnitStep
from cogloupe_calibration.arrays import Bools, Reals
from cogloupe_calibration.robust import scatter

LEVEL_WINDOWS = (12 * LEVEL_WINDOW, LEVEL_WINDOW)
"""Stretches over which grey levels are averaged, long to short: for steady and for uneven light."""


@dataclass(frozen=True)
class Levelled:
    """Steps at the levels that were found for them.

    Attributes
    ----------
    levels : ndarray, shape (2, n)
        Grey of material and ground beside each sample.
    grey : ndarray, shape (n, k)
        The steps.
    """

    levels: Reals
    grey: Reals

    @property
    def rise(self) -> Reals:
        """From material to ground."""
        return np.asarray(self.levels[1] - self.levels[0])


def common_levels(
    profiles: Reals, unit: UnitStep, plain: Bools, windows: tuple[int, ...] = LEVEL_WINDOWS
) -> Levelled:
    """Grey of material and ground beside each sample, shared along the outline.

    Least squares of the profiles on what either level does to the step, summed over a stretch of
    the outline. A longer stretch has less noise but follows uneven light less closely. So each
    shorter one corrects the longer by the share of their difference that noise does not explain
    (shrinkage of James and Stein's kind).

    Parameters
    ----------
    profiles : ndarray, shape (n, k)
        Grey values.
    unit : UnitStep
        The step fitted to each profile.
    plain : ndarray, shape (n,), bool
        False at corners and at samples that look unlike their neighbours.
    windows : tuple of int
        Stretches, long to short, in samples.

    Notes
    -----
    A band along the edge has a light of its own: the step between typical levels has it in its
    place, and only what either side is besides changes with the levels.
    """
    n = len(profiles)
    middle = float(profiles.mean())
    if unit.material is None or unit.ground is None:
        sums, fixed = plain * _sums_of_step(profiles, unit.step), None
    else:
        typical = (plain * _sums_of_step(profiles, unit.step)).mean(axis=1)
        low, high = solve_levels(typical, middle).astype(profiles.dtype)
        fixed = low + (high - low) * unit.step - low * unit.material - high * unit.ground
        sums = plain * _sums(profiles - fixed, unit.material, unit.ground)
    # Over the longest stretch they change so slowly that pieces of it tell them.
    levels = along(solve_levels(mean_of_pieces(by_piece(sums), windows[0]), middle), n)
    # A hundred profiles tell the noise as well as all of them.
    few = slice(None, None, max(1, n // 100))
    noise = scatter(profiles[few] - _grey(levels, unit, fixed, few)) ** 2
    for window in windows[1:]:
        near_sums = running_mean(sums, window)
        information = np.maximum(near_sums[[0, 2]] * min(window, n), 1e-9)
        told = information > 2
        difference = np.where(told, solve_levels(near_sums, middle) - levels, 0.0)
        expected = np.mean(np.where(told, noise / information, 0.0), axis=1)
        share = beyond_chance(np.mean(difference**2, axis=1), expected)
        levels = levels + share[:, None] * difference
    levels = levels.astype(profiles.dtype)
    return Levelled(levels, _grey(levels, unit, fixed, slice(None)))


def _grey(levels: Reals, unit: UnitStep, fixed: Reals | None, few: slice) -> Reals:
    low, high = levels[:, few, None]
    if fixed is None:
        return np.asarray(low + (high - low) * unit.step[few])
    material, ground = unit.sides
    return np.asarray(fixed[few] + low * material[few] + high * ground[few])


def _sums_of_step(profiles: Reals, step: Reals) -> Reals:
    """Sums of `_sums` for a step whose two sides make up the whole."""
    k = profiles.shape[1]
    grounds, crossed = np.einsum("nk->n", step), dot(step, step)
    whole, bright = np.einsum("nk->n", profiles), dot(step, profiles)
    return np.stack([k - 2 * grounds + crossed, grounds - crossed, crossed, whole - bright, bright])


def _sums(profiles: Reals, material: Reals, ground: Reals) -> Reals:
    """Normal equations of both levels: squares and product of the sides, products with profiles."""
    return np.stack(
        [dot(material, material), dot(material, ground), dot(ground, ground),
         dot(material, profiles), dot(ground, profiles)]
    )  # fmt: skip


def least_squares_amplitude(slope: Reals, values: Reals) -> Reals:
    """Move along each profile's slope that takes up most of its values (least squares)."""
    return dot(slope, values) / np.maximum(dot(slope, slope), 1e-12)


def beyond_chance(square: Reals | np.floating[Any], by_chance: Reals | np.floating[Any]) -> Reals:
    """Share of differences of a mean square that chance, which leaves another, does not explain."""
    # Twice the expectation is the margin within which chance alone often falls.
    excess = np.maximum(square - 2 * by_chance, 0.0)
    return np.asarray(excess / np.maximum(excess + by_chance, 1e-12))


def solve_levels(sums: Reals, otherwise: float) -> Reals:
    """Material and ground levels from running sums of the two-by-two normal equations."""
    rr, rs, ss, ry, sy = sums
    det = rr * ss - rs**2
    safe = np.where(det > 1e-9, det, 1.0)
    levels = np.stack([(ss * ry - rs * sy) / safe, (rr * sy - rs * ry) / safe])
    return np.where(det > 1e-9, levels, otherwise)
