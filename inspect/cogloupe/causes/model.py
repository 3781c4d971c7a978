"""What shapes a cause can leave, and what a reading is held against: families and backgrounds."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from math import inf
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from cogloupe.causes.observed_pattern import Observed
from cogloupe.causes.pattern_uncertainty import local_scatter
from cogloupe_calibration.arrays import Floats, Ints

Scatter = Literal["none", "flank", "passes", "hobbed", "gap", "mixed", "wander", "gap-wander"]

SCATTER_STEPS = 2.0 ** np.arange(-1, 14, 0.5)
"""Scatter that is looked at, in noises of one flank: eighty flanks know it to a tenth of itself,
and one between coarser steps would be taken for less scatter and a cause beside it."""
LEAST_SCATTER, LARGEST_SCATTER, FEWEST_STEPS = 0.25, 2.0, 5
"""Scatters are looked at from the first times what neighbours differ by up to the second times what
all flanks stray by; but so many at least."""
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
    basis : ndarray, shape (K, 2 z + 10)
    plus, minus : ndarray of int, shape (M, p)
        Rows of the basis; -1 for none.
    scatter : tuple of str
        Kinds of scatter of which one is part of the shape; empty: any may come on top.
    fixed : bool
        The sizes are 1: nothing is fitted.
    positive : tuple of bool
        Sizes that cannot be below zero, one for each of the p; empty for none.
    reach : (float, float)
        Least and most that the first size can be.
    companions : int
        The last so many columns may come with other causes too, and do not tell this one.
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
    reach: tuple[float, float] = (-inf, inf)
    companions: int = 0
    name: str = ""
    weight: float = 1.0
    stands_for: int = 0
    marks: Ints = field(default_factory=lambda: np.zeros(0, np.int64))

    def shape(self, member: int) -> Floats:
        """Columns of a member.

        Returns
        -------
        ndarray, shape (p, 2 z + 10)
        """
        rows = np.concatenate([self.basis, np.zeros((1, self.basis.shape[1]))])
        return np.asarray(rows[self.plus[member]] - rows[self.minus[member]])

    def shows(self, seen: NDArray[np.bool_]) -> bool:
        """Tell whether anything of the shapes is among the figures that are seen.

        True also for a family that is scatter alone.

        Parameters
        ----------
        seen : ndarray of bool, shape (2 z + 10,)
        """
        return not self.basis.size or bool(np.abs(self.basis[:, seen]).max() > 1e-9)


def plain(basis: Floats, each: int = 1, **how: object) -> Family:
    """Family whose members are groups of consecutive rows of a basis.

    Parameters
    ----------
    basis : ndarray, shape (M * each, 2 z + 10)
    each : int
        Rows to a member.
    **how
        Further fields of `Family`.
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
    whole : ndarray, shape (n, n)
        Inverse covariance.
    omega : ndarray, shape (n, n)
        The same with what the reading leaves open projected out.
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
    whole: Floats
    omega: Floats
    base: float
    residual: Floats
    kept: dict[int, tuple[Floats, Floats, Floats]] = field(default_factory=dict)

    def products(self, basis: Floats) -> tuple[Floats, Floats]:
        """Inner products of the rows of a basis, and with the figures; a row of noughts added.

        Parameters
        ----------
        basis : ndarray, shape (K, 2 z + 10)

        Returns
        -------
        ndarray, shape (K + 1, K + 1); ndarray, shape (K + 1,)
        """
        if id(basis) not in self.kept:
            rows = self._rows(basis)
            # The basis is kept too, so that its identity stays its own.
            self.kept[id(basis)] = basis, rows @ self.omega @ rows.T, rows @ self.residual
        return self.kept[id(basis)][1:]

    def weights(self, basis: Floats) -> Floats:
        """The same products with one another as if nothing were left open.

        Parameters
        ----------
        basis : ndarray, shape (K, 2 z + 10)

        Returns
        -------
        ndarray, shape (K + 1, K + 1)
        """
        rows = self._rows(basis)
        return np.asarray(rows @ self.whole @ rows.T)

    def _rows(self, basis: Floats) -> Floats:
        return np.concatenate([basis, np.zeros((1, basis.shape[1]))])[:, self.seen]


