"""Fit a band along an outline, and a shadow beside it, and tell whether they are there.

Ground, shadow, band and face are fitted together, to all samples at once: the band's width belongs
to the gear, its light changes smoothly with the way it faces, the shadow falls to one side by the
gear's height, lighting and blur change smoothly over the frame, and each sample has its own place.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import pi, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe.optics.bevel import (
    NARROWEST_PX,
    NO_BEVEL,
    SOFT_PX,
    Bevel,
    Frame,
    Profiles,
    from_edge,
    harmonics,
    levels_beside,
    single_steps,
    steps_with,
    weighed,
)
from cogloupe.optics.bevel_start import by_facing, first_band, smooth_light
from cogloupe.optics.levels import taken_up
from cogloupe.optics.misfit import PARTS
from cogloupe.optics.response import BrokenStep
from cogloupe.optics.running import dot
from cogloupe.robust import median

Floats = NDArray[np.floating[Any]]
Bools = NDArray[np.bool_]

ORDERS, ALL_ORDERS = 3, 8
"""Harmonics of the direction that a band's brightness may have, while it is looked for and when
all of the outline tells it. A matt surface needs one (Lambert's cosine law), several lamps or a
shine more (common practice, no source)."""
SMOOTH = 0.3
"""Standard deviation expected of the first harmonic of a band's light; those of order n are n^2
times smaller, as the harmonics of any line without steps are."""
MOST_LIKE_GROUND = 0.7
"""Mean light of a band, 1 being that of the ground, from which it is none."""
FIRST_WIDTHS_PX = (2.5, 6.0)
WIDEST_SHARE = 0.6
"""A band may fill this share of the profiles inside the edge."""
FURTHEST_IN_PX, FURTHEST_OUT_PX = -4.0, 3.0
"""How far in of a single step an edge may lie, and how far out of it beyond the widest band."""
SINGLE_PX = (-8.0, 2.5)
"""Where a single edge beside a shadow may lie: a deep shadow's border passes for the edge."""
SHADES, SOFTS_PX, FURTHEST_PX = (0.0, 0.95), (1.0, 12.0), 15.0
"""Shadows that may be: the light they take, how soft they are, and how far they are moved."""
FIRST_SHADE = 0.05
SHADE_SIZE, FALL_PX, SOFT_SPREAD_PX = 0.3, 4.0, 1.5
"""Standard deviations expected of a shadow's light, of how far it is moved, and of its softness
about `SOFT_PX`: as far as a bevel of a tenth of a module is high (common practice, no source)."""
FIRST_TURNS, TURNS, SHADOW_TURNS = 7, 11, 20
WORSE, STIFFER = 1.02, 10.0
"""Factor of the misfit from which a step went too far, and that of the damping then."""
LEAST_TURNS, SETTLED = 3, 1e-3
"""A fit ends when a turn brings the misfit down by less than this share."""
SECTORS_NEEDED = 8
HALVES, HALF_TURNS, PLACE_TURNS = 4, 7, 4
"""Stretches of an outline that each half has, turns that its fit takes, and that places take."""
PART_LIMIT = 3.0
"""A sample's word counts for no more than this many times the usual misfit: dirt has no say."""
SURE_OF_SHADE = 1.0
"""Standard errors by which a shadow beside a band must help: rendered ones help by 1.3 to 8, others
by less than 0.2."""
LEAST_SPREAD = 0.1
"""Spread of the parts' words, in usual misfits, where they hardly differ."""
FREE, UNSHADED = np.zeros(7), np.array([0, 0, 1e9, 1e9, 1e9, 0, 0])
"""Damping of what samples share, the band's light, lighting, a shadow's light, fall and softness,
width, and blur: nothing held, and no shadow."""
NO_WIDTH = (0.0, 0.0)


@dataclass(frozen=True)
class _State:
    """Where the fit stands."""

    bevel: Bevel
    place: Floats


def _at(profiles: Profiles, state: _State) -> Profiles:
    """Profiles placed and blurred as the fit has them."""
    return replace(profiles, place=state.place, blur=state.bevel.blur(profiles.xy))


def find_bevel(profiles: Profiles) -> tuple[Bevel, Profiles]:
    """Find the band along an outline that explains its profiles best.

    Parameters
    ----------
    profiles : Profiles
        Placed by single steps.

    Returns
    -------
    Bevel
        Whether it is there is for `settle_bevel` to tell.
    Profiles
        The same, placed and blurred by the two-edge step: `place` is the outer edge.
    """
    profiles = weighed(profiles)
    frame = Frame.about(profiles.xy)
    limits = _limits(profiles)
    starts = _starts(profiles, frame, limits)
    tried = [_settle(profiles, start, limits, FIRST_TURNS) for start in starts]
    # What looks like the ground all round is ground, or a shadow on it.
    tried = [end for end in tried if end[0].bevel.share[0] < MOST_LIKE_GROUND] or tried
    best, _ = min(tried, key=lambda end: end[1])
    state, _ = _settle(profiles, best, limits, TURNS)
    return state.bevel, _at(profiles, state)


def find_shadow(profiles: Profiles) -> tuple[Bevel, Profiles]:
    """Find the shadow beside a single edge that explains its profiles best.

    Parameters
    ----------
    profiles : Profiles
        Placed by single steps.

    Returns
    -------
    Bevel
        Of no width. Whether the shadow is there is for `settle_bevel` to tell.
    Profiles
        The same, placed and blurred by the step with the shadow.
    """
    profiles = weighed(profiles)
    levels = levels_beside(profiles, single_steps(profiles)).levels
    none = _no_band(profiles, levels, Frame.about(profiles.xy), 0)
    spread = np.linalg.lstsq(none.frame.terms(profiles.xy), profiles.blur, rcond=None)[0]
    start = _State(replace(none, spread=spread), profiles.place)
    state, _ = _settle(profiles, start, NO_WIDTH, SHADOW_TURNS)
    return state.bevel, _at(profiles, state)


def shadow_without_band(profiles: Profiles, bevel: Bevel) -> tuple[Bevel, Profiles]:
    """Fit the shadow beside a single edge, from where a band with a shadow ended.

    A shadow that is deep or wide takes single edges so far off that `find_shadow` does not come
    back from there; a band as bright as the face bridges the way.

    Parameters
    ----------
    profiles : Profiles
        Placed by the two-edge step.
    bevel : Bevel
        The band.

    Returns
    -------
    Bevel
        Of no width.
    Profiles
        The same, placed and blurred by the step with the shadow.
    """
    bare = replace(bevel, width_px=0.0, share=np.zeros(1))
    profiles = weighed(profiles, bare)
    state, _ = _settle(profiles, _State(bare, profiles.place), NO_WIDTH, SHADOW_TURNS)
    return state.bevel, _at(profiles, state)


def settle_bevel(profiles: Profiles, bevel: Bevel) -> tuple[Bevel, float, float]:
    """Fit a band that was found on part of an outline to all of it, and see if it is there.

    Parameters
    ----------
    profiles : Profiles
        Placed by the two-edge step.
    bevel : Bevel
        A band, or with no width only the shadow beside a single edge.

    Returns
    -------
    Bevel
    gain : float
        By how much less, in usual misfits, the band misses a sample than a single edge (with a
        shadow) does, or the shadow than none: each half of the outline is judged by what the other
        was fitted to, so that neither gains by having more to fit.
    sure : float
        The same in its own standard errors, from parts of the outline.
    """
    banded = bevel.width_px > 0
    if banded:
        more = np.zeros(2 * ALL_ORDERS + 1 - len(bevel.share))
        bevel = replace(bevel, share=np.concatenate([bevel.share, more]))
    profiles = weighed(profiles, bevel)
    limits = _limits(profiles) if banded else NO_WIDTH
    state, _ = _settle(profiles, _State(bevel, profiles.place), limits, TURNS)
    left, u_px = _held_out(profiles, state, limits, FREE)
    if banded and state.bevel.shade > 0:
        start = _State(replace(state.bevel, shade=0.0), state.place)
        plain, _ = _settle(profiles, start, limits, TURNS, UNSHADED)
        other, u_plain = _held_out(profiles, plain, limits, UNSHADED)
        if _gain(other, left)[1] < SURE_OF_SHADE:
            state, left, u_px = plain, other, u_plain
    # Outlines were followed where pixels pass half way, which is where a single edge lies.
    none = replace(NO_BEVEL, frame=bevel.frame, spread=bevel.spread, black=bevel.black)
    single = _State(none, np.full(len(profiles.xy), 0.5))
    one, _ = _held_out(profiles, single, NO_WIDTH, FREE if banded else UNSHADED)
    return replace(state.bevel, u_px=u_px), *_gain(one, left)


def _gain(one: Floats, two: Floats) -> tuple[float, float]:
    """By how much less the second misses samples, in usual misfits and in its standard errors."""
    usual = median(np.minimum(one, two))
    gain = np.clip((one - two) / usual, -PART_LIMIT, PART_LIMIT)
    parts = np.array([part.mean() for part in np.array_split(gain, PARTS)])
    error = max(float(parts.std(ddof=1)), LEAST_SPREAD) / sqrt(PARTS)
    mean = float(parts.mean())
    return mean, mean / error


def _held_out(
    profiles: Profiles, state: _State, limits: tuple[float, float], held: Floats
) -> tuple[Floats, float]:
    """Fit all that is shared to either half of an outline, and judge it by the other.

    Gives the mean square residual of each sample; and the uncertainty of a place from what is
    shared, px: two halves part by twice as much as the whole errs.
    """
    n = len(profiles.xy)
    half = np.arange(n) * 2 * HALVES // n % 2 == 0
    left, places = np.empty(n), []
    for mine in (half, ~half):
        others = _State(state.bevel, state.place[~mine])
        fitted, _ = _settle(profiles.take(~mine), others, limits, HALF_TURNS, held)
        judged, residual = _placed(profiles, _State(fitted.bevel, state.place), limits)
        left[mine] = (residual[mine] ** 2).mean(axis=1)
        places.append(judged.place * profiles.cosine)
    apart = np.minimum((places[1] - places[0]) ** 2, 1.0)
    return left, sqrt(float(apart.mean())) / 2


def _placed(
    profiles: Profiles, state: _State, limits: tuple[float, float]
) -> tuple[_State, Floats]:
    """Find the place of each sample where all that is shared is known; gives what is left, too."""
    for _ in range(PLACE_TURNS):
        laid = _laid(profiles, state)
        move = np.clip(taken_up(laid.by_place, laid.residual), -1, 1)
        state = replace(state, place=np.clip(state.place + move, *_places(limits)))
    return state, _laid(profiles, state).residual


def _limits(profiles: Profiles) -> tuple[float, float]:
    return NARROWEST_PX, WIDEST_SHARE * float(profiles.offsets[-1])


def _places(limits: tuple[float, float]) -> tuple[float, float]:
    if limits == NO_WIDTH:
        return SINGLE_PX
    return FURTHEST_IN_PX, limits[1] + FURTHEST_OUT_PX


def _starts(profiles: Profiles, frame: Frame, limits: tuple[float, float]) -> Iterator[_State]:
    """Bands to begin with: none to speak of, and those that averaged profiles show."""
    levels = levels_beside(profiles, single_steps(profiles)).levels
    none = _no_band(profiles, levels, frame, ORDERS)
    terms = frame.terms(profiles.xy)

    def state(bevel: Bevel, sharper: float, move: Floats | float) -> _State:
        spread = np.linalg.lstsq(terms, sharper * profiles.blur, rcond=None)[0]
        place = np.clip(profiles.place + move / profiles.cosine, *_places(limits))
        return _State(replace(bevel, spread=spread), place)

    for width in FIRST_WIDTHS_PX:
        # A single step takes the band for more blur.
        yield state(replace(none, width_px=width), 0.85, 0.0)
    light = (profiles.grey - levels[0][:, None]) / (levels[1] - levels[0])[:, None]
    distance = (profiles.offsets - profiles.place[:, None]) * profiles.cosine[:, None]
    facing = by_facing(light, distance, profiles.normal, median(profiles.blur))
    if len(facing.turn) < SECTORS_NEEDED:
        return
    ways = harmonics(np.stack([np.cos(facing.turn), np.sin(facing.turn)], axis=1), ORDERS)
    turn = np.arctan2(profiles.normal[:, 1], profiles.normal[:, 0])
    for shade_px in (None, SOFT_PX):
        share, band = smooth_light(first_band(facing, limits, shade_px), ways)
        if not band.weight.any():
            continue
        kept = band.weight > 0
        move = np.interp(turn, facing.turn[kept], band.move[kept], period=2 * pi)
        found = replace(none, width_px=band.width_px, share=share)
        yield state(found, band.sharper, move)
        # A side that looks like the ground may have been taken for one without a band.
        share = _to_the_ground(share)
        hidden = harmonics(profiles.normal, ORDERS) @ share > 0.5
        yield state(replace(found, share=share), band.sharper, hidden * band.width_px)


def _no_band(profiles: Profiles, levels: Floats, frame: Frame, orders: int) -> Bevel:
    """What a fit begins with: lighting and black as the levels show them, and a faint shadow."""
    typical = np.median(levels, axis=1)
    lighting = np.linalg.lstsq(frame.terms(profiles.xy), levels.sum(axis=0), rcond=None)[0]
    return replace(
        NO_BEVEL, share=np.zeros(2 * orders + 1), shade=FIRST_SHADE, frame=frame,
        black=float(-typical[0] / (typical[1] - typical[0])), lighting=lighting[1:] / lighting[0],
    )  # fmt: skip


def _to_the_ground(share: Floats) -> Floats:
    """Light that changes evenly from what the brighter side has to that of the ground."""
    swing = float(np.hypot(*share[1:3]))
    least = float(share[0]) - swing
    even = np.zeros_like(share)
    even[0] = (1 + least) / 2
    even[1:3] = (1 - least) / 2 * share[1:3] / max(swing, 1e-9)
    return even


def _settle(
    profiles: Profiles,
    state: _State,
    limits: tuple[float, float],
    turns: int,
    held: Floats = FREE,
) -> tuple[_State, float]:
    """Fit a band from a start; the mean square residual tells how well."""
    terms = state.bevel.frame.terms(profiles.xy)
    ones = np.ones((len(terms), 1))
    bases = (
        harmonics(profiles.normal, state.bevel.orders), terms[:, 1:],
        ones, profiles.normal, ones, ones, terms,
    )  # fmt: skip
    best, least, more = state, np.inf, 0.0
    for turn in range(turns):
        damping = held + more + (0.3 if turn < 3 else 0.02)
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
    state: _State,
    bases: tuple[Floats, ...],
    limits: tuple[float, float],
    damping: Floats,
) -> tuple[_State, float]:
    """One step of Gauss and Newton, each sample's own place eliminated."""
    laid = _laid(profiles, state)
    residual, by_place, rates = laid.residual, laid.by_place, _rates(profiles, state, laid)
    without_place = [v - by_place * taken_up(by_place, v)[:, None] for v in (*rates, residual)]
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
    place = np.clip(taken_up(by_place, residual - moved), -1, 1)
    bevel = replace(
        state.bevel,
        width_px=float(np.clip(state.bevel.width_px + np.clip(width[0], -0.7, 0.7), *limits)),
        share=state.bevel.share + light,
        lighting=state.bevel.lighting + lighting,
        shade=float(np.clip(state.bevel.shade + np.clip(shade[0], -0.2, 0.2), *SHADES)),
        fall=np.clip(state.bevel.fall + np.clip(fall, -1, 1), -FURTHEST_PX, FURTHEST_PX),
        soft_px=float(np.clip(state.bevel.soft_px + np.clip(soft[0], -1, 1), *SOFTS_PX)),
        spread=state.bevel.spread + spread,
    )
    place = np.clip(state.place + place, *_places(limits))
    return _State(bevel, place), float(own[usual].mean())


