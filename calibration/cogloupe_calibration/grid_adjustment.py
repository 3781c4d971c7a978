"""Least squares of all pictures of a grid at once: one lens, and the plane, turn and place of each.

All pictures share the lens. Of each the plane (unequal scales, skew, lean), the turn and the place
are its own, or the plane is one for all: a target laid down again and again on one stage.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from cogloupe_calibration.arrays import Bools, Floats, Ints
from cogloupe_calibration.lens import ideal_of_terms, term_effects

OUTLIER_SIGMAS = 4.0
"""Of normal distances in a plane one in 3000 lies further off."""
# What one cannot see on a picture: below this a fit of rendered pictures would reject at random.
LEAST_SCATTER_PX = 0.002
ROUNDS = 6
"""Rounds of setting points aside, at most; they end when the same ones stay."""
STEPS = 12
"""Gauss-Newton steps of a round, at most; they end by `SETTLED`."""
# In standard deviations of an unknown that stands alone.
SETTLED = 1e-4
# On the diagonal of the scaled normal matrix: the radial terms of a long lens are much alike.
RIDGE = 1e-13
# Where e1, e2, g1, g2 stand among the terms of a lens; what bends stands before and after.
PLANE = slice(4, 8)


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


@dataclass(frozen=True)
class Layout:
    """Where each picture's unknowns stand among all: lens, planes, then turns and places."""

    pictures: int
    one_plane: bool
    count: int

    @property
    def lens(self) -> int:
        """How many unknowns all pictures share."""
        return self.count - (PLANE.stop - PLANE.start)

    @property
    def size(self) -> int:
        """How many unknowns there are."""
        planes = 1 if self.one_plane else self.pictures
        return self.lens + 4 * planes + 4 * self.pictures

    def terms(self, picture: int) -> Ints:
        """Columns of the terms of a picture, in the order of a lens's."""
        plane = self.lens + 4 * (0 if self.one_plane else picture) + np.arange(4)
        bends = np.arange(self.lens)
        return np.concatenate([bends[: PLANE.start], plane, bends[PLANE.start :]])

    def similarity(self, picture: int) -> Ints:
        """Columns of a, b, tx, ty: column i, row j lies at ``(a i - b j + tx, b i + a j + ty)``."""
        return np.asarray(self.size - 4 * (self.pictures - picture) + np.arange(4))


@dataclass(frozen=True, kw_only=True)
class Solution:
    """Unknowns of a layout and what they leave; `beyond` is the scatter beyond pixel noise, px."""

    layout: Layout
    free: Bools
    x: Floats
    residual: list[Floats]
    used: list[Bools]
    beyond: float

    def sigma(self, placed: Sequence[Placed]) -> list[Floats]:
        """Standard deviation of every point, infinite where left out."""
        return [
            np.where(used, np.hypot(own_scatter(p), self.beyond), np.inf)
            for p, used in zip(placed, self.used, strict=True)
        ]


def own_scatter(placed: Placed) -> Floats:
    """Standard deviation (n,), px, of every point of a picture from pixel noise alone."""
    return np.maximum(placed.u, LEAST_SCATTER_PX)


def adjusted(placed: Sequence[Placed], layout: Layout, free: Bools) -> Solution:
    """Fit the free unknowns, hold the others at 0, and leave out points that lie off."""
    own = [own_scatter(p) for p in placed]
    used = [np.ones(len(p.xy), dtype=bool) for p in placed]
    x, sigma, beyond = np.zeros(layout.size), own, 0.0
    for _ in range(ROUNDS):
        weighed = [np.where(u, s, np.inf) for u, s in zip(used, sigma, strict=True)]
        x = solved(placed, layout, free, weighed, x)
        residual = [residual_of(p, layout, k, x) for k, p in enumerate(placed)]
        off = [np.hypot(*r.T) for r in residual]
        beyond = _beyond_noise(_picked(off, used), _picked(own, used))
        sigma = [np.hypot(o, beyond) for o in own]
        standard = [o / s for o, s in zip(off, sigma, strict=True)]
        limit = OUTLIER_SIGMAS * max(_spread(_picked(standard, used)), 1.0)
        inside = [each < limit for each in standard]
        settled = all(np.array_equal(i, u) for i, u in zip(inside, used, strict=True))
        if settled or not any(each.any() for each in inside):
            break
        used = inside
    return Solution(layout=layout, free=free, x=x, residual=residual, used=used, beyond=beyond)


def _picked(values: list[Floats], chosen: list[Bools]) -> Floats:
    return np.concatenate([v[c] for v, c in zip(values, chosen, strict=True)])


def _spread(off: Floats) -> float:
    # The median of a two-dimensional normal distance is 1.1774 standard deviations.
    return float(np.median(off)) / 1.1774


def _beyond_noise(off: Floats, own: Floats) -> float:
    """Scatter of all points beyond their own noise: the target's, and what the model lacks."""
    return sqrt(max(_spread(off) ** 2 - float(np.median(own**2)), 0.0))


