"""Turns of the fit of a band: steps of Gauss and Newton towards the band that leaves least.

What all samples share changes at once; each one's own place is taken out first.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from cogloupe.numerics.moving_average import dot
from cogloupe.optics.bevel import (
    SOFT_PX,
    Bevel,
    Profiles,
    from_edge,
    harmonics,
    levels_beside,
    steps_with,
)
from cogloupe.optics.levels import least_squares_amplitude
from cogloupe.optics.misfit import PARTS
from cogloupe.optics.response import BrokenStep
from cogloupe_calibration.arrays import Bools, Reals
from cogloupe_calibration.robust import median

ALL_ORDERS = 8
"""Harmonics of the direction that a band's brightness may have at most."""
SMOOTH = 0.3
"""Standard deviation expected of the first harmonic of a band's light; those of order n are n^2
times smaller, as the harmonics of any line without steps are."""
FURTHEST_IN_PX, FURTHEST_OUT_PX = -4.0, 3.0
"""How far in of a single step an edge may lie, and how far out of it beyond the widest band."""
SINGLE_PX = (-8.0, 2.5)
"""Where a single edge beside a shadow may lie: a deep shadow's border passes for the edge."""
SHADES, SOFTS_PX, FURTHEST_PX = (0.0, 0.95), (1.0, 12.0), 15.0
"""Shadows that may be: the light they take, how soft they are, and how far they are moved."""
SHADE_SIZE, FALL_PX, SOFT_SPREAD_PX = 0.3, 4.0, 1.5
"""Standard deviations expected of a shadow's light, of how far it is moved, and of its softness
about `SOFT_PX`: as far as a bevel of a tenth of a module is high (common practice, no source)."""
WORSE, STIFFER = 1.02, 10.0
"""Factor of the misfit from which a step went too far, and that of the damping then."""
LEAST_TURNS, SETTLED = 3, 1e-3
"""A fit ends when a turn brings the misfit down by less than this share."""
PLACE_TURNS = 4
"""Gauss-Newton steps that place single samples, of a pixel at most, beside a band that is held."""
FREE = np.zeros(7)
"""Damping of what samples share, the band's light, lighting, a shadow's light, fall and softness,
width, and blur: nothing held."""
NO_WIDTH = (0.0, 0.0)
"""Narrowest and widest band where none is looked for."""
FIRST_DAMPING, DAMPING, DAMPED_TURNS = 0.3, 0.02, 3
"""Damping of the first turns, whose slopes are those of a guess, and of the later ones (Levenberg,
Marquardt; our own choice of sizes)."""
WIDTH_TURN_PX, SHADE_TURN = 0.7, 0.2
"""How far a band's width and a shadow's light may change in a turn: a step's slope tells no further
than a blur."""


@dataclass(frozen=True)
class State:
    """Where the fit stands: the band, and the place of each sample, px along its profile."""

    bevel: Bevel
    place: Reals

    def of(self, profiles: Profiles) -> Profiles:
        """Profiles placed and blurred as the fit has them."""
        return replace(profiles, place=self.place, blur=self.bevel.blur(profiles.xy))


def settle(
    profiles: Profiles,
    state: State,
    limits: tuple[float, float],
    turns: int,
    held: Reals = FREE,
) -> tuple[State, float]:
    """Fit a band from a start.

    Parameters
    ----------
    profiles : Profiles
        Weighed.
    state : State
        The start.
    limits : tuple of float
        Narrowest and widest band, px; `NO_WIDTH` for a single edge with a shadow.
    turns : int
        Most turns.
    held : ndarray, shape (7,)
        Damping, see `FREE`.

    Returns
    -------
    State
    float
        Mean square of what is left, which tells how well.
    """
    terms = state.bevel.frame.terms(profiles.xy)
    ones = np.ones((len(terms), 1))
    bases = (
        harmonics(profiles.normal, state.bevel.orders), terms[:, 1:],
        ones, profiles.normal, ones, ones, terms,
    )  # fmt: skip
    best, least, more = state, np.inf, 0.0
    for turn in range(turns):
        damping = held + more + (FIRST_DAMPING if turn < DAMPED_TURNS else DAMPING)
        after, residual = _better(profiles, state, bases, limits, damping)
        if residual > WORSE * least:
            # The last step went too far: a shorter one from where it began (Levenberg, Marquardt).
            more = max(STIFFER * more, 1.0)
            state, _ = _better(profiles, best, bases, limits, held + more)
            continue
        settled = least - residual < SETTLED * residual
        best, least, more = state, residual, more / STIFFER
        if turn >= LEAST_TURNS and settled:
            break
        state = after
    return best, least


