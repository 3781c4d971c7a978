"""One explanation of an outline: which colours, by which curve, and which terms."""

from dataclasses import dataclass, replace

import numpy as np

from cogloupe.optics.joint.crossings import Crossings
from cogloupe.optics.joint.forward_model import Kind
from cogloupe.optics.joint.joint_fit import Shared, State, first_levels, settle
from cogloupe.optics.joint.local_levels import Placed, follow, place
from cogloupe.optics.joint.profiles import Profiles, profiles_across
from cogloupe.optics.joint.shared_terms import Frame
from cogloupe.optics.joint.wide_greys import WideGreys
from cogloupe_calibration.arrays import Bools, Floats, Reals
from cogloupe_calibration.robust import median

PLAIN_TURNS, TURNS, ROUNDS = 4, 2, 3
"""Turns of a fit without local levels; and, with them, turns of what is shared in each round and
rounds of both."""
RIDGE = 1e-6
"""What keeps terms of the levels finite where an arc faces few ways only."""
PLAIN = Kind()
LEAST_LEFT = 1e-6
"""Mean square that any profile is taken to leave, in the usual one."""


@dataclass(frozen=True, kw_only=True)
class Fit:
    """How an outline is fitted.

    Attributes
    ----------
    greys : WideGreys
        What is measured.
    kind : Kind
        Terms of the edges.
    local : bool
        Light is followed from stretch to stretch, and profiles have levels of their own; else it
        only changes evenly over the frame.
    reach : int
        Pixels of a profile to each side.
    spread : ndarray, shape (6,)
        Blur over the frame to begin with, px.
    every : int
        One in how many samples of the outline is fitted.
    """

    greys: WideGreys
    kind: Kind = PLAIN
    local: bool = False
    frame: Frame
    reach: int
    spread: Floats
    every: int = 1


@dataclass(frozen=True, kw_only=True)
class Look:
    """An outline as one explanation has it.

    Attributes
    ----------
    fit : Fit
        With the blur and the common sizes that were found.
    """

    fit: Fit
    profiles: Profiles
    shared: Shared
    state: State
    placed: Placed

    @property
    def crossings(self) -> Crossings:
        """Rows and columns crossed where the edges lie."""
        return self.profiles.crossings.recentred(self.placed.out)

    @property
    def blur(self) -> Floats:
        """Blur at the profiles, px."""
        return self.shared.blur(self.state.spread)

    @property
    def sides(self) -> tuple[Floats, Floats]:
        """Light of material and ground beside each edge."""
        levels = self.state.levels
        return levels[0], levels[1 + self.fit.kind.powers[0]]

    @property
    def rise(self) -> Floats:
        """Light from material to ground."""
        material, ground = self.sides
        return np.asarray(ground - material)

    @property
    def step(self) -> Floats:
        """The greatest change of light at either edge; where gear and ground are alike, none."""
        sides = [*self.sides, *self.state.levels[-1:][: self.fit.kind.banded]]
        return np.asarray(np.ptp(np.stack(sides), axis=0))

    def smooth(self, levels: Floats) -> Floats:
        """Levels as they change slowly over the frame and with the way the outline faces."""
        terms = self.shared.light
        ridge = RIDGE * len(terms) * np.eye(terms.shape[1])
        return np.asarray(terms @ np.linalg.solve(terms.T @ terms + ridge, terms.T @ levels))

    def off(self, other: "Look") -> Floats:
        """How far out of the same edges by another look these lie, px along the normals."""
        moved = self.crossings.moved() - other.crossings.moved()
        return np.asarray((moved * other.crossings.normal).sum(axis=1))

    @property
    def left_as_stored(self) -> Reals:
        """What is left of the profiles, in the picture's own values, as shares of full scale."""
        grey = self.profiles.grey - self.placed.left
        full = np.float32(self.fit.greys.full_scale)
        return self.fit.greys.stored(grey, self.placed.left) / full

    @property
    def word(self) -> Floats:
        """Half the logarithm of what is left of each profile as stored, for every pixel of it.

        What was spent on levels of its own is added (Akaike's information criterion).
        """
        return self.word_on(np.ones(self.profiles.grey.shape, bool))

    def word_on(self, pixels: Bools) -> Floats:
        """The same for some pixels only, shape (k, n)."""
        if self.profiles.within is not None:
            pixels = pixels & self.profiles.within
        left, count = self.left_as_stored, np.maximum(pixels.sum(axis=0), 1)
        square = np.einsum("kn,kn,kn->n", left, left, pixels) / count
        word = 0.5 * np.log(square + LEAST_LEFT * median(square) + 1e-12)
        return np.asarray(word * count + self.placed.spent)

    @property
    def sound(self) -> bool:
        """Whether the fit ended anywhere."""
        return bool(np.isfinite(self.word).all())


def look(fit: Fit, crossings: Crossings, rounds: int = ROUNDS, free: bool = False) -> Look:
    """Fit an outline.

    Parameters
    ----------
    crossings : Crossings
        Where its edges are about.
    rounds : int
        Turns of what is shared and what is local.
    free : bool
        Whether the width of a band and the sizes of a shadow are fitted as well.
    """
    profiles = profiles_across(fit.greys, crossings, fit.reach)
    shared = Shared.of(profiles, fit.frame, fit.local)
    n = len(profiles)
    levels = np.zeros((fit.kind.count, n))
    state = State(kind=fit.kind, out=np.zeros(n), spread=fit.spread, levels=levels)
    state = first_levels(profiles, shared, state)
    if not fit.local:
        state = settle(profiles, shared, state, PLAIN_TURNS)
    else:
        state = follow(profiles, shared, state, fit.every)
        for _ in range(rounds):
            state = settle(profiles, shared, state, TURNS, free)
            state = follow(profiles, shared, state, fit.every)
    placed = place(profiles, shared, state, fit.local, fit.every)
    fit = replace(fit, kind=state.kind, spread=state.spread)
    return Look(fit=fit, profiles=profiles, shared=shared, state=state, placed=placed)
