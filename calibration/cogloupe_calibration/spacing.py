"""Mean spacing of numbered lines, with an uncertainty that owns up to bends and to few lines."""

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
from scipy import stats

from cogloupe_calibration.arrays import Floats, Ints

# An F test calls the spacing uneven, and a term is kept, where chance alone would do it this often.
UNEVEN_AT_RISK = 0.01


@dataclass(frozen=True, kw_only=True)
class Spacing:
    """Regression of line places on line numbers.

    Attributes
    ----------
    number : ndarray, shape (n,), int
        Lines seen in at least two bands, rising from 0; a missing line leaves a gap.
    place, t, residual : ndarray, shape (n,)
        Mean place of each line at the mean t of all, its own mean t, and how far it lies off even
        spacing, px.
    period, u_random : float
        Spacing at the middle, and its standard uncertainty from scatter alone, px.
    lag1 : float
        Correlation of neighbouring residuals.
    gradient, u_gradient : float
        Relative change of the spacing from end to end (quadratic term), standard uncertainty.
    fan : float
        Relative change of the spacing over the range of t; 0 where not significant.
    uneven : float
        Largest relative departure of the local spacing; 0 where not significant.
    scatter : float
        RMS distance of the lines from smoothly changing spacing (cubic), px.
    """

    number: Ints
    place: Floats
    t: Floats
    residual: Floats
    period: float
    u_random: float
    lag1: float
    gradient: float
    u_gradient: float
    fan: float
    uneven: float
    scatter: float

    @property
    def relative_u(self) -> float:
        """Relative standard uncertainty; the scale is anywhere within what was seen to change."""
        bend = hypot(self.uneven, self.fan / 2) / sqrt(3)
        return hypot(self.u_random / self.period, bend)

    @property
    def u_period(self) -> float:
        """Standard uncertainty of the spacing, px."""
        return self.period * self.relative_u


def fit_spacing(number: Ints, u: Floats, t: Floats) -> Spacing:
    """Fit even spacing to points (m,) on numbered lines, five at least; places in px.

    Notes
    -----
    u = a + p n + s t (+ r n t) by least squares. Points of one line share that line's own error,
    so the covariance sums scores line by line (cluster-robust covariance), and is widened for few
    lines and for neighbouring lines that err together.
    """
    middle = (number.min() + number.max()) / 2
    n, level = number - middle, t - np.mean(t)
    terms, covariance, residual = _by_line(number, u, np.stack([np.ones_like(u), n, level], 1))
    fanned = np.stack([np.ones_like(u), n, level, n * level], 1)
    wide, wide_covariance, wide_residual = _by_line(number, u, fanned)
    fan = 0.0
    if abs(wide[3]) > stats.norm.isf(UNEVEN_AT_RISK / 2) * sqrt(wide_covariance[3, 3]):
        terms, covariance, residual = wide, wide_covariance, wide_residual
        fan = float(wide[3] * np.ptp(t) / wide[1])
    lines, mean_residual, mean_t = _means(number, residual, t)
    place = terms[0] + terms[1] * (lines - middle) + mean_residual
    lag1 = _lag1(mean_residual)
    gradient, u_gradient, uneven, scatter = _bend(lines, place)
    return Spacing(
        number=lines - lines[0],
        place=place,
        t=mean_t,
        residual=mean_residual,
        period=float(terms[1]),
        u_random=sqrt(covariance[1, 1]) * _widening(len(lines), lag1),
        lag1=lag1,
        gradient=gradient,
        u_gradient=u_gradient,
        fan=fan,
        uneven=uneven,
        scatter=scatter,
    )


def _by_line(number: Ints, u: Floats, design: Floats) -> tuple[Floats, Floats, Floats]:
    """Least squares; covariance from the scores of whole lines."""
    bread = np.linalg.pinv(design.T @ design)
    terms = bread @ (design.T @ u)
    residual = u - design @ terms
    lines, index = np.unique(number, return_inverse=True)
    scores = np.zeros((len(lines), design.shape[1]))
    np.add.at(scores, index, design * residual[:, None])
    spare = max(len(lines) - 2, 1)
    covariance = bread @ (scores.T @ scores) @ bread * len(lines) / spare
    return terms, covariance, residual


def _means(number: Ints, residual: Floats, t: Floats) -> tuple[Ints, Floats, Floats]:
    lines, index, count = np.unique(number, return_inverse=True, return_counts=True)
    enough = count >= min(2, int(count.max()))
    residual, t = (np.bincount(index, each) / count for each in (residual, t))
    return lines[enough].astype(np.int64), residual[enough], t[enough]


def _lag1(residual: Floats) -> float:
    square = float(residual @ residual)
    return float(residual[:-1] @ residual[1:]) / square if square > 0 else 0.0


def _widening(lines: int, lag1: float) -> float:
    """Widen a standard error for few lines and for neighbours that err together.

    Student's t over the normal's at k = 2; effective number of independent residuals
    n (1 - r) / (1 + r) for a first-order autocorrelation r.
    """
    few = float(stats.t.ppf(stats.norm.cdf(2.0), max(lines - 2, 1))) / 2
    together = min(max(lag1, 0.0), 0.95)
    return few * sqrt((1 + together) / (1 - together))


def _bend(number: Ints, place: Floats) -> tuple[float, float, float, float]:
    """Relative gradient of the spacing, its standard uncertainty, unevenness; scatter in px."""
    n = (number - (number[0] + number[-1]) / 2) / (number[-1] - number[0])
    line, _, straight = _least_squares(np.vander(n, 2, increasing=True), place)
    bend, covariance, curved = _least_squares(np.vander(n, 4, increasing=True), place)
    gradient, u_gradient = 2 * bend[2] / line[1], 2 * sqrt(covariance[2, 2]) / line[1]
    uneven = _unevenness(bend, straight, curved) / float(line[1])
    return float(gradient), float(u_gradient), uneven, float(np.sqrt(np.mean(curved**2)))


def _least_squares(design: Floats, y: Floats) -> tuple[Floats, Floats, Floats]:
    terms = np.asarray(np.linalg.lstsq(design, y, rcond=None)[0], dtype=np.float64)
    residual = y - design @ terms
    covariance = np.asarray(np.linalg.inv(design.T @ design), dtype=np.float64)
    variance = float(residual @ residual) / max(len(y) - design.shape[1], 1)
    return terms, variance * covariance, residual


def _unevenness(bend: Floats, straight: Floats, curved: Floats) -> float:
    """Largest departure of the local spacing from the mean, 0 where an F test sees none."""
    spare = len(straight) - 4
    before, after = float(straight @ straight), float(curved @ curved)
    if spare < 2 or before <= after:
        return 0.0
    ratio = (before - after) / 2 / max(after / spare, 1e-30)
    if stats.f.sf(ratio, 2, spare) > UNEVEN_AT_RISK:
        return 0.0
    n = np.linspace(-0.5, 0.5, 21)
    slope = bend[1] + 2 * bend[2] * n + 3 * bend[3] * n**2
    return float(np.max(np.abs(slope - np.mean(slope))))