def _better(
    profiles: Profiles,
    state: State,
    bases: tuple[Reals, ...],
    limits: tuple[float, float],
    damping: Reals,
) -> tuple[State, float]:
    """One step of Gauss and Newton, each sample's own place eliminated."""
    laid = _laid(profiles, state)
    residual, by_place, rates = laid.residual, laid.by_place, _rates(profiles, state, laid)
    without_place = [
        v - by_place * least_squares_amplitude(by_place, v)[:, None] for v in (*rates, residual)
    ]
    left = without_place[-1]
    own = (left**2).mean(axis=1)
    usual = own < 9 * median(own)
    shared = without_place[:-1]
    normal = _normal(shared, bases, usual)
    right = [dot(rate, left) * usual for rate in shared]
    pull = np.concatenate([b.T @ r for b, r in zip(bases, right, strict=True)])
    share, noise = state.bevel.share, float(own[usual].mean())
    alike = _alike(bases[0] * right[0][:, None], noise, normal)
    off = _from_expected(state.bevel)
    for first, values, expected in (
        (0, share, _EXPECTED[: len(share)]),
        (len(share) + bases[1].shape[1], *off),
    ):
        stiff = alike * noise / expected**2
        place_of = np.arange(first, first + len(values))
        normal[place_of, place_of] += stiff
        pull[place_of] -= stiff * values
    each = np.repeat(damping, [b.shape[1] for b in bases])
    normal += np.diag(each * np.diag(normal) + 1e-9 * np.trace(normal))
    change = np.linalg.solve(normal, pull)
    changes = np.split(change, np.cumsum([b.shape[1] for b in bases])[:-1])
    light, lighting, shade, fall, soft, width, spread = changes
    moved = sum(g * (b @ c)[:, None] for g, b, c in zip(rates, bases, changes, strict=True))
    place = np.clip(least_squares_amplitude(by_place, residual - moved), -1, 1)
    wider = np.clip(width[0], -WIDTH_TURN_PX, WIDTH_TURN_PX)
    darker = np.clip(shade[0], -SHADE_TURN, SHADE_TURN)
    bevel = replace(
        state.bevel,
        width_px=float(np.clip(state.bevel.width_px + wider, *limits)),
        share=state.bevel.share + light,
        lighting=state.bevel.lighting + lighting,
        shade=float(np.clip(state.bevel.shade + darker, *SHADES)),
        fall=np.clip(state.bevel.fall + np.clip(fall, -1, 1), -FURTHEST_PX, FURTHEST_PX),
        soft_px=float(np.clip(state.bevel.soft_px + np.clip(soft[0], -1, 1), *SOFTS_PX)),
        spread=state.bevel.spread + spread,
    )
    place = np.clip(state.place + place, *place_limits(limits))
    return State(bevel, place), float(own[usual].mean())


def _normal(shared: Sequence[Reals], bases: tuple[Reals, ...], usual: Bools) -> Reals:
    """Normal equations of what is shared, from its rates and the terms that it is made of."""
    ends = np.cumsum([base.shape[1] for base in bases])
    parts = [slice(end - base.shape[1], end) for base, end in zip(bases, ends, strict=True)]
    normal = np.empty((ends[-1], ends[-1]))
    for i, a in enumerate(bases):
        for j, b in enumerate(bases[: i + 1]):
            block = a.T @ ((dot(shared[i], shared[j]) * usual)[:, None] * b)
            normal[parts[i], parts[j]] = block
            normal[parts[j], parts[i]] = block.T
    return normal


