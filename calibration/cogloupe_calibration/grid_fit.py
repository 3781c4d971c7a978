"""Fit lens, lean, scale, turn and place to numbered points of a square grid."""

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np

from cogloupe_calibration.arrays import Bools, Floats, Ints
from cogloupe_calibration.lens import TERMS, ideal_of_terms, term_effects

OUTLIER_SIGMAS = 4.0
# What one cannot see on a picture: below this a fit of rendered pictures would reject at random.
LEAST_SCATTER_PX = 0.002
ROUNDS = 6
# Terms that go together, the least likely to matter first. Each is judged alone.
GROUPS = (("k2",), ("p1", "p2"), ("g1", "g2"), ("e1", "e2"), ("k1",))
LENS = len(TERMS)


@dataclass(frozen=True)
class Placed:
    """Numbered points on a picture.

    Attributes
    ----------
    xy : ndarray, shape (n, 2)
        Px.
    index : ndarray, shape (n, 2), int
        Column and row on the grid.
    u : ndarray, shape (n,)
        Standard uncertainty of a coordinate from pixel noise, px.
    centre_px, radius_px
        Of the frame, as the lens has them.
    """

    xy: Floats
    index: Ints
    u: Floats
    centre_px: tuple[float, float]
    radius_px: float

    @property
    def number(self) -> Floats:
        """Columns and rows about their mean."""
        return np.asarray(self.index - self.index.mean(axis=0), dtype=np.float64)


@dataclass(frozen=True, kw_only=True)
class GridFit:
    """What the points tell.

    Attributes
    ----------
    terms : ndarray, shape (8,)
        Lens terms; 0 where inside the noise.
    similarity : ndarray, shape (4,)
        Ideal place of column i, row j is ``(a i - b j + tx, b i + a j + ty)``, px.
    covariance : ndarray, shape (12, 12)
        Of both, from scatter alone, before terms inside the noise were set to 0.
    residual : ndarray, shape (n, 2)
        Seen less expected, px.
    used : ndarray, shape (n,), bool
    significant : tuple of str
        Names of the terms that stand out of the noise.
    together : float
        Correlation of the residuals of neighbouring points, where significant; else 0.
    """

    terms: Floats
    similarity: Floats
    covariance: Floats
    residual: Floats
    used: Bools
    significant: tuple[str, ...]
    together: float

    @property
    def period_px(self) -> float:
        """Distance of neighbours at the frame's centre."""
        return float(np.hypot(*self.similarity[:2]))

    @property
    def u_period_px(self) -> float:
        """Its standard uncertainty from scatter."""
        along = self.similarity[:2] / self.period_px
        return sqrt(float(along @ self.covariance[LENS : LENS + 2, LENS : LENS + 2] @ along))

    @property
    def residual_rms_px(self) -> float:
        """Root mean square distance of the used points from where they should be."""
        return float(np.sqrt(np.mean(np.sum(self.residual[self.used] ** 2, axis=1))))


def fit_grid(placed: Placed) -> GridFit:
    """Fit all terms, then again without those that are inside the noise.

    Parameters
    ----------
    placed : Placed
        At least a dozen points, not on one line.

    Returns
    -------
    GridFit

    Notes
    -----
    Least squares on the ideal places with rejection of outliers; points weigh by pixel noise and by
    what scatters beyond it, which is taken as the same for all. The covariance is that of the
    residuals, widened where neighbours err together: by ``((1 + r) / (1 - r))^2`` for a first-order
    autocorrelation r both ways. A group of terms is left out where its chi-square is below twice
    its number (Akaike's criterion, from memory). Its covariance is kept: what is inside the noise
    is as little known as before.
    """
    everything = np.ones(LENS, dtype=bool)
    full = _robust(placed, everything)
    kept = _stand_out(full)
    if kept.all():
        return full
    reduced = _robust(placed, kept)
    names = tuple(name for name, keep in zip(TERMS, kept, strict=True) if keep)
    return replace(reduced, covariance=full.covariance, significant=names, together=full.together)


def similarity_residual(placed: Placed, used: Bools) -> Floats:
    """What is left where only scale, turn and place are fitted: what lens and lean do.

    Parameters
    ----------
    placed : Placed
    used : ndarray, shape (n,), bool
        Points to fit to.

    Returns
    -------
    ndarray, shape (n, 2)
        Seen less expected, px.
    """
    sigma = np.where(used, 1.0, np.inf)
    terms, similarity = _solved(placed, np.zeros(LENS, dtype=bool), sigma)
    return _residual(placed, terms, similarity)


def _stand_out(fit: GridFit) -> Bools:
    """Drop groups one by one; k1 stays while k2 does."""
    kept = np.ones(LENS, dtype=bool)
    terms = fit.terms.copy()
    covariance = fit.covariance[:LENS, :LENS]
    for names in GROUPS:
        if names == ("k1",) and kept[TERMS.index("k2")]:
            continue
        group = np.array([TERMS.index(name) for name in names])
        rest = np.flatnonzero(kept)
        block = covariance[np.ix_(group, group)]
        pull = np.linalg.solve(block, terms[group])
        if float(terms[group] @ pull) >= 2 * len(group):
            continue
        # What the others become when these are known to be zero.
        terms[rest] -= covariance[np.ix_(rest, group)] @ pull
        shared = covariance[np.ix_(rest, group)]
        covariance = covariance.copy()
        covariance[np.ix_(rest, rest)] -= shared @ np.linalg.solve(block, shared.T)
        kept[group] = False
        terms[group] = 0.0
    return kept


