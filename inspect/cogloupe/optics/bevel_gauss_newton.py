"""Turns of the fit of a band: steps of Gauss and Newton towards the band that leaves least.

What all samples share changes at once; each one's own place is taken out first.
"""

from dataclasses import dataclass, replace

import numpy as np

from cogloupe.optics.bevel import (
    SOFT_PX,
    Bevel,
    Profiles,
    Terms,
    from_edge,
    levels_beside,
)
from cogloupe.optics.levels import least_squares_amplitude
from cogloupe.optics.misfit import PARTS
from cogloupe.optics.normal_equations import normal_equations, products
from cogloupe.optics.response import BrokenStep, broken_step
from cogloupe_calibration.arrays import Reals
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
WORSE, STIFFER, STIFFEST = 1.02, 10.0, 1e3
"""Factor of the misfit from which a step went too far, that of the damping then, and the damping
beyond which no step leads on."""
LEAST_TURNS, SETTLED = 3, 1e-3
"""A fit ends when a turn brings the misfit down by less than this share."""
PLACE_TURNS, PLACED_PX = 4, 0.01
"""Gauss-Newton steps that place single samples, of a pixel at most, beside a band that is held; and
the mean step that is the last, as its square is what the next one would be."""
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
        return self.on(profiles, self.bevel.terms(profiles.normal, profiles.xy))

    def on(self, profiles: Profiles, terms: Terms) -> Profiles:
        """The same with terms that were worked out before."""
        return replace(profiles, place=self.place, blur=self.bevel.blur(terms))


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
    terms = state.bevel.terms(profiles.normal, profiles.xy)
    best, least, more = state, np.inf, 0.0
    for turn in range(turns):
        damping = held + more + (FIRST_DAMPING if turn < DAMPED_TURNS else DAMPING)
        after, residual = _better(profiles, state, terms, limits, damping)
        if residual > WORSE * least:
            # The last step went too far: a shorter one from where it began (Levenberg, Marquardt).
            more = max(STIFFER * more, 1.0)
            if more > STIFFEST:
                break
            state, _ = _better(profiles, best, terms, limits, held + more)
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
    terms: Terms,
    limits: tuple[float, float],
    damping: Reals,
) -> tuple[State, float]:
    """One step of Gauss and Newton, each sample's own place eliminated."""
    laid = _laid(profiles, state, terms)
    sums = products([*_rates(profiles, state, laid), laid.residual.T, laid.by_place.T])
    blocks = _blocks(state, laid, terms)
    by_place = sums[-1] / np.maximum(sums[-1, -1], 1e-12)
    left = sums[:-1, :-1] - sums[-1, :-1, None] * by_place[:-1]
    own = left[-1, -1] / profiles.grey.shape[1]
    usual = own < 9 * median(own)
    left *= usual
    normal, pull = normal_equations(left, blocks)
    noise = float(own[usual].mean())
    pulls = blocks[0][:, : len(state.bevel.share)] * left[0, -1][:, None]
    _draw_to_expected(normal, pull, state.bevel, _alike(pulls, noise, normal) * noise)
    each = np.repeat(damping, _sizes(state.bevel))
    normal += np.diag(each * np.diag(normal) + 1e-9 * np.trace(normal))
    change = np.linalg.solve(normal, pull)
    parts = np.split(change, np.cumsum([block.shape[1] for block in blocks])[:-1])
    moved = sum(r * (b @ c) for r, b, c in zip(by_place[:-2], blocks, parts, strict=True))
    place = state.place + np.clip(by_place[-2] - moved, -1, 1)
    bevel = _changed(state.bevel, change, limits)
    return State(bevel, np.clip(place, *place_limits(limits))), noise


def _sizes(bevel: Bevel) -> list[int]:
    """Numbers of the unknowns of each kind, see `FREE`."""
    return [len(bevel.share), len(bevel.lighting), 1, 2, 1, 1, len(bevel.spread)]


