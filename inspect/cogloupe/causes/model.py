"""What shapes a cause can leave, and what a reading is held against: families and backgrounds."""

from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from cogloupe.causes.patterns import Observed
from cogloupe_calibration.arrays import Floats, Ints

Scatter = Literal["none", "flank", "passes", "hobbed", "gap", "mixed", "wander", "gap-wander"]

SCATTER_STEPS = 2.0 ** np.arange(-1, 9)
"""Scatter that is looked at, in noises of one flank."""
MIXED = 0.65
"""How much of the variance of a gap's flanks is the gap's where each flank scatters besides; common
practice, no source."""
PASSES, HOBBED = 0.34, 0.25
"""The same where passes fall beside each other, and where the work shakes under a hob (from
simulated gears)."""
HOBBED_TEETH, WANDER_TEETH, PLAY_TEETH = 2.0, 2.6, 3.5
"""Teeth over which an error keeps while the work shakes under a hob, wanders with its pulses, or
hangs in its play between one setting and the next (from simulated gears)."""


@dataclass(frozen=True, kw_only=True)
class Family:
    """Shapes of one kind; member m is the sum of sizes times ``basis[plus[m]] - basis[minus[m]]``.

    Attributes
    ----------
    basis : ndarray, shape (K, 2 z + 9)
    plus, minus : ndarray of int, shape (M, p)
        Rows of the basis; -1 for none.
    scatter : tuple of str
        Kinds of scatter of which one is part of the shape; empty: any may come on top.
    fixed : bool
        The sizes are 1: nothing is fitted.
    positive : tuple of bool
        Sizes that cannot be below zero, one for each of the p; empty for none.
    name : str
        Tells the cause which of its families was found.
    weight : float
        Prior share among the cause's families.
    stands_for : int
        Members it was picked from by the figures themselves; 0 for none but its own.
    marks : ndarray of int, shape (K,)
        Gap that each row of the basis begins at, for wording; may be empty.
    """

    basis: Floats
    plus: Ints
    minus: Ints
    scatter: tuple[Scatter, ...] = ()
    fixed: bool = False
    positive: tuple[bool, ...] = ()
    name: str = ""
    weight: float = 1.0
    stands_for: int = 0
    marks: Ints = field(default_factory=lambda: np.zeros(0, np.int64))

    def shape(self, member: int) -> Floats:
        """Columns of a member.

        Parameters
        ----------
        member : int

        Returns
        -------
        ndarray, shape (p, 2 z + 9)
        """
        rows = np.concatenate([self.basis, np.zeros((1, self.basis.shape[1]))])
        return np.asarray(rows[self.plus[member]] - rows[self.minus[member]])

    def shows(self, seen: NDArray[np.bool_]) -> bool:
        """Tell whether anything of the shapes is among the figures that are seen.

        Parameters
        ----------
        seen : ndarray of bool, shape (2 z + 9,)

        Returns
        -------
        bool
            True also for a family that is scatter alone.
        """
        return not self.basis.size or bool(np.abs(self.basis[:, seen]).max() > 1e-9)


def plain(basis: Floats, each: int = 1, **how: object) -> Family:
    """Family whose members are groups of consecutive rows of a basis.

    Parameters
    ----------
    basis : ndarray, shape (M * each, 2 z + 9)
    each : int
        Rows to a member.
    **how
        Further fields of `Family`.

    Returns
    -------
    Family
    """
    plus = np.arange(len(basis)).reshape(-1, each)
    return Family(basis=basis, plus=plus, minus=np.full_like(plus, -1), **how)  # type: ignore[arg-type]


@dataclass(frozen=True, kw_only=True)
class Background:
    """Covariance that a shape is held against.

    Attributes
    ----------
    kind : str
        Kind of scatter.
    size : float
        Standard deviation, µm.
    seen : ndarray of bool
    omega : ndarray, shape (n, n)
        Inverse covariance with what the reading leaves open projected out.
    base : float
        Restricted log likelihood without any shape.
    residual : ndarray, shape (n,)
        Omega times the figures.
    kept : dict
        Products of bases that several families share, by the basis's identity.
    """

    kind: Scatter
    size: float
    seen: NDArray[np.bool_]
    omega: Floats
    base: float
    residual: Floats
    kept: dict[int, tuple[Floats, Floats, Floats]] = field(default_factory=dict)

    def products(self, basis: Floats) -> tuple[Floats, Floats]:
        """Inner products of the rows of a basis, and with the figures; a row of noughts added.

        Parameters
        ----------
        basis : ndarray, shape (K, 2 z + 9)

        Returns
        -------
        ndarray, shape (K + 1, K + 1); ndarray, shape (K + 1,)
        """
        if id(basis) not in self.kept:
            rows = np.concatenate([basis, np.zeros((1, basis.shape[1]))])[:, self.seen]
            # The basis is kept too, so that its identity stays its own.
            self.kept[id(basis)] = basis, rows @ self.omega @ rows.T, rows @ self.residual
        return self.kept[id(basis)][1:]


