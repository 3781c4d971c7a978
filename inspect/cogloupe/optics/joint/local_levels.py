"""Light beside the edges as it is here and there, and each edge's own place.

What is shared along an outline is corrected by what stretches of it say, long ones first. Each
correction is drawn towards none by as much as chance explains what such stretches say (empirical
Bayes), so that even light costs nothing and uneven light is followed. Last, every profile has
levels of its own, within what neighbours usually differ by, so that tool marks that cross the edge
do not move it.
"""

from dataclasses import dataclass, replace

import numpy as np

from cogloupe.numerics.moving_average import along, by_piece, running_mean
from cogloupe.optics.joint.joint_fit import FURTHEST_PX, Shared, State, drawn, trust
from cogloupe.optics.joint.profiles import Profiles
from cogloupe.optics.normal_equations import applied, inverses, products
from cogloupe_calibration.arrays import Bools, Floats, Reals
from cogloupe_calibration.robust import median

SCALES = ((40, 3), (12, 3), (4, 3), (4, 1))
"""Samples of a piece of the outline, and pieces that are averaged."""
PLACED_FROM = 36
"""Stretches up to so many samples have places of their own as well."""
BY_CHANCE = 1.5
"""Variance by chance, in its expectation, that is not taken for more than that."""
MOST_CROWDED = 20.0
"""Factor by which neighbours' likeness may raise the chance of a mean."""
STRAY = 9.0
"""Square of a stretch's word, in the middle one, from which it counts no more."""
RESOLVED_BLURS = 2.0
"""Width in blurs from which a band's light can be told from its edge's place, so that stretches
have their own; that of a narrower one only changes smoothly with the way it faces."""
UNTOLD = 1e-9
"""Weight of an unknown that nothing tells, in that of one that is told: far below any noise."""
LOOSE, LOOSE_OWN = 1e-3, 2e-2
"""Ridges, in usual curvatures, under which stretches and single profiles have their first say."""
LEAST_BEYOND, HELD = 1e-3, 1e4
"""Variance beyond chance, in that by chance, that stretches are granted in any case; and the
stiffness, in the largest curvature, of what is not to change."""
LEAST_OWN = 1e-4
"""Variance of levels of single profiles, by that of chance, that they are granted in any case."""
OF_MEDIAN = 2.2
"""Mean of squares of a normal distribution in the median of them."""
FEWEST = 0.3
"""Share of the usual mean square that the noise of a profile is taken to have at least."""


@dataclass(frozen=True, kw_only=True)
class Placed:
    """Profiles with their edges.

    Attributes
    ----------
    out : ndarray, shape (n,)
        How far out of the outline each edge lies, px along the normal.
    u : ndarray, shape (n,)
        Its standard uncertainty from noise and marks.
    levels : ndarray, shape (p, n)
    left : ndarray, shape (k, n)
        What is left of the profiles.
    spent : ndarray, shape (n,)
        Unknowns that each profile spent on levels of its own.
    """

    out: Floats
    u: Floats
    levels: Floats
    left: Reals
    spent: Floats


def follow(profiles: Profiles, shared: Shared, state: State, every: int = 1) -> State:
    """Let levels, and places, follow what stretches of an outline say.

    Parameters
    ----------
    every : int
        One in how many samples of the outline these are.
    """
    before, free = state.free or (0.0,) * len(SCALES), []
    for (stretch, count), earlier in zip(SCALES, before, strict=True):
        length = _length(stretch, every)
        sums, _ = _compared(profiles, shared, state)
        held = _held(state, shared)
        held[-1] = length * count * every > PLACED_FROM
        noise = float(np.mean(sums[-1, -1] / profiles.pixels))
        change, share = _change(sums, noise, held, length, count)
        # What was free once stays spent, however little the next turn changes.
        free.append(1 - (1 - earlier) * (1 - share))
        moved = np.clip(change[-1], -FURTHEST_PX, FURTHEST_PX)
        state = replace(state, levels=state.levels + change[:-1], out=state.out + moved)
    return replace(state, free=tuple(free))


def _length(stretch: int, every: int) -> int:
    return max(1, round(stretch / every))


def place(
    profiles: Profiles, shared: Shared, state: State, own: bool = True, every: int = 1
) -> Placed:
    """Place every edge by its own profile.

    Parameters
    ----------
    own : bool
        Whether a profile may have levels of its own, too.
    every : int
        One in how many samples of the outline these are.
    """
    sums, values = _compared(profiles, shared, state, weighed=False)
    pixels, square = profiles.pixels, sums[-1, -1]
    if own:
        held = _held(state, shared)
        held[-1] = False
        found, spread, spent = _own_levels(sums, square / pixels, held)
    else:
        spent = np.zeros(len(profiles))
        spread = 1 / np.maximum(sums[-2, -2], 1e-30)
        found = np.zeros((len(sums) - 1, len(profiles)))
        found[-1] = spread * sums[-2, -1]
    left = values[-1].copy()
    for value, amount in zip(values[:-1], found.astype(np.float32), strict=True):
        left -= value * amount
    spare = np.maximum(pixels - 1.0 - spent, 1.0)
    rest = np.einsum("kn,kn->n", left, left) / spare
    # Where light is even, what differs from profile to profile is what a file rounds, and little of
    # that says how far an edge is off.
    noise = _own_noise(rest, float(np.mean(2 / spare))) if own else median(rest)
    return Placed(
        out=state.out + np.clip(found[-1], -FURTHEST_PX, FURTHEST_PX),
        u=np.sqrt(spread * noise), levels=state.levels + found[:-1], left=left,
        spent=spent + _spent(state, every),
    )  # fmt: skip