def _from_expected(bevel: Bevel) -> tuple[Reals, Reals]:
    """How far a shadow is from what is expected, and the standard deviation of that."""
    off = np.array([bevel.shade, *bevel.fall, bevel.soft_px - SOFT_PX])
    return off, np.array([SHADE_SIZE, FALL_PX, FALL_PX, SOFT_SPREAD_PX])


def _alike(pulls: Reals, noise: float, normal: Reals) -> float:
    """How many times more than by chance neighbours pull the light of the band the same way.

    Marks reach over many samples and pixels, which then tell less than so many would by
    themselves: the spread of what parts of an outline pull (a cluster-robust variance).
    """
    parts = np.add.reduceat(pulls, np.arange(PARTS) * len(pulls) // PARTS)
    by_chance = noise * np.trace(normal[: pulls.shape[1], : pulls.shape[1]])
    return float(max((parts**2).sum() / max(by_chance, 1e-12), 1.0))


_EXPECTED = np.concatenate([[1e6], np.repeat(SMOOTH / np.arange(1, ALL_ORDERS + 1) ** 2, 2)])
"""Standard deviations expected of a band's light: its mean is left free, its harmonics smooth."""


@dataclass(frozen=True, kw_only=True)
class _Laid:
    """Steps laid against profiles: what they leave, and its change with place, both weighed."""

    unit: BrokenStep
    rise: Reals
    distance: Reals
    blur: Reals
    residual: Reals
    by_place: Reals


def _laid(profiles: Profiles, state: State) -> _Laid:
    at = state.of(profiles)
    unit = steps_with(at, state.bevel)
    found = levels_beside(profiles, unit)
    per_px = (-found.rise * profiles.cosine / at.blur).astype(np.float32)
    return _Laid(
        unit=unit,
        rise=found.rise[:, None],
        distance=from_edge(at),
        blur=at.blur.astype(np.float32)[:, None],
        residual=profiles.weight * (profiles.grey - found.grey),
        by_place=profiles.weight * per_px[:, None] * unit.both,
    )


def _rates(profiles: Profiles, state: State, laid: _Laid) -> tuple[Reals, ...]:
    """How profiles change with all that is shared, weighed."""
    bevel, unit, rise = state.bevel, laid.unit, laid.rise
    per_blur = rise / laid.blur
    by_blur = -per_blur * (unit.both * laid.distance + unit.inner * bevel.width_px / laid.blur)
    by_share, by_lighting = (
        rates.astype(np.float32) for rates in bevel.rates(profiles.normal, profiles.xy)
    )
    by_light = median(rise) * unit.lit
    by_soft = bevel.soft_px / np.hypot(bevel.soft_px, laid.blur)
    shared = (
        by_light * by_share[:, None], by_light * by_lighting[:, None],
        bevel.darkness * rise * unit.shaded, per_blur * unit.shifted,
        per_blur * unit.softer * by_soft, per_blur * unit.inner, by_blur,
    )  # fmt: skip
    return tuple(profiles.weight * rate for rate in shared)


def place_all(profiles: Profiles, state: State, limits: tuple[float, float]) -> tuple[State, Reals]:
    """Find the place of each sample where all that is shared is known.

    Parameters
    ----------
    profiles : Profiles
        Weighed.
    state : State
    limits : tuple of float
        As of `settle`.

    Returns
    -------
    State
    ndarray, shape (n, k)
        What is left.
    """
    for _ in range(PLACE_TURNS):
        laid = _laid(profiles, state)
        move = np.clip(least_squares_amplitude(laid.by_place, laid.residual), -1, 1)
        state = replace(state, place=np.clip(state.place + move, *place_limits(limits)))
    return state, _laid(profiles, state).residual


def place_limits(limits: tuple[float, float]) -> tuple[float, float]:
    """Give the places where an edge may lie, px along its profile, for limits as of `settle`."""
    if limits == NO_WIDTH:
        return SINGLE_PX
    return FURTHEST_IN_PX, limits[1] + FURTHEST_OUT_PX