@dataclass
class Field:
    """A reading, ready to be held against shapes.

    Attributes
    ----------
    observed : Observed
    taken : ndarray, shape (k, 2 z + 9)
        Shapes of causes already found; they are left open too.
    rough : (kind, float) or None
        Scatter already found, µm.
    """

    observed: Observed
    taken: Floats
    rough: tuple[Scatter, float] | None = None
    _kept: dict[tuple[Scatter, float], Background] = field(default_factory=dict)

    def background(self, kind: Scatter, size: float) -> Background:
        """Covariance with a scatter, worked out once.

        Parameters
        ----------
        kind : str
        size : float
            µm.

        Returns
        -------
        Background
        """
        key = (kind, size)
        if key not in self._kept:
            self._kept[key] = self._make(kind, size)
        return self._kept[key]

    def forget(self) -> None:
        """Let go of products with bases that no family to come will use."""
        for background in self._kept.values():
            background.kept.clear()

    @cached_property
    def steps(self) -> Floats:
        """Scatters that are looked at, µm."""
        return np.asarray(SCATTER_STEPS * self.observed.flank_noise)

    def _make(self, kind: Scatter, size: float) -> Background:
        observed = self.observed
        seen = observed.seen
        covariance = observed.covariance()
        for more in ((kind, size), self.rough or ("none", 0.0)):
            covariance = covariance + scatter_covariance(observed, *more)[np.ix_(seen, seen)]
        root = np.linalg.cholesky(covariance)
        inverse = solve_triangular(root, np.eye(len(root)), lower=True)
        whole = inverse.T @ inverse
        free = np.concatenate([observed.nuisance, self.taken])[:, seen]
        free = free[np.abs(free).max(axis=1) > 0]
        across = whole @ free.T
        inner = free @ across
        omega = whole - across @ np.linalg.pinv(inner, hermitian=True) @ across.T
        figures = observed.value[seen]
        residual = omega @ figures
        determinants = 2 * np.log(np.diag(root)).sum() + _log_det(inner)
        base = -0.5 * (determinants + float(figures @ residual))
        return Background(
            kind=kind, size=size, seen=seen, omega=omega, base=base, residual=residual
        )


def _log_det(matrix: Floats) -> float:
    """Log of the product of the eigenvalues that are not nought."""
    values = np.linalg.eigvalsh(matrix)
    return float(np.log(values[values > 1e-9 * max(values.max(), 1e-30)]).sum())


def scatter_covariance(observed: Observed, kind: Scatter, size: float) -> Floats:
    """Covariance of a scatter over all figures.

    Parameters
    ----------
    observed : Observed
    kind : {'none', 'flank', 'passes', 'hobbed', 'wander', 'gap', 'mixed', 'gap-wander'}
        Of each flank by itself; the widest of several passes; with neighbours alike over few and
        over many teeth; of each gap as a whole, of its flanks besides, and as a whole with
        neighbours alike.
    size : float
        Standard deviation, µm.

    Returns
    -------
    ndarray, shape (2 z + 9, 2 z + 9)
    """
    z, rows = observed.design.teeth, len(observed.value)
    full = np.zeros((rows, rows))
    if kind == "none":
        return full
    gap, side = np.arange(2 * z) // 2, np.arange(2 * z) % 2
    gap = np.where(side == 0, gap - 1, gap) % z  # the left flank of tooth k borders gap k - 1
    away = np.abs(gap[:, None] - gap)
    away = np.minimum(away, z - away)
    across = {"gap": 1.0, "gap-wander": 1.0, "mixed": MIXED, "passes": PASSES, "hobbed": HOBBED}
    across_gap = across.get(kind, 0.0)
    alike = _alike(kind, away) * np.where(side[:, None] == side, 1.0, across_gap)
    full[: 2 * z, : 2 * z] = size**2 * alike
    return full


def _alike(kind: Scatter, away: Ints) -> Floats:
    """Correlation of gaps so many pitches apart."""
    if kind == "hobbed":
        return np.maximum(1 - away / HOBBED_TEETH, 0.0)
    if kind == "wander":
        # A walk that the hob smooths (Matern, 3/2).
        scaled = np.sqrt(3) * away / WANDER_TEETH
        return np.asarray((1 + scaled) * np.exp(-scaled))
    return np.asarray(np.exp(-away / (PLAY_TEETH if kind == "gap-wander" else 1e-9)))


def fresh(observed: Observed) -> Field:
    """A reading of which nothing is explained yet.

    Parameters
    ----------
    observed : Observed

    Returns
    -------
    Field
    """
    return Field(observed, np.zeros((0, len(observed.value))))
