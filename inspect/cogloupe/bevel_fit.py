"""Fit a band along an outline, and tell whether there is one.

Ground, shadow, band and face are fitted together, to all samples at once: the band's width belongs
to the gear, its light and that of its shadow change smoothly with the way it faces, lighting and
blur smoothly over the frame, and each sample has its own place.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import pi, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe.bevel import (
    NARROWEST_PX,
    NO_BEVEL,
    SHADE_ORDERS,
    SHADE_PX,
    Bevel,
    Frame,
    Profiles,
    broken_step,
    from_edge,
    harmonics,
    levels_beside,
    rise_of,
)
from cogloupe.bevel_start import by_facing, first_band, smooth_light
from cogloupe.response import EdgeShape

Floats = NDArray[np.floating[Any]]

ORDERS, ALL_ORDERS = 3, 8
"""Harmonics of the direction that a band's brightness may have, while it is looked for and when
all of the outline tells it. A matt surface needs one (Lambert's cosine law), several lamps or a
shine more (common practice, no source)."""
SMOOTH = 0.3
"""Standard deviation expected of the first harmonic; those of order n are n^2 times smaller, as
the harmonics of any line without steps are."""
FIRST_WIDTHS_PX = (2.5, 6.0)
WIDEST_SHARE = 0.6
"""A band may fill this share of the profiles inside the edge."""
PLACES_PX = (-4.0, 6.0)
FIRST_TURNS, TURNS = 6, 10
SECTORS_NEEDED = 8
HALVES, HALF_TURNS = 4, 6
"""Stretches of an outline that each half has, and turns that its fit takes."""
PARTS = 40
"""Parts of an outline that are asked which of two edges explains them better."""
PART_LIMIT = 3.0
"""A sample's word counts for no more than this many times the usual misfit: dirt has no say."""
HELD = 1e9
"""Damping that holds all that samples share."""


def find_bevel(profiles: Profiles, shape: EdgeShape) -> tuple[Bevel, Profiles]:
    """Find the band along an outline that explains its profiles best.

    Parameters
    ----------
    profiles : Profiles
        Placed by single steps.
    shape : EdgeShape

    Returns
    -------
    Bevel
        Whether to believe it is for the caller to judge (`misfit`).
    Profiles
        The same, placed and blurred by the two-edge step: `place` is the outer edge.
    """
    frame = Frame.about(profiles.xy)
    limits = _limits(profiles)
    starts = _starts(profiles, shape, frame, limits)
    tried = [_settle(profiles, shape, start, limits, FIRST_TURNS) for start in starts]
    best, _ = min(tried, key=lambda end: end[1])
    state, _ = _settle(profiles, shape, best, limits, TURNS)
    return state.bevel, replace(profiles, place=state.place, blur=state.blur)


def settle_bevel(
    profiles: Profiles, shape: EdgeShape, bevel: Bevel, plain: EdgeShape
) -> tuple[Bevel, float]:
    """Fit a band that was found on part of an outline to all of it, and see if it is there.

    Parameters
    ----------
    profiles : Profiles
        Placed by the two-edge step.
    shape : EdgeShape
    bevel : Bevel
    plain : EdgeShape
        What single edges look like, if there is no band.

    Returns
    -------
    Bevel
    float
        By how many standard errors the band explains parts of the outline better than a single
        edge (with a shadow) does: each half is judged by what the other half was fitted to, so
        that neither gains by having more to fit.
    """
    more = np.zeros(2 * ALL_ORDERS + 1 - len(bevel.share))
    bevel = replace(bevel, share=np.concatenate([bevel.share, more]))
    limits = _limits(profiles)
    settled, _ = _settle(profiles, shape, _state(profiles, shape, bevel), limits, TURNS)
    # Outlines were followed where pixels pass half way, which is where a single edge lies.
    single = replace(profiles, place=np.full(len(profiles.xy), 0.5))
    banded = replace(profiles, place=settled.place, blur=settled.blur)
    one = _held_out(single, plain, replace(settled.bevel, width_px=0.0), (0.0, 0.0))
    two = _held_out(banded, shape, settled.bevel, limits)
    usual = np.median(np.minimum(one, two))
    gain = np.clip((one - two) / usual, -PART_LIMIT, PART_LIMIT)
    parts = np.array([part.mean() for part in np.array_split(gain, PARTS)])
    return settled.bevel, float(parts.mean() / (parts.std(ddof=1) / sqrt(PARTS)))


def _held_out(
    profiles: Profiles, shape: EdgeShape, bevel: Bevel, limits: tuple[float, float]
) -> Floats:
    """Mean square residual of each sample, with all that is shared fitted to the other half."""
    n = len(profiles.xy)
    half = np.arange(n) * 2 * HALVES // n % 2 == 0
    left = np.empty(n)
    for mine in (half, ~half):
        fitted = _state(profiles.take(~mine), shape, bevel)
        fitted, _ = _settle(profiles.take(~mine), shape, fitted, limits, HALF_TURNS)
        judged = profiles.take(mine)
        state = _state(judged, shape, fitted.bevel)
        blur = _blur(fitted.bevel.frame.terms(judged.xy), fitted.spread)
        state = replace(state, spread=fitted.spread, blur=blur)
        state, _ = _settle(judged, shape, state, limits, HALF_TURNS, HELD)
        left[mine] = (_rates(judged, shape, state)[0] ** 2).mean(axis=1)
    return left


def _state(profiles: Profiles, shape: EdgeShape, bevel: Bevel) -> "_State":
    """Start from a band and the places of profiles."""
    terms = bevel.frame.terms(profiles.xy)
    levels = levels_beside(profiles, broken_step(profiles, shape, bevel).step)
    spread = np.linalg.lstsq(terms, profiles.blur, rcond=None)[0]
    return _State(bevel, spread, profiles.place, _blur(terms, spread), levels)


def _limits(profiles: Profiles) -> tuple[float, float]:
    return NARROWEST_PX, WIDEST_SHARE * float(profiles.offsets[-1])


@dataclass(frozen=True)
class _State:
    """Where the fit stands: `spread` are the terms of the blur over the frame."""

    bevel: Bevel
    spread: Floats
    place: Floats
    blur: Floats
    levels: Floats


def _starts(
    profiles: Profiles, shape: EdgeShape, frame: Frame, limits: tuple[float, float]
) -> Iterator[_State]:
    """Bands to begin with: none to speak of, and those that averaged profiles show."""
    levels = levels_beside(profiles, shape.at(from_edge(profiles))[0])
    zero, ground = np.median(levels, axis=1)
    none = replace(
        NO_BEVEL, frame=frame, black=shape.black, zero=float(zero), unit=float(ground - zero)
    )
    terms = frame.terms(profiles.xy)
    lit = none.beside(levels, shape).sum(axis=0) - 2 * shape.black
    lighting = np.linalg.lstsq(terms, lit, rcond=None)[0]
    none = replace(none, lighting=lighting[1:] / lighting[0])

    def state(bevel: Bevel, sharper: float, move: Floats | float) -> _State:
        spread = np.linalg.lstsq(terms, sharper * profiles.blur, rcond=None)[0]
        place = np.clip(profiles.place + move / profiles.cosine, *PLACES_PX)
        return _State(bevel, spread, place, _blur(terms, spread), levels)

    for width in FIRST_WIDTHS_PX:
        # A single step takes the band for more blur.
        yield state(replace(none, width_px=width), 0.85, 0.0)
    light = shape.light((profiles.grey - levels[0][:, None]) / (levels[1] - levels[0])[:, None])
    distance = (profiles.offsets - profiles.place[:, None]) * profiles.cosine[:, None]
    facing = by_facing(light, distance, profiles.normal, float(np.median(profiles.blur)))
    if len(facing.turn) < SECTORS_NEEDED:
        return
    ways = harmonics(np.stack([np.cos(facing.turn), np.sin(facing.turn)], axis=1), ORDERS)
    for shade_px in (None, SHADE_PX):
        share, band = smooth_light(first_band(facing, limits, shade_px), ways)
        if not band.weight.any():
            continue
        turn = np.arctan2(profiles.normal[:, 1], profiles.normal[:, 0])
        kept = band.weight > 0
        move = np.interp(turn, facing.turn[kept], band.move[kept], period=2 * pi)
        yield state(replace(none, width_px=band.width_px, share=share), band.sharper, move)


def _settle(
    profiles: Profiles,
    shape: EdgeShape,
    state: _State,
    limits: tuple[float, float],
    turns: int,
    held: float = 0.0,
) -> tuple[_State, float]:
    """Fit a band from a start; the mean square residual tells how well."""
    terms = state.bevel.frame.terms(profiles.xy)
    bases = (
        harmonics(profiles.normal, state.bevel.orders), terms[:, 1:],
        harmonics(profiles.normal, SHADE_ORDERS), np.ones((len(terms), 1)), terms,
    )  # fmt: skip
    for turn in range(turns):
        damping = held + (0.3 if turn < 3 else 0.02)
        state, residual = _better(profiles, shape, state, bases, limits, damping)
    return state, residual


def _better(
    profiles: Profiles,
    shape: EdgeShape,
    state: _State,
    bases: tuple[Floats, ...],
    limits: tuple[float, float],
    damping: float,
) -> tuple[_State, float]:
    """One step of Gauss and Newton, each sample's own place eliminated."""
    residual, by_place, rates, levels = _rates(profiles, shape, state)
    gain = np.maximum((by_place**2).sum(axis=1), 1e-12)
    without_place = [
        v - by_place * ((by_place * v).sum(axis=1) / gain)[:, None] for v in (*rates, residual)
    ]
    left = without_place[-1]
    own = (left**2).mean(axis=1)
    usual = own < 9 * np.median(own)
    shared = np.stack(without_place[:-1])
    products = np.einsum("ank,bnk->abn", shared, shared) * usual
    right = np.einsum("ank,nk->an", shared, left) * usual
    normal = np.block(
        [[a.T @ (products[i, j][:, None] * b) for j, b in enumerate(bases)]
         for i, a in enumerate(bases)]
    )  # fmt: skip
    expected = _EXPECTED[: len(state.bevel.share)]
    normal[np.diag_indices(len(expected))] += float(own[usual].mean()) / expected**2
    normal += np.diag(damping * np.diag(normal) + 1e-9 * np.trace(normal))
    change = np.linalg.solve(
        normal, np.concatenate([b.T @ r for b, r in zip(bases, right, strict=True)])
    )
    changes = np.split(change, np.cumsum([b.shape[1] for b in bases])[:-1])
    light, lighting, shade, width, spread = changes
    moved = sum(g * (b @ c)[:, None] for g, b, c in zip(rates, bases, changes, strict=True))
    place = np.clip((by_place * (residual - moved)).sum(axis=1) / gain, -1, 1)
    bevel = replace(
        state.bevel,
        width_px=float(np.clip(state.bevel.width_px + np.clip(width[0], -0.7, 0.7), *limits)),
        share=state.bevel.share + light,
        lighting=state.bevel.lighting + lighting,
        shade=state.bevel.shade + shade,
    )
    spread = state.spread + spread
    place = np.clip(state.place + place, *PLACES_PX)
    after = _State(bevel, spread, place, _blur(bases[-1], spread), levels)
    return after, float(own[usual].mean())


_EXPECTED = np.concatenate([[1e6], np.repeat(SMOOTH / np.arange(1, ALL_ORDERS + 1) ** 2, 2)])


def _rates(
    profiles: Profiles, shape: EdgeShape, state: _State
) -> tuple[Floats, Floats, tuple[Floats, ...], Floats]:
    """Residuals, how the profiles change with place and with all that is shared, and levels."""
    at = replace(profiles, place=state.place, blur=state.blur)
    look = broken_step(at, shape, state.bevel, state.levels)
    levels = levels_beside(profiles, look.step)
    rise = (levels[1] - levels[0])[:, None]
    residual = profiles.grey - levels[0][:, None] - rise * look.step
    per_blur = rise / state.blur[:, None]
    by_place = -per_blur * profiles.cosine[:, None] * look.both
    by_blur = -per_blur * (
        look.both * from_edge(at) + look.inner * (state.bevel.width_px / state.blur)[:, None]
    )
    # The band's light counts from the typical levels, the step from those beside the sample.
    by_light = rise * look.lit / rise_of(*state.bevel.beside(state.levels, shape))[:, None]
    by_share, by_lighting = state.bevel.rates(profiles.normal, profiles.xy)
    shared = (
        by_light * by_share[:, None], by_light * by_lighting[:, None], rise * look.shaded,
        per_blur * look.inner, by_blur,
    )  # fmt: skip
    return residual, by_place, shared, levels


def _blur(terms: Floats, spread: Floats) -> Floats:
    return np.clip(terms @ spread, 0.35, 8.0)