@dataclass
class Field:
    """A reading, ready to be held against shapes.

    Attributes
    ----------
    taken : ndarray, shape (k, 2 z + 10)
        Shapes of causes already found; they are left open too.
    rough : (kind, float) or None
        Scatter already found, µm.
    """

    observed: Observed
    taken: Floats
    rough: tuple[Scatter, float] | None = None
    _kept: dict[tuple[Scatter, float], Background] = field(default_factory=dict)
    _inverses: dict[tuple[Scatter, float], tuple[Floats, float]] = field(default_factory=dict)

    def background(self, kind: Scatter, size: float) -> Background:
        """Covariance with a scatter, worked out once.

        Parameters
        ----------
        size : float
            µm.
        """
        key = (kind, size)
        if key not in self._kept:
            self._kept[key] = self._make(kind, size)
        return self._kept[key]

    def once(self, family: Family, of_family: Callable[["Field", Family], Ints]) -> Ints:
        """Members of a family that something is told of, worked out once."""
        if id(family) not in self._of_families:
            # The family is kept too, so that its identity stays its own.
            self._of_families[id(family)] = family, of_family(self, family)
        return self._of_families[id(family)][1]

    def leaving(self, shapes: Floats) -> "Field":
        """The same reading with further shapes left open.

        Parameters
        ----------
        shapes : ndarray, shape (k, 2 z + 10)
        """
        taken = np.concatenate([self.taken, shapes])
        return Field(self.observed, taken, self.rough, _inverses=self._inverses)

    @cached_property
    def _of_families(self) -> dict[int, tuple[Family, Ints]]:
        return {}

    @property
    def open_count(self) -> int:
        """Number of independent shapes that are left open."""
        return len(self._free)

    def forget(self) -> None:
        """Let go of products with bases that no family to come will use."""
        for background in self._kept.values():
            background.kept.clear()

    @cached_property
    def steps(self) -> Floats:
        """Scatters that are looked at, µm, by what neighbours and what all flanks differ by."""
        steps = np.asarray(SCATTER_STEPS * self.observed.flank_noise)
        flanks = self.observed.value[: 2 * self.observed.design.teeth].reshape(-1, 2)
        largest = LARGEST_SCATTER * float(np.nanstd(flanks - np.nanmean(flanks, axis=0)))
        first = int(np.searchsorted(steps, LEAST_SCATTER * self.local_scatter))
        last = max(int(np.searchsorted(steps, largest)) + 1, first + FEWEST_STEPS)
        return steps[first:last]

    @cached_property
    def local_scatter(self) -> float:
        """What flanks differ from the middle between their neighbours by, as a scatter, µm."""
        return local_scatter(self.observed.value[: 2 * self.observed.design.teeth].reshape(-1, 2))

    @cached_property
    def _free(self) -> Floats:
        """What is left open, as shapes that are no sum of one another, shape (k, n)."""
        seen, noise = self.observed.seen, self.observed.noise[self.observed.seen]
        rows = np.concatenate([self.observed.nuisance, self.taken])[:, seen] / noise
        length = np.linalg.norm(rows, axis=1)
        rows = rows[length > 0] / length[length > 0, None]
        _, size, apart = np.linalg.svd(rows, full_matrices=False)
        # Rows of unit length: the largest size is 1 at least.
        return np.asarray(apart[size > 1e-6] * noise)

    @cached_property
    def _error(self) -> Floats:
        """Covariance of the figures without the scatter that is tried."""
        covariance = self.observed.covariance()
        if self.rough is None:
            return covariance
        seen = self.observed.seen
        return covariance + scatter_covariance(self.observed, *self.rough)[np.ix_(seen, seen)]

    def _inverse(self, kind: Scatter, size: float) -> tuple[Floats, float]:
        """Inverse covariance with a scatter, and the logarithm of its determinant."""
        key = (kind, size)
        if key not in self._inverses:
            seen = self.observed.seen
            more = scatter_covariance(self.observed, kind, size)[np.ix_(seen, seen)]
            root = np.linalg.cholesky(self._error + more)
            inverse = np.linalg.inv(root)
            logarithm = 2 * float(np.log(np.diag(root)).sum())
            self._inverses[key] = np.asarray(inverse.T @ inverse), logarithm
        return self._inverses[key]

    def _make(self, kind: Scatter, size: float) -> Background:
        observed = self.observed
        seen = observed.seen
        whole, determinant = self._inverse(kind, size)
        across = whole @ self._free.T
        root = np.linalg.cholesky(self._free @ across)
        taken = np.linalg.solve(root, across.T)
        omega = whole - taken.T @ taken
        figures = observed.value[seen]
        residual = omega @ figures
        determinants = determinant + 2 * float(np.log(np.diag(root)).sum())
        base = -0.5 * (determinants + float(figures @ residual))
        return Background(
            kind=kind, size=size, seen=seen, whole=whole, omega=omega, base=base, residual=residual
        )


def scatter_covariance(observed: Observed, kind: Scatter, size: float) -> Floats:
    """Covariance of a scatter over all figures.

    Parameters
    ----------
    kind : {'none', 'flank', 'passes', 'hobbed', 'wander', 'gap', 'mixed', 'gap-wander'}
        Of each flank by itself; the widest of several passes; with neighbours alike over few and
        over many teeth; of each gap as a whole, of its flanks besides, and as a whole with
        neighbours alike.
    size : float
        Standard deviation, µm.

    Returns
    -------
    ndarray, shape (2 z + 10, 2 z + 10)
    """
    z, rows = observed.design.teeth, len(observed.value)
    full = np.zeros((rows, rows))
    if kind == "none":
        return full
    gap, side = np.arange(2 * z) // 2, np.arange(2 * z) % 2
    gap = np.where(side == 0, gap - 1, gap) % z  # the left flank of tooth k borders gap k - 1
    alike = _alike(kind, np.arange(z), z)[np.abs(gap[:, None] - gap)]
    across = {"gap": 1.0, "gap-wander": 1.0, "mixed": MIXED, "passes": PASSES, "hobbed": HOBBED}
    across_gap = across.get(kind, 0.0)
    full[: 2 * z, : 2 * z] = size**2 * alike * np.where(side[:, None] == side, 1.0, across_gap)
    return full


def _alike(kind: Scatter, away: Ints, teeth: int) -> Floats:
    """Correlation of gaps so many pitches apart."""
    reach = {"hobbed": HOBBED_TEETH, "wander": WANDER_TEETH, "gap-wander": PLAY_TEETH}.get(kind)
    if reach is None:
        return np.asarray(away == 0, np.float64)
    # Round a gear of few teeth an error meets itself: summed over turns it stays a covariance.
    turns = np.abs(away[..., None] + teeth * np.arange(-3, 4)) / reach
    if kind == "hobbed":
        alike = np.maximum(1 - turns, 0.0)
    elif kind == "wander":  # a walk that the hob smooths (Matern, 3/2)
        alike = (1 + np.sqrt(3) * turns) * np.exp(-np.sqrt(3) * turns)
    else:
        alike = np.exp(-turns)
    whole = alike.sum(axis=-1)
    return np.asarray(whole / whole.max())


def fresh(observed: Observed) -> Field:
    """A reading of which nothing is explained yet."""
    return Field(observed, np.zeros((0, len(observed.value))))