def _robust(placed: Placed, free: Bools) -> GridFit:
    used = np.ones(len(placed.xy), dtype=bool)
    own = np.maximum(placed.u, LEAST_SCATTER_PX)
    sigma = own
    for _ in range(ROUNDS):
        terms, similarity = _solved(placed, free, np.where(used, sigma, np.inf))
        residual = _residual(placed, terms, similarity)
        off = np.hypot(*residual.T)
        sigma = np.hypot(own, _beyond_noise(off[used], own[used]))
        inside = off / sigma < OUTLIER_SIGMAS * max(_spread(off[used] / sigma[used]), 1.0)
        if np.array_equal(inside, used):
            break
        used = inside
    covariance, together = _covariance(placed, terms, residual, np.where(used, sigma, np.inf), free)
    names = tuple(name for name, keep in zip(TERMS, free, strict=True) if keep)
    return GridFit(
        terms=terms,
        similarity=similarity,
        covariance=covariance,
        residual=residual,
        used=used,
        significant=names,
        together=together,
    )


def _spread(off: Floats) -> float:
    # The median of a two-dimensional normal distance is 1.1774 standard deviations.
    return float(np.median(off)) / 1.1774


def _beyond_noise(off: Floats, own: Floats) -> float:
    """Scatter of all points beyond their own noise: the target's, and what the model lacks."""
    return sqrt(max(_spread(off) ** 2 - float(np.median(own**2)), 0.0))


def _solved(placed: Placed, free: Bools, sigma: Floats) -> tuple[Floats, Floats]:
    """Gauss-Newton; the similarity is linear, the terms nearly so."""
    terms, similarity = np.zeros(LENS), np.zeros(4)
    for _ in range(ROUNDS):
        residual = (_residual(placed, terms, similarity) / sigma[:, None]).ravel()
        design, columns = _design(placed, terms, free, sigma)
        change = np.linalg.lstsq(design, residual, rcond=1e-12)[0] / columns
        terms[free] += change[:-4]
        similarity += change[-4:]
        if np.max(np.abs(change * columns)) < 1e-6:
            break
    return terms, similarity


def _residual(placed: Placed, terms: Floats, similarity: Floats) -> Floats:
    ideal = ideal_of_terms(terms, placed.centre_px, placed.radius_px, placed.xy)
    expected = _similarity_basis(placed.number) @ similarity
    return np.asarray(ideal - expected)


def _similarity_basis(number: Floats) -> Floats:
    i, j = number.T
    one, zero = np.ones_like(i), np.zeros_like(i)
    return np.stack([np.stack([i, -j, one, zero], -1), np.stack([j, i, zero, one], -1)], axis=1)


def _design(placed: Placed, terms: Floats, free: Bools, sigma: Floats) -> tuple[Floats, Floats]:
    """Columns of unit length, and their lengths: terms and pixels differ in size by thousands."""
    effects = term_effects(terms, placed.centre_px, placed.radius_px, placed.xy)[..., free]
    basis = _similarity_basis(placed.number)
    design = np.concatenate([-effects, basis], axis=-1) / sigma[:, None, None]
    design = design.reshape(-1, int(free.sum()) + 4)
    columns = np.linalg.norm(design, axis=0)
    return design / columns, columns


def _covariance(
    placed: Placed, terms: Floats, residual: Floats, sigma: Floats, free: Bools
) -> tuple[Floats, float]:
    design, columns = _design(placed, terms, free, sigma)
    used = np.isfinite(sigma)
    spare = max(2 * int(used.sum()) - design.shape[1], 1)
    standard = residual / sigma[:, None]
    together = _neighbours_together(placed.index, standard, used)
    variance = np.sum(standard**2) / spare * ((1 + together) / (1 - together)) ** 2
    small = np.linalg.pinv(design.T @ design) / np.outer(columns, columns) * variance
    where = np.flatnonzero(np.concatenate([free, np.ones(4, dtype=bool)]))
    covariance = np.zeros((LENS + 4, LENS + 4))
    covariance[np.ix_(where, where)] = small
    return covariance, together


def _neighbours_together(index: Ints, residual: Floats, used: Bools) -> float:
    """Correlation of neighbours' residuals, 0 where chance may have made it."""
    table = np.full((*(index.max(axis=0) + 1), 2), np.nan)
    table[index[used, 0], index[used, 1]] = residual[used]
    pairs = [(table[1:], table[:-1]), (table[:, 1:], table[:, :-1])]
    products = np.concatenate([(a * b).ravel() for a, b in pairs])
    products = products[np.isfinite(products)]
    power = float(np.mean(residual[used] ** 2))
    if len(products) == 0 or power == 0:
        return 0.0
    together = float(np.mean(products)) / power
    return min(together, 0.9) if together > 2 / sqrt(len(products)) else 0.0