def solved(
    placed: Sequence[Placed], layout: Layout, free: Bools, sigma: list[Floats], x: Floats
) -> Floats:
    """Fit by Gauss-Newton: the similarities are linear, the terms nearly so.

    `sigma` is the standard deviation of every point, px, infinite to leave it out; `free`, `x`
    (where to begin) and what comes out are (layout.size,).
    """
    x = x.copy()
    for _ in range(STEPS):
        residual = [
            (residual_of(p, layout, k, x) / s[:, None]).ravel()
            for k, (p, s) in enumerate(zip(placed, sigma, strict=True))
        ]
        design, columns = _design(placed, layout, x, sigma)
        design = design[:, free]
        normal = design.T @ design + RIDGE * np.eye(design.shape[1])
        change = np.linalg.solve(normal, design.T @ np.concatenate(residual))
        x[free] += change / columns[free]
        if np.max(np.abs(change)) < SETTLED:
            break
    return x


def residual_of(placed: Placed, layout: Layout, picture: int, x: Floats) -> Floats:
    """Where the points of a picture were seen less where they are expected, (n, 2), px."""
    terms = x[layout.terms(picture)]
    ideal = ideal_of_terms(terms, placed.centre_px, placed.radius_px, placed.xy)
    expected = similarity_basis(placed.number) @ x[layout.similarity(picture)]
    return np.asarray((_back(placed, terms) @ (ideal - expected)[..., None])[..., 0])


def _back(placed: Placed, terms: Floats) -> Floats:
    """From small steps on the ideal plane to those on the picture, (n, 2, 2).

    Noise is even on the picture; a plane that leans stretches it to and fro.
    """
    step = 0.5 * np.eye(2)[:, None]
    ends = [
        ideal_of_terms(terms, placed.centre_px, placed.radius_px, placed.xy + sign * step)
        for sign in (-1, 1)
    ]
    return np.asarray(np.linalg.inv(np.moveaxis(ends[1] - ends[0], 0, -1)), dtype=np.float64)


def similarity_basis(number: Floats) -> Floats:
    """What a, b, tx, ty of a similarity multiply at points (n, 2): (n, 2, 4)."""
    i, j = number.T
    one, zero = np.ones_like(i), np.zeros_like(i)
    return np.stack([np.stack([i, -j, one, zero], -1), np.stack([j, i, zero, one], -1)], axis=1)


def _design(
    placed: Sequence[Placed], layout: Layout, x: Floats, sigma: list[Floats]
) -> tuple[Floats, Floats]:
    """Columns of unit length, and their lengths: terms and pixels differ in size by thousands."""
    blocks = []
    for k, (p, s) in enumerate(zip(placed, sigma, strict=True)):
        block = np.zeros((len(p.xy), 2, layout.size))
        where = layout.terms(k)
        block[..., where] = -term_effects(x[where], p.centre_px, p.radius_px, p.xy)
        block[..., layout.similarity(k)] = similarity_basis(p.number)
        block = _back(p, x[where]) @ block
        blocks.append((block / s[:, None, None]).reshape(-1, layout.size))
    design = np.concatenate(blocks)
    columns = np.linalg.norm(design, axis=0)
    # A picture of which every point is left out tells nothing of its own.
    columns = np.where(columns > 0, columns, 1.0)
    return design / columns, columns


def covariance_of(placed: Sequence[Placed], fit: Solution) -> Floats:
    """Covariance of all unknowns from the scatter of the points; 0 for what is held."""
    sigma = fit.sigma(placed)
    design, columns = _design(placed, fit.layout, fit.x, sigma)
    standard = np.concatenate([r / s[:, None] for r, s in zip(fit.residual, sigma, strict=True)])
    spare = max(2 * sum(int(u.sum()) for u in fit.used) - int(fit.free.sum()), 1)
    variance = np.sum(standard**2) / spare * widening(neighbours_together(placed, fit))
    inverse = np.linalg.pinv(np.linalg.qr(design[:, fit.free], mode="r")) / columns[fit.free, None]
    covariance = np.zeros((fit.layout.size, fit.layout.size))
    covariance[np.ix_(fit.free, fit.free)] = variance * (inverse @ inverse.T)
    return covariance


def widening(together: float) -> float:
    """How much neighbours that err together, both ways, widen a variance.

    `together` is their first-order autocorrelation.
    """
    return ((1 + together) / (1 - together)) ** 2


def neighbours_together(placed: Sequence[Placed], fit: Solution) -> float:
    """Correlation of neighbours' residuals, 0 where chance may have made it."""
    products, squares = [], []
    for p, residual, sigma in zip(placed, fit.residual, fit.sigma(placed), strict=True):
        standard = residual / sigma[:, None]
        used = np.isfinite(sigma)
        table = np.full((*(p.index.max(axis=0) + 1), 2), np.nan)
        table[p.index[used, 0], p.index[used, 1]] = standard[used]
        products += [(table[1:] * table[:-1]).ravel(), (table[:, 1:] * table[:, :-1]).ravel()]
        squares.append(standard[used] ** 2)
    product = np.concatenate(products)
    product = product[np.isfinite(product)]
    power = float(np.mean(np.concatenate(squares)))
    if len(product) == 0 or power == 0:
        return 0.0
    together = float(np.mean(product)) / power
    return min(together, 0.9) if together > 2 / sqrt(len(product)) else 0.0
