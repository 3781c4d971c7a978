"""Fit a band along an outline, and a shadow beside it, and tell whether they are there.

Ground, shadow, band and face are fitted together, to all samples at once: the band's width belongs
to the gear, its light changes smoothly with the way it faces, the shadow falls to one side by the
gear's height, lighting and blur change smoothly over the frame, and each sample has its own place.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import pi, sqrt

import numpy as np

from cogloupe.optics.bevel import (
    NARROWEST_PX,
    NO_BEVEL,
    SOFT_PX,
    Bevel,
    Frame,
    Profiles,
    harmonics,
    levels_beside,
    single_steps,
    weighed,
)
from cogloupe.optics.bevel_gauss_newton import (
    ALL_ORDERS,
    FREE,
    NO_WIDTH,
    State,
    place_all,
    place_limits,
    settle,
)
from cogloupe.optics.bevel_start import by_facing, first_band, smooth_light
from cogloupe.optics.misfit import PARTS
from cogloupe_calibration.arrays import Ints, Reals
from cogloupe_calibration.robust import median

ORDERS = 3
"""Harmonics of the direction that a band's brightness may have while it is looked for. A matt
surface needs one (Lambert's cosine law), several lamps or a shine more (common practice, no
source)."""
MOST_LIKE_GROUND = 0.7
"""Mean light of a band, 1 being that of the ground, from which it may be a shadow on the ground
beside a darker gear."""
FIRST_WIDTHS_PX = (2.5, 6.0)
"""Widths that are begun with beside those that averaged profiles show, a narrow and a wide one (our
own judgement)."""
WIDEST_SHARE = 0.6
"""A band may fill this share of the profiles inside the edge."""
FIRST_SHADE = 0.05
"""Light that a shadow is begun with: where there is none its softness and fall need a slope."""
FIRST_TURNS, TURNS, SHADOW_TURNS = 7, 11, 20
"""Gauss-Newton turns to choose among beginnings, to end the best, and for a shadow, whose places
follow slowly; at most, as a fit ends by `SETTLED`."""
FEW = 3
"""One in how many samples beginnings are fitted to: a few hundred tell them apart."""
RIVAL, SAME_PX = 1.1, 0.1
"""Factor of the least misfit up to which another one is carried on as well; and how far apart edges
lie on the mean, px, where it is another one."""
SECTORS_NEEDED = 8
"""Ways of facing that `ORDERS` harmonics need, 7 numbers, and one to spare."""
HALVES, HALF_TURNS = 4, 7
"""Stretches of an outline that each half has, and turns that its fit takes."""
PART_LIMIT = 3.0
"""A sample's word counts for no more than this many times the usual misfit: dirt has no say."""
SURE_OF_SHADE = 1.0
"""Standard errors by which a shadow beside a band must help: rendered ones help by 1.3 to 8, others
by less than 0.2."""
LEAST_SPREAD = 0.1
"""Spread of the parts' words, in usual misfits, where they hardly differ."""
UNSHADED = np.array([0, 0, 1e9, 1e9, 1e9, 0, 0])
"""Damping, as of `bevel_gauss_newton.FREE`, that holds a shadow where it is: no shadow."""


