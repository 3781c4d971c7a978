"""Fit the edges of a whole outline at once: what they share together, each one's place its own.

The light of both sides changes slowly over the frame and with the way the outline faces, and so
does the blur over the frame; a band has one width. Places are taken out piece by piece, so that all
of the outline votes for what is shared whatever its own shape (Gauss-Newton on the reduced normal
equations). Profiles that fit badly, as dirt does, have little say.
"""

from dataclasses import dataclass, replace

import numpy as np

from cogloupe.optics.bevel import BLURS_PX
from cogloupe.optics.joint.forward_model import Drawn, Kind, draw
from cogloupe.optics.joint.profiles import Profiles
from cogloupe.optics.joint.shared_terms import Frame, facing
from cogloupe.optics.normal_equations import normal_equations, products
from cogloupe_calibration.arrays import Floats, Reals
from cogloupe_calibration.robust import median

FURTHEST_PX = 1.0
"""How far a place may move in one turn."""
BLUR_TURN = 0.3
"""How far the terms of the blur, px, may change in one turn."""
DAMPING, RIDGE = 1e-4, 1e-9
"""Of the shared unknowns, by their own curvature and by the largest."""
PLACED_PX, LONGEST_PIECE = 0.1, 24
"""Places are shared by as many neighbours as it takes to know them so well, up to so many."""
SPARE_PIXELS = 10
"""Pixels of a profile, about, that its own unknowns leave over."""
SETTLED_PX = 0.002
"""Mean move of a place at which a fit ends: below the noise of a flank on the cleanest picture
(0.003 px)."""