def _changed(bevel: Bevel, change: Reals, limits: tuple[float, float]) -> Bevel:
    """The band after a step, as far as one may lead."""
    ends = np.cumsum(_sizes(bevel))[:-1]
    light, lighting, shade, fall, soft, width, spread = np.split(change, ends)
    wider = np.clip(width[0], -WIDTH_TURN_PX, WIDTH_TURN_PX)
    darker = np.clip(shade[0], -SHADE_TURN, SHADE_TURN)
    return replace(
        bevel,
        width_px=float(np.clip(bevel.width_px + wider, *limits)),
        share=bevel.share + light,
        lighting=bevel.lighting + lighting,
        shade=float(np.clip(bevel.shade + darker, *SHADES)),
        fall=np.clip(bevel.fall + np.clip(fall, -1, 1), -FURTHEST_PX, FURTHEST_PX),
        soft_px=float(np.clip(bevel.soft_px + np.clip(soft[0], -1, 1), *SOFTS_PX)),
        spread=bevel.spread + spread,
    )


def _draw_to_expected(normal: Reals, pull: Reals, bevel: Bevel, variance: float) -> None:
    """Add to normal equations what is expected of a band's light and of a shadow."""
    shares = len(bevel.share)
    for first, values, expected in (
        (0, bevel.share, _EXPECTED[:shares]),
        (shares + len(bevel.lighting), *_from_expected(bevel)),
    ):
        stiff = variance / expected**2
        place_of = np.arange(first, first + len(values))
        normal[place_of, place_of] += stiff
        pull[place_of] -= stiff * values


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


def _laid(profiles: Profiles, state: State, terms: Terms) -> _Laid:
    at = state.on(profiles, terms)
    distance, band = from_edge(at), state.bevel.along(terms)
    unit = broken_step(distance, band.in_blurs(at.blur))
    found = levels_beside(profiles, unit)
    per_px = (-found.rise * profiles.cosine / at.blur).astype(np.float32)
    residual = profiles.grey - found.grey
    residual *= profiles.weight
    by_place = unit.both * profiles.weight
    by_place *= per_px[:, None]
    return _Laid(
        unit=unit, rise=found.rise[:, None], distance=distance, blur=at.blur[:, None],
        residual=residual, by_place=by_place,
    )  # fmt: skip


def _rates(profiles: Profiles, state: State, laid: _Laid) -> list[Reals]:
    """How profiles change with all that is shared, weighed, shape (k, n); see `_blocks`."""
    unit = laid.unit
    by_blur = unit.both * laid.distance
    by_blur += unit.inner * (state.bevel.width_px / laid.blur).astype(np.float32)
    rates = (unit.lit, unit.shaded, unit.shifted, unit.softer, unit.inner, by_blur)
    return [(profiles.weight * rate).T for rate in rates]


def _blocks(state: State, laid: _Laid, terms: Terms) -> list[Reals]:
    """What samples change by, in `_rates`, with each that is shared, shape (n, q).

    The band's light and lighting, a shadow's light, fall and softness, width, and blur.
    """
    bevel, rise = state.bevel, laid.rise
    per_blur = rise / laid.blur
    by_soft = bevel.soft_px / np.hypot(bevel.soft_px, laid.blur)
    return [
        median(rise) * bevel.by_light(terms), bevel.darkness * rise, per_blur * terms.normal,
        per_blur * by_soft, per_blur, -per_blur * terms.frame,
    ]  # fmt: skip


def place_all(profiles: Profiles, state: State, limits: tuple[float, float]) -> tuple[State, Reals]:
    """Find the place of each sample where all that is shared is known.

    Parameters
    ----------
    profiles : Profiles
        Weighed.
    limits : tuple of float
        As of `settle`.

    Returns
    -------
    State
    ndarray, shape (n, k)
        What is left.
    """
    terms = state.bevel.terms(profiles.normal, profiles.xy)
    for _ in range(PLACE_TURNS):
        laid = _laid(profiles, state, terms)
        move = np.clip(least_squares_amplitude(laid.by_place, laid.residual), -1, 1)
        state = replace(state, place=np.clip(state.place + move, *place_limits(limits)))
        if np.mean(np.abs(move)) < PLACED_PX:
            return state, laid.residual - laid.by_place * move.astype(np.float32)[:, None]
    return state, _laid(profiles, state, terms).residual


def place_limits(limits: tuple[float, float]) -> tuple[float, float]:
    """Give the places where an edge may lie, px along its profile, for limits as of `settle`."""
    if limits == NO_WIDTH:
        return SINGLE_PX
    return FURTHEST_IN_PX, limits[1] + FURTHEST_OUT_PX