def find_bevel(profiles: Profiles, brightness: bool) -> tuple[Bevel, Profiles]:
    """Find the band along an outline that explains its profiles best.

    Parameters
    ----------
    profiles : Profiles
        Placed by single steps.
    brightness : bool
        Of brightness, and not of another mixture of colours.

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
    few = np.arange(0, len(profiles.xy), FEW)
    part = profiles.take(few)
    tried = [
        _Run(start, *settle(part, replace(start, place=start.place[few]), limits, FIRST_TURNS))
        for start in _starts(profiles, frame, limits)
    ]
    # What looks like the ground all round is ground, or a shadow on it.
    tried = [run for run in tried if not like_ground(run.end.bevel, brightness)] or tried
    ends = [settle(profiles, run.on_all(few), limits, TURNS) for run in _rivals(tried)]
    state, _ = min(ends, key=lambda end: end[1])
    return state.bevel, state.of(profiles)


@dataclass(frozen=True)
class _Run:
    """A start for all samples, and where a fit to few of them ended, and what it left."""

    start: State
    end: State
    left: float

    def apart(self, other: "_Run") -> float:
        """How far apart two ends put the edges, on the mean, px."""
        return float(np.mean(np.abs(self.end.place - other.end.place)))

    def on_all(self, few: Ints) -> State:
        """Give the other samples places between those of the few."""
        start = self.start.place
        moved = np.interp(np.arange(len(start)), few, self.end.place - start[few])
        return State(self.end.bevel, start + moved)


def _rivals(runs: list[_Run]) -> list[_Run]:
    """The run that left least, and the next as good but for chance that put the edges elsewhere."""
    best, *others = sorted(runs, key=lambda run: run.left)
    rivals = [run for run in others if run.left < RIVAL * best.left and run.apart(best) > SAME_PX]
    return [best, *rivals[:1]]


def like_ground(bevel: Bevel, brightness: bool) -> bool:
    """Tell whether a band may be the ground itself, or a shadow on it.

    A shadow takes light away, so beside a gear that is brighter than the ground it makes the ground
    less like the gear; what is brighter than that ground is a part of the gear. That is so of
    brightness: a shadow may have a colour of its own.
    """
    bright_gear = brightness and bevel.darkness > 0
    return float(bevel.share[0]) > (1.0 if bright_gear else MOST_LIKE_GROUND)


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
    start = State(replace(none, spread=spread), profiles.place)
    state, _ = settle(profiles, start, NO_WIDTH, SHADOW_TURNS)
    return state.bevel, state.of(profiles)


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
    state, _ = settle(profiles, State(bare, profiles.place), NO_WIDTH, SHADOW_TURNS)
    return state.bevel, state.of(profiles)


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
    state, _ = settle(profiles, State(bevel, profiles.place), limits, TURNS)
    left, u_px = _held_out(profiles, state, limits, FREE)
    if banded and state.bevel.shade > 0:
        start = State(replace(state.bevel, shade=0.0), state.place)
        plain, _ = settle(profiles, start, limits, TURNS, UNSHADED)
        other, u_plain = _held_out(profiles, plain, limits, UNSHADED)
        if _gain(other, left)[1] < SURE_OF_SHADE:
            state, left, u_px = plain, other, u_plain
    # Outlines were followed where pixels pass half way, which is where a single edge lies.
    none = replace(NO_BEVEL, frame=bevel.frame, spread=bevel.spread, black=bevel.black)
    single = State(none, np.full(len(profiles.xy), 0.5))
    one, _ = _held_out(profiles, single, NO_WIDTH, FREE if banded else UNSHADED)
    return replace(state.bevel, u_px=u_px), *_gain(one, left)


def _gain(one: Reals, two: Reals) -> tuple[float, float]:
    """By how much less the second misses samples, in usual misfits and in its standard errors."""
    usual = median(np.minimum(one, two))
    gain = np.clip((one - two) / usual, -PART_LIMIT, PART_LIMIT)
    parts = np.array([part.mean() for part in np.array_split(gain, PARTS)])
    error = max(float(parts.std(ddof=1)), LEAST_SPREAD) / sqrt(PARTS)
    mean = float(parts.mean())
    return mean, mean / error


def _held_out(
    profiles: Profiles, state: State, limits: tuple[float, float], held: Reals
) -> tuple[Reals, float]:
    """Fit all that is shared to either half of an outline, and judge it by the other.

    Gives the mean square residual of each sample; and the uncertainty of a place from what is
    shared, px: two halves part by twice as much as the whole errs.
    """
    n = len(profiles.xy)
    half = np.arange(n) * 2 * HALVES // n % 2 == 0
    left, places = np.empty(n), []
    for mine in (half, ~half):
        others = State(state.bevel, state.place[~mine])
        fitted, _ = settle(profiles.take(~mine), others, limits, HALF_TURNS, held)
        judged, residual = place_all(profiles, State(fitted.bevel, state.place), limits)
        left[mine] = (residual[mine] ** 2).mean(axis=1)
        places.append(judged.place * profiles.cosine)
    apart = np.minimum((places[1] - places[0]) ** 2, 1.0)
    return left, sqrt(float(apart.mean())) / 2


def _limits(profiles: Profiles) -> tuple[float, float]:
    return NARROWEST_PX, WIDEST_SHARE * float(profiles.offsets[-1])


def _starts(profiles: Profiles, frame: Frame, limits: tuple[float, float]) -> Iterator[State]:
    """Bands to begin with: none to speak of, and those that averaged profiles show."""
    levels = levels_beside(profiles, single_steps(profiles)).levels
    none = _no_band(profiles, levels, frame, ORDERS)
    terms = frame.terms(profiles.xy)

    def state(bevel: Bevel, sharper: float, move: Reals | float) -> State:
        spread = np.linalg.lstsq(terms, sharper * profiles.blur, rcond=None)[0]
        place = np.clip(profiles.place + move / profiles.cosine, *place_limits(limits))
        return State(replace(bevel, spread=spread), place)

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


def _no_band(profiles: Profiles, levels: Reals, frame: Frame, orders: int) -> Bevel:
    """What a fit begins with: lighting and black as the levels show them, and a faint shadow."""
    typical = np.median(levels, axis=1)
    lighting = np.linalg.lstsq(frame.terms(profiles.xy), levels.sum(axis=0), rcond=None)[0]
    return replace(
        NO_BEVEL, share=np.zeros(2 * orders + 1), shade=FIRST_SHADE, frame=frame,
        black=float(-typical[0] / (typical[1] - typical[0])), lighting=lighting[1:] / lighting[0],
    )  # fmt: skip


def _to_the_ground(share: Reals) -> Reals:
    """Light that changes evenly from what the brighter side has to that of the ground."""
    swing = float(np.hypot(*share[1:3]))
    least = float(share[0]) - swing
    even = np.zeros_like(share)
    even[0] = (1 + least) / 2
    even[1:3] = (1 - least) / 2 * share[1:3] / max(swing, 1e-9)
    return even