@dataclass(frozen=True, kw_only=True)
class State:
    """Where a fit stands.

    Attributes
    ----------
    out : ndarray, shape (n,)
        How far out of where the outline crosses each profile its edge lies, px along the normal.
    spread : ndarray, shape (6,)
        Blur over the frame, px, by `Frame.terms`.
    levels : ndarray, shape (p, n)
        Light of the columns of each profile.
    free : tuple of float
        Shares of their levels that stretches of each length were free to change, in all turns.
    """

    kind: Kind
    out: Floats
    spread: Floats
    levels: Floats
    free: tuple[float, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Shared:
    """Terms that what is shared is made of, at n profiles.

    Attributes
    ----------
    frame : ndarray, shape (n, 6)
        Of the blur.
    light : ndarray, shape (n, q)
        Of the levels.
    """

    frame: Floats
    light: Floats

    @classmethod
    def of(cls, profiles: Profiles, frame: Frame, faced: bool) -> "Shared":
        """Terms at profiles; light changes with the way they face, too, or over the frame only."""
        terms = frame.terms(profiles.crossings.moved())
        light = [terms, facing(profiles.crossings.normal)] if faced else [terms]
        return cls(frame=terms, light=np.concatenate(light, axis=1))

    def blur(self, spread: Floats) -> Floats:
        """Blur at the profiles, px."""
        return np.clip(self.frame @ spread, *BLURS_PX)


def drawn(profiles: Profiles, shared: Shared, state: State) -> Drawn:
    """Draw the columns of a state."""
    return draw(profiles, state.out, shared.blur(state.spread), state.kind)


def trust(left: Reals, pixels: Reals | float) -> Floats:
    """Weigh profiles by how well they fit: near 2 for the best, 1 for usual ones, 0 for dirt.

    Parameters
    ----------
    left : ndarray, shape (k, n)
        What is left of the profiles.
    pixels : ndarray, shape (n,) or float

    Returns
    -------
    ndarray, shape (n,)

    Notes
    -----
    The weights of the sum of the logarithms of what profiles leave, each drawn half way to what is
    usual: a profile's own noise is what its pixels leave, and they are few.
    """
    square = np.einsum("kn,kn->n", left, left) / pixels
    return np.asarray(2 / (1 + square / max(median(square), 1e-30)), np.float64)


def first_levels(profiles: Profiles, shared: Shared, state: State) -> State:
    """Give a state the shared levels that suit its places."""
    columns = drawn(profiles, shared, state).columns
    sums = products([*columns, profiles.grey])
    blocks = [shared.light] * state.kind.count
    weight = np.ones(len(profiles))
    for _ in range(2):
        found = _solved(*normal_equations(sums * weight, blocks))
        levels = found.reshape(state.kind.count, -1) @ shared.light.T
        left = profiles.grey - np.einsum("pkn,pn->kn", columns, levels.astype(np.float32))
        weight = trust(left, profiles.pixels)
    return replace(state, levels=levels)


def settle(
    profiles: Profiles, shared: Shared, state: State, turns: int, free: bool = False
) -> State:
    """Fit what is shared, and places piece by piece.

    Parameters
    ----------
    state : State
        The start, with levels.
    turns : int
        Most turns.
    free : bool
        Whether the width of a band and the sizes of a shadow are fitted as well.
    """
    for _ in range(turns):
        before = state
        state = _turn(profiles, shared, state, free)
        if np.mean(np.abs(state.out - before.out)) < SETTLED_PX:
            break
    return state


def _turn(profiles: Profiles, shared: Shared, state: State, free: bool) -> State:
    now = drawn(profiles, shared, state)
    left = profiles.grey - now.grey(state.levels)
    by_place, by_blur, common = now.rates(state.levels)
    common = common if free else []
    rates = [by_blur, *(rate for rate, _ in common), left, by_place]
    sums = products([*now.columns, *rates]) * trust(left, profiles.pixels)
    count = state.kind.count
    blocks = [shared.light] * count + [shared.frame] + [terms for _, terms in common]
    places = _Places(sums, blocks)
    found = _solved(*places.taken_out(*normal_equations(sums[:-1, :-1], blocks)))
    parts = np.split(found, np.cumsum([block.shape[1] for block in blocks])[:-1])
    kind = state.kind.changed(np.concatenate(parts[count + 1 :])) if common else state.kind
    return replace(
        state,
        kind=kind,
        out=state.out + np.clip(places.moves(found), -FURTHEST_PX, FURTHEST_PX),
        spread=state.spread + np.clip(parts[count], -BLUR_TURN, BLUR_TURN),
        levels=state.levels + np.stack(parts[:count]) @ shared.light.T,
    )


def _solved(normal: Floats, pull: Floats) -> Floats:
    own = np.diag(normal)
    damped = normal + np.diag(DAMPING * own + RIDGE * own.max())
    return np.asarray(np.linalg.solve(damped, pull), np.float64)


class _Places:
    """Places of pieces of an outline, to be taken out of the normal equations."""

    def __init__(self, sums: Floats, blocks: list[Floats]) -> None:
        own, wish = sums[-1, -1], sums[-1, -2]
        # Squares of what is left are those of the noise, about.
        u = np.sqrt(median(sums[-2, -2] / np.maximum(own, 1e-30)) / SPARE_PIXELS)
        self._length = int(np.clip(np.ceil((u / PLACED_PX) ** 2), 1, LONGEST_PIECE))
        self._own = np.maximum(self._piece(own[:, None]), 1e-30)
        self._wish = self._piece(wish[:, None])
        crossed = [block * sums[i, -1][:, None] for i, block in enumerate(blocks)]
        self._crossed = self._piece(np.concatenate(crossed, axis=1))
        self._samples = len(own)

    def _piece(self, values: Floats) -> Floats:
        if self._length == 1:
            return values
        return np.asarray(np.add.reduceat(values, np.arange(0, len(values), self._length)))

    def taken_out(self, normal: Floats, pull: Floats) -> tuple[Floats, Floats]:
        """Normal equations of what is shared, whatever the places."""
        weighed = (self._crossed / self._own).T
        return normal - weighed @ self._crossed, pull - (weighed @ self._wish)[:, 0]

    def moves(self, found: Floats) -> Floats:
        """How far each sample's place moves with what was found of the others."""
        moved = (self._wish[:, 0] - self._crossed @ found) / self._own[:, 0]
        return np.repeat(moved, self._length)[: self._samples]