def _normal(shared: Sequence[Floats], bases: tuple[Floats, ...], usual: Bools) -> Floats:
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


def _from_expected(bevel: Bevel) -> tuple[Floats, Floats]:
    """How far a shadow is from what is expected, and the standard deviation of that."""
    off = np.array([bevel.shade, *bevel.fall, bevel.soft_px - SOFT_PX])
    return off, np.array([SHADE_SIZE, FALL_PX, FALL_PX, SOFT_SPREAD_PX])


def _alike(pulls: Floats, noise: float, normal: Floats) -> float:
    """How many times more than by chance neighbours pull the light of the band the same way.

    Marks reach over many samples and pixels, which then tell less than so many would by
    themselves: the spread of what parts of an outline pull (a cluster-robust variance).
    """
    parts = np.add.reduceat(pulls, np.arange(PARTS) * len(pulls) // PARTS)
    by_chance = noise * np.trace(normal[: pulls.shape[1], : pulls.shape[1]])
    return float(max((parts**2).sum() / max(by_chance, 1e-12), 1.0))


_EXPECTED = np.concatenate([[1e6], np.repeat(SMOOTH / np.arange(1, ALL_ORDERS + 1) ** 2, 2)])


@dataclass(frozen=True)
class _Laid:
    """Steps laid against profiles: what they leave, and its change with place, both weighed."""

    unit: BrokenStep
    rise: Floats
    distance: Floats
    blur: Floats
    residual: Floats
    by_place: Floats


def _laid(profiles: Profiles, state: _State) -> _Laid:
    at = _at(profiles, state)
    unit = steps_with(at, state.bevel)
    found = levels_beside(profiles, unit)
    per_px = (-found.rise * profiles.cosine / at.blur).astype(np.float32)
    return _Laid(
        unit, found.rise[:, None], from_edge(at), at.blur.astype(np.float32)[:, None],
        profiles.weight * (profiles.grey - found.grey),
        profiles.weight * per_px[:, None] * unit.both,
    )  # fmt: skip


def _rates(profiles: Profiles, state: _State, laid: _Laid) -> tuple[Floats, ...]:
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
