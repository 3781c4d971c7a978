"""What numbered points of a square grid tell of lens, lean and scale: on one picture or on many."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, sqrt

import numpy as np

from cogloupe_calibration.arrays import Bools, Floats
from cogloupe_calibration.grid_adjustment import (
    OUTLIER_SIGMAS,
    Layout,
    Placed,
    Solution,
    adjusted,
    covariance_of,
    neighbours_together,
    own_scatter,
    residual_of,
    similarity_basis,
    solved,
    widening,
)
from cogloupe_calibration.lens import MORE_TERMS, TERMS, term_effects, term_names

# Terms that go together, the least likely to matter first. Each is judged alone.
GROUPS = (
    ("k6",), ("k5",), ("k4",), ("q1", "q2"), ("k3",), ("k2",), ("p1", "p2"), ("g1", "g2"),
    ("e1", "e2"), ("k1",),
)  # fmt: skip
# A plane that leaves out more than half of the points of one picture is not that of all.
PLANE_SHARE = 0.5
# Numbers of terms that make a lens model, shortest first: q1 and q2 come together.
LENGTHS = tuple(len(TERMS) + more for more in range(len(MORE_TERMS) + 1) if more != 2)


@dataclass(frozen=True, kw_only=True)
class GridFit:
    """What the points tell.

    Attributes
    ----------
    terms : ndarray, shape (k,)
        Lens terms, with the plane of all pictures or else of the first; 0 where inside the noise.
    covariance : ndarray, shape (k, k)
        From scatter alone, before terms inside the noise were set to 0.
    planes : ndarray, shape (pictures, k)
        The terms of every picture.
    period_px, u_period_px : float
        Distance of neighbours at the frame's centre of the first picture, and its standard
        uncertainty from scatter.
    periods_px : ndarray, shape (pictures,)
    turn : float
        Direction of the rows on the first picture, rad.
    residual : tuple of ndarray, shape (n, 2) each
        Seen less expected, px.
    used : tuple of ndarray, shape (n,) each, bool
    significant : tuple of str
        Names of the terms that stand out of the noise.
    together : float
        Correlation of the residuals of neighbouring points, where significant; else 0.
    """

    terms: Floats
    covariance: Floats
    planes: Floats
    period_px: float
    u_period_px: float
    periods_px: Floats
    turn: float
    one_plane: bool
    residual: tuple[Floats, ...]
    used: tuple[Bools, ...]
    significant: tuple[str, ...]
    together: float

    @property
    def residual_rms_px(self) -> float:
        """Root mean square distance of the used points from where they should be."""
        left = np.concatenate([r[u] for r, u in zip(self.residual, self.used, strict=True)])
        return float(np.sqrt(np.mean(np.sum(left**2, axis=1))))


def fit_grid(placed: Sequence[Placed]) -> GridFit:
    """Fit all terms, then again without those that are inside the noise.

    Each picture has a dozen points, not on one line.

    Notes
    -----
    Least squares on the ideal places with rejection of outliers; points weigh by pixel noise and by
    what scatters beyond it, which is taken as the same for all. The covariance is that of the
    residuals, widened where neighbours err together: by ``((1 + r) / (1 - r))^2`` for a first-order
    autocorrelation r both ways. A group of terms is left out where its chi-square is below twice
    its number (Akaike's criterion, from memory). Its covariance is kept: what is inside the noise
    is as little known as before.

    Of several pictures, one plane for all is taken where that leaves less doubt about places than
    the plane of the first picture alone: what it does not explain widens its own covariance.
    """
    first = _long_enough(placed)
    own = _without_noise(placed, first)
    if len(placed) == 1:
        return own
    shared = Layout(len(placed), True, first.layout.count)
    common = adjusted(placed, shared, np.ones(shared.size, dtype=bool))
    if any(used.mean() < PLANE_SHARE for used in common.used):
        return own
    fits = (own, _without_noise(placed, common))
    return min(fits, key=lambda fit: correction_u(placed, fit))


def covered_region(placed: Sequence[Placed], fit: GridFit) -> tuple[float, float, float, float]:
    """Left, top, right and bottom, px, of what the used points of all pictures cover."""
    xy = np.concatenate([p.xy[used] for p, used in zip(placed, fit.used, strict=True)])
    (left, top), (right, bottom) = xy.min(axis=0), xy.max(axis=0)
    return float(left), float(top), float(right), float(bottom)


def correction_u(placed: Sequence[Placed], fit: GridFit) -> float:
    """Scatter's part of what corrected places are uncertain by, beside scale, turn and place.

    Standard uncertainty, root mean square over the covered region, px.
    """
    left, top, right, bottom = covered_region(placed, fit)
    x, y = np.meshgrid(np.linspace(left, right, 9), np.linspace(top, bottom, 9))
    xy = np.stack([x.ravel(), y.ravel()], axis=1)
    count = len(fit.terms)
    effects = term_effects(fit.terms, placed[0].centre_px, placed[0].radius_px, xy)
    effects = effects.reshape(-1, count)
    basis = similarity_basis(xy - xy.mean(axis=0)).reshape(-1, 4)
    beside = effects - basis @ np.linalg.lstsq(basis, effects, rcond=None)[0]
    variance = np.einsum("ik,kl,il->", beside, fit.covariance, beside)
    return sqrt(max(float(variance), 0.0) / len(xy))


def similarity_residual(placed: Placed, used: Bools) -> Floats:
    """What scale, turn and place, fitted to the used points, leave (n, 2), px: lens and lean."""
    layout = Layout(1, True, len(TERMS))
    free = np.zeros(layout.size, dtype=bool)
    free[layout.similarity(0)] = True
    x = solved([placed], layout, free, [np.where(used, 1.0, np.inf)], np.zeros(layout.size))
    return residual_of(placed, layout, 0, x)


def _long_enough(placed: Sequence[Placed]) -> Solution:
    """Lengthen the lens model while that is what the points call for, those left out among them.

    Each point counts by its squared distance in standard deviations of the longer model, but no
    more than an outlier, so that a whole edge that a short model leaves out calls for a longer one
    and a few strays do not. A term must gain four times what Schwarz's criterion asks, the
    logarithm of the number of coordinates (from memory), so that it stands out by some five
    standard deviations: one that is not needed makes the others unsure.
    """
    best, passed = _with_terms(placed, LENGTHS[0]), 0
    price = 4 * log(2 * sum(len(p.xy) for p in placed))
    for count in LENGTHS[1:]:
        longer = _with_terms(placed, count)
        gain = _misfit(placed, best, longer) - _misfit(placed, longer, longer)
        if gain > price * (count - best.layout.count):
            best, passed = longer, 0
        else:
            passed += 1
        if passed == 2:
            break
    return best


def _with_terms(placed: Sequence[Placed], count: int) -> Solution:
    layout = Layout(len(placed), False, count)
    return adjusted(placed, layout, np.ones(layout.size, dtype=bool))


def _misfit(placed: Sequence[Placed], fit: Solution, judge: Solution) -> float:
    """Sum of squares of a fit in the scatter of another, which its neighbours' agreement widens."""
    sigma = [np.hypot(own_scatter(p), judge.beyond) for p in placed]
    square = [
        np.minimum(np.sum(residual**2, axis=1) / s**2, OUTLIER_SIGMAS**2)
        for residual, s in zip(fit.residual, sigma, strict=True)
    ]
    return float(np.sum(np.concatenate(square))) / widening(neighbours_together(placed, judge))


def _without_noise(placed: Sequence[Placed], full: Solution) -> GridFit:
    """Leave out what does not stand out of the noise, with the covariance of all."""
    layout, covariance = full.layout, covariance_of(placed, full)
    where = layout.terms(0)
    kept = _stand_out(full.x[where], covariance[np.ix_(where, where)])
    reduced = full
    if not kept.all():
        free = full.free.copy()
        free[where[~kept]] = False
        reduced = adjusted(placed, layout, free)
    return _as_grid_fit(placed, reduced, covariance, kept)


def _as_grid_fit(
    placed: Sequence[Placed], fit: Solution, covariance: Floats, kept: Bools
) -> GridFit:
    layout = fit.layout
    pictures = range(layout.pictures)
    where = layout.terms(0)
    periods = np.array([np.hypot(*fit.x[layout.similarity(k)][:2]) for k in pictures])
    a_b = layout.similarity(0)[:2]
    along = fit.x[a_b] / periods[0]
    names = term_names(layout.count)
    return GridFit(
        terms=fit.x[where],
        covariance=covariance[np.ix_(where, where)],
        planes=np.stack([fit.x[layout.terms(k)] for k in pictures]),
        period_px=float(periods[0]),
        u_period_px=sqrt(along @ covariance[np.ix_(a_b, a_b)] @ along),
        periods_px=periods,
        turn=float(np.arctan2(*fit.x[layout.similarity(0)][1::-1])),
        one_plane=layout.one_plane,
        residual=tuple(fit.residual),
        used=tuple(fit.used),
        significant=tuple(name for name, keep in zip(names, kept, strict=True) if keep),
        together=neighbours_together(placed, fit),
    )


def _stand_out(terms: Floats, covariance: Floats) -> Bools:
    """Drop groups one by one; lower orders of radial distortion stay while a higher one does."""
    names = term_names(len(terms))
    kept = np.ones(len(terms), dtype=bool)
    terms = terms.copy()
    for group_names in GROUPS:
        group = np.array([names.index(name) for name in group_names if name in names], dtype=int)
        if len(group) == 0 or _needed(group_names[0], names, kept):
            continue
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


def _needed(name: str, names: tuple[str, ...], kept: Bools) -> bool:
    higher = [other for other in names if other[0] == name[0] == "k" and other > name]
    return any(kept[names.index(other)] for other in higher)