def _spent(state: State, every: int) -> float:
    """Unknowns for each profile that went into levels from stretch to stretch."""
    sizes = [_length(stretch, every) * count for stretch, count in SCALES]
    return sum(
        state.kind.count * free / size for free, size in zip(state.free, sizes, strict=False)
    )


def _own_noise(square: Floats, by_chance: float) -> Floats:
    """Noise of each profile: what it leaves, as far as profiles differ by more than chance.

    `by_chance` is the variance that a mean square has by chance, in its own square.
    """
    usual = median(square)
    seen = float(np.var(np.minimum(square / usual, STRAY)))
    share = max(1 - BY_CHANCE * by_chance / max(seen, 1e-9), 0.0)
    return np.asarray(usual + share * (square - usual))


def _compared(
    profiles: Profiles, shared: Shared, state: State, weighed: bool = True
) -> tuple[Floats, list[Reals]]:
    """Products of columns, change with place, and what is left; and these themselves."""
    now = drawn(profiles, shared, state)
    left = profiles.grey - now.grey(state.levels)
    values = [*now.columns, now.rates(state.levels)[0], left]
    sums = products(values)
    if weighed:
        sums *= trust(left, profiles.pixels)
    return sums, values


def _held(state: State, shared: Shared) -> Bools:
    """Which of the levels, and the place after them, are not to change."""
    held = np.zeros(state.kind.count + 1, bool)
    blur = median(shared.blur(state.spread))
    narrow = state.kind.width_px < RESOLVED_BLURS * blur
    held[-2] = state.kind.banded and (state.kind.held or narrow)
    return held


def _change(
    sums: Floats, noise: float, held: Bools, length: int, count: int
) -> tuple[Floats, float]:
    """What stretches say that levels and places differ by, and how far levels were free to.

    Shape (p + 1, n), and a share.
    """
    unknowns, n = len(sums) - 1, sums.shape[2]
    pieces = by_piece(sums[:-1].reshape(-1, n), length) * length
    near = running_mean(pieces, count) * count
    shaped = near.reshape(unknowns, unknowns + 1, -1)
    normal, pull = shaped[:, :-1], shaped[:, -1]
    own = np.einsum("uun->un", normal)
    noise *= _crowded(np.asarray(pieces.reshape(unknowns, unknowns + 1, -1)), noise, count)
    usual_own = _told(own.mean(axis=1))
    loose = inverses(normal, LOOSE * usual_own[:, None])
    chance = noise * np.median(np.einsum("uun->un", loose), axis=1)
    square = applied(loose, pull) ** 2
    usual = np.minimum(square, STRAY * np.median(square, axis=1)[:, None]).mean(axis=1)
    variance = np.maximum(usual - BY_CHANCE * chance, LEAST_BEYOND * chance)
    stiff = np.where(held, HELD * _told(own.max(axis=1)), noise / variance)
    stiff = np.maximum(stiff, UNTOLD * usual_own)
    inverse = inverses(normal, stiff[:, None])
    free = 1 - stiff * np.einsum("uun->un", inverse).mean(axis=1)
    change = np.asarray(along(applied(inverse, pull), n), np.float64)
    return change, float(free[:-1].mean())


def _told(own: Floats) -> Floats:
    """Weight of each unknown; of one that no pixel tells, as of a band without width, next to none.

    So it stays where it is, and the others can be solved for.
    """
    return np.asarray(np.maximum(own, UNTOLD * max(float(own.max()), 1e-30)))


def _crowded(pieces: Reals, noise: float, count: int) -> float:
    """Factor by which the likeness of neighbours makes means of pieces stray more than by chance.

    Pieces that lie side by side mostly have one light, so what they differ by is their chance.
    """
    if count == 1:
        return 1.0
    pull = pieces[:, -1]
    apart = pull - running_mean(pull, count)
    by_chance = noise * np.einsum("ppn->pn", pieces[:, :-1]).mean(axis=1) * (1 - 1 / count)
    ratio = (apart**2).mean(axis=1) / np.maximum(by_chance, 1e-30)
    return float(np.clip(ratio.max(), 1.0, MOST_CROWDED))


def _own_levels(sums: Floats, square: Floats, held: Bools) -> tuple[Floats, Floats, Floats]:
    """Levels and place of each profile, the place's variance, and unknowns that levels took.

    Shapes (p + 1, n), (n,) and (n,); the variance by that of the profile's noise.
    """
    normal, pull = sums[:-1, :-1], sums[:-1, -1]
    own = _told(np.median(np.einsum("uun->un", normal), axis=1))[:, None]
    loose = inverses(normal, LOOSE_OWN * own)
    # What chance alone says: the inverse, less what the ridge holds back of it.
    chance = np.einsum("uun->un", loose) - applied(
        loose**2, LOOSE_OWN * np.broadcast_to(own, pull.shape)
    )
    middle = np.median(chance * square, axis=1)
    word = applied(loose, pull) ** 2
    variance = np.maximum(OF_MEDIAN * np.median(word, axis=1) - 2 * middle, LEAST_OWN * middle)
    noise = np.maximum(square, FEWEST * median(square))
    # A level that no pixel tells has no variance either.
    stiff = noise / np.maximum(variance, 1e-30)[:, None]
    stiff = np.where(held[:, None], HELD * own, np.clip(stiff, UNTOLD * own, HELD * own))
    # A profile without any light between its two sides tells no place.
    stiff[-1] = UNTOLD * own[-1]
    inverse = inverses(normal, stiff)
    free = 1 - (stiff * np.einsum("uun->un", inverse))[:-1]
    spread = inverse[-1, -1]
    return (
        applied(inverse, pull),
        np.where(spread > 0, spread, np.inf),
        np.asarray(free.sum(axis=0), np.float64),
    )
