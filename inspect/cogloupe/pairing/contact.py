"""Where the flanks of two gears touch: a contact function for every pair of flanks of a side.

Frame: as in `running_gear`, so that one side's flanks of both gears meet with their material at
smaller angles. Gear A stands at the origin, B at (a, 0). A turns forward, which drives B back.
Angles about B are counted from the line of centres. Lengths mm, angles rad.

A point of A's flank is laid where A has turned it; its angle about B, unwound by the form of B's
flank, tells how far B may turn forward until they touch. The least of that along the flank is what
the pair leaves free: a plain minimum within the flanks (line contact), and where that would lie
beyond a tip, what the corner of the tip leaves.
"""

from dataclasses import dataclass, replace

import numpy as np

from cogloupe.pairing.running_gear import RunningGear
from cogloupe_calibration.arrays import Bools, Floats, Ints

PHASES = 48
"""Places in a pitch at which contact is worked out. Between two of them a tip's corner runs along
a parabola that differs from its chord by under 0.05 µm up to a module of 1."""
BLOCKS = 3
"""Pitches over which a pair is followed: one in the middle and one to each side."""
WINDOW_MODULES = 0.36
"""Stretch of flank to either side of the ideal contact in which the real one is looked for: a slope
of 1 in 30 moves the contact by less."""
WINDOW_POINTS = {"involute": 13, "cycloidal": 41}
"""Points on it; a cycloid bends sharply at the pitch circle."""
FINE = 600
"""Points on the ideal flank on which the ideal contact is looked for."""
AT_ONCE = 150_000
"""Values that are worked out at a time: they stay in the processor's own memory."""
TURNED = 1e-3
"""Turn of A, rad, by which the growth of figures with it is told."""
REACH_MODULES = 0.1
"""Ideal pairs further from touching than this come to touch by no error that is believed."""


@dataclass(frozen=True, kw_only=True)
class Contacts:
    """Contact functions of one side's flanks at one centre distance.

    Places run over blocks and phases: A's tooth stands ``block - 1 + (phase + 1/2) / phases - 1/2``
    pitches past the line of centres.

    Attributes
    ----------
    lead : ndarray, shape (z_a, BLOCKS, phases, z_b)
        Angle of B by which tooth k of A and tooth j of B drive it ahead of the ideal pair in
        line contact; -inf where they cannot touch, NaN where a flank was not seen.
    ratio : ndarray, shape (z_a, z_b)
        Pitches over which each pair is in line contact; NaN where a flank was not seen.
    play : float
        Angle of B that the ideal pair leaves on this side when a gap of B stands on the line of
        centres.
    near : ndarray, shape (BLOCKS, phases), bool
        Places where pairs can touch.
    met : ndarray, shape (2, BLOCKS, phases)
        Lengths on A's and B's flank where the ideal pair touches.
    """

    lead: Floats
    ratio: Floats
    play: float
    near: Bools
    met: Floats


@dataclass(frozen=True, kw_only=True)
class _Side:
    """One side's flanks of a pair, and where on A's flank contact is looked for.

    Attributes
    ----------
    off_a, off_b : ndarray, shape (z_a, n), (n, z_b)
        Angles by which the flanks stand out.
    tip_a, tip_b : ndarray, shape (z,)
        Lengths on A's flanks where its tips end them, and radii of B's tips.
    turned : ndarray, shape (q,)
        Angle of A's flank past the line of centres at every place.
    length : ndarray, shape (q, points)
        Stretch of A's flank that is looked at there.
    corner : ndarray, shape (2, q, z_b)
        Length on A's ideal flank where each tip of B passes, and its growth as A turns.
    own_corner : ndarray, shape (z_a, q), (z_a, q)
        What the corners of A's tips leave an ideal flank of B, and their distance from its axis.
    """

    a: RunningGear
    b: RunningGear
    centre: float
    off_a: Floats
    off_b: Floats
    tip_a: Floats
    tip_b: Floats
    turned: Floats
    length: Floats
    corner: Floats
    own_corner: tuple[Floats, Floats]

    def seen(self, turned: Floats, length: Floats) -> tuple[Floats, Floats]:
        """What points of A's flank leave B free, and their distance from B's axis."""
        radius = np.interp(length, self.a.along, self.a.radius)
        return seen_from_mate(self.a, self.b, self.centre, turned, radius)


def seen_from_mate(
    a: RunningGear, b: RunningGear, centre_mm: float, turned: Floats, radius: Floats
) -> tuple[Floats, Floats]:
    """Points of A's flank as B sees them.

    Parameters
    ----------
    turned : ndarray
        Angle of A's flank, unwound, past the line of centres.
    radius : ndarray
        Radii of the points about A.

    Returns
    -------
    free : ndarray
        Angle of B's flank, unwound, at which it passes through the point.
    distance : ndarray
        Of the point from B's axis.
    """
    angle = turned - a.wheel.flank.turn(radius)
    x, y = radius * np.cos(angle) - centre_mm, radius * np.sin(angle)
    distance = np.hypot(x, y)
    return np.arctan2(-y, -x) + b.wheel.flank.turn(distance), distance


def places(gear: RunningGear, phases: int = PHASES) -> Floats:
    """How far past the line of centres a tooth stands at every place.

    Parameters
    ----------
    phases : int
        Places in a pitch.

    Returns
    -------
    ndarray, shape (BLOCKS, phases)
        Rad.
    """
    block = np.arange(BLOCKS)[:, None] - BLOCKS // 2
    return np.asarray(gear.pitch * (block + (np.arange(phases) + 0.5) / phases - 0.5))


def contacts(
    a: RunningGear, b: RunningGear, side: int, centre_mm: float, phases: int = PHASES
) -> Contacts:
    """Work out the contact functions of all pairs of one side's flanks.

    Parameters
    ----------
    a, b : RunningGear
        Of one form and size.
    side : {0, 1}
        Left or right flanks.
    phases : int
        Places in a pitch; fewer do where only the least of many is wanted.
    """
    turned = a.half[side] + places(a, phases).ravel()
    met, level = _ideal_contact(a, b, centre_mm, turned)
    ahead = level - b.pitch / a.pitch * turned
    ideal = _side_of(_perfect(a), _perfect(b), 0, centre_mm, turned, met[0])
    reach = REACH_MODULES * b.wheel.module_mm / b.arm
    near = ahead - _some_teeth(ideal, np.zeros(1, np.int64))[0][:, 0, 0] > -reach
    real = _side_of(a, b, side, centre_mm, turned[near], met[0, near])
    lead = np.full((a.teeth, turned.size, b.teeth), -np.inf)
    ratio = np.empty((a.teeth, b.teeth))
    batch = max(AT_ONCE // (real.length.size * b.teeth), 1)
    for first in range(0, a.teeth, batch):
        teeth = np.arange(first, min(first + batch, a.teeth))
        free, within = _some_teeth(real, teeth)
        lead[teeth[:, None], np.flatnonzero(near)] = ahead[near, None] - free.swapaxes(0, 1)
        ratio[teeth] = _positive(within) / phases
    shape = (BLOCKS, phases)
    return Contacts(
        lead=lead.reshape(a.teeth, *shape, b.teeth),
        ratio=ratio,
        play=level - b.pitch / a.pitch * float(a.half[side]) - float(b.half[side]) + b.pitch / 2,
        near=near.reshape(shape),
        met=met.reshape(2, *shape),
    )


def _perfect(gear: RunningGear) -> RunningGear:
    """One tooth without errors, as high as the highest."""
    return replace(gear, off=np.zeros((1, 2, len(gear.along))), tip=gear.tip.max(keepdims=True))


def _ideal_contact(
    a: RunningGear, b: RunningGear, centre: float, turned: Floats
) -> tuple[Floats, float]:
    """Lengths on both ideal flanks where they touch, shape (2, q), and what B has free.

    That is told with A's share of the turning added, in the middle of the line contact; all
    along it involutes leave it the same.
    """
    length = np.linspace(a.along[0], a.along[-1], FINE)
    radius = np.interp(length, a.along, a.radius)
    free, distance = seen_from_mate(a, b, centre, turned[:, None], radius)
    there = (radius <= a.tip.max()) & (distance <= b.tip.max())
    least = np.argmin(np.where(there, free, free + 2 * np.pi), axis=1)
    rows = np.arange(len(turned))
    met = distance[rows, least]
    inner = there[rows, np.maximum(least - 1, 0)] & there[rows, np.minimum(least + 1, FINE - 1)]
    within = np.flatnonzero(inner & (least > 0) & (met > b.form_radius))
    middle = int(within[len(within) // 2]) if len(within) else len(turned) // 2
    level = float(free[middle, least[middle]] + b.pitch / a.pitch * turned[middle])
    return np.stack([length[least], b.wheel.flank.along(met)]), level


def _side_of(
    a: RunningGear, b: RunningGear, side: int, centre: float, turned: Floats, met: Floats
) -> _Side:
    """Lay out where contact is looked for about the ideal one."""
    half, points = WINDOW_MODULES * a.wheel.module_mm, WINDOW_POINTS[a.wheel.flank.name]
    middle = np.clip(met, a.along[0] + half, a.along[-1] - half)
    length = middle[:, None] + np.linspace(-half, half, points)
    tips = a.corners(side), b.corners(side)
    tip = np.interp(tips[0], a.radius, a.along)
    at_tip = [np.interp(end, a.along, off) for end, off in zip(tip, a.off[:, side], strict=True)]
    before, corner, after = (
        _corners(a, tips[1], centre, turned + way * TURNED) for way in (-1, 0, 1)
    )
    return _Side(
        a=a, b=b, centre=centre, off_a=a.off[:, side], off_b=b.off[:, side].T.copy(), tip_a=tip,
        tip_b=tips[1], turned=turned, length=length,
        corner=np.stack([corner, (after - before) / (2 * TURNED)]),
        own_corner=seen_from_mate(
            a, b, centre, turned + np.array(at_tip)[:, None], tips[0][:, None]
        ),
    )  # fmt: skip


def _corners(a: RunningGear, tips: Floats, centre: float, turned: Floats) -> Floats:
    """Length on A's ideal flank at which each tip of B passes; beyond its ends where none does."""
    length = np.linspace(a.along[0], a.along[-1], FINE)
    radius = np.interp(length, a.along, a.radius)
    angle = turned[:, None] - a.wheel.flank.turn(radius)
    distance = np.sqrt(radius**2 + centre**2 - 2 * centre * radius * np.cos(angle))
    nearer = np.minimum.accumulate(distance, axis=1)
    return np.stack([np.interp(tips, row[::-1], length[::-1]) for row in nearer])


def _some_teeth(at: _Side, teeth: Ints) -> tuple[Floats, Floats]:
    """What k teeth of A leave each tooth of B free, and how far within the flanks they touch.

    Both have the shape (q, k, z_b); the second is a length on A's flank, below zero where a corner
    of a tip touches or the contact would lie below the usable flanks.
    """
    off = at.off_a[teeth]
    moved = _along(at.a, off, at.length)
    free, distance = at.seen(at.turned[:, None, None] + moved, at.length[..., None])
    best, least = _lowest(free[..., None] - _off_mate(at, distance))
    step = at.length[0, 1] - at.length[0, 0]
    length = at.length[:, :1, None] + best * step
    corner, tip = _moved_corner(at, off), at.tip_a[teeth][:, None]
    within = np.minimum.reduce(
        [tip - length, length - corner, _own_low(at, distance, best), length - at.a.along[0]]
    )
    least = np.where(length > tip, _own_corner(at, teeth), least)
    early = length < corner
    if early.any():
        least[early] = _mate_corner(at, off, corner)[early]
    least[corner > tip] = np.inf
    return least, within


def _along(gear: RunningGear, off: Floats, length: Floats) -> Floats:
    """Angles that flanks stand out by, shape (k, n), at some lengths, shape (..., k)."""
    index, share = _between(gear.along, length)
    low, high = off.T[index], off.T[index + 1]
    return np.asarray(low + share[..., None] * (high - low))


def _off_mate(at: _Side, distance: Floats) -> Floats:
    """Angle by which B's flanks stand out at distances from B's axis, shape (..., z_b)."""
    index, share = _between(at.b.along, at.b.wheel.flank.along(distance))
    low, high = at.off_b[index], at.off_b[index + 1]
    high = high - low
    high *= share[..., None]
    high += low
    return np.asarray(high)


def _between(grid: Floats, value: Floats) -> tuple[Ints, Floats]:
    """Point of an even grid before each value, and how far on from there to the next it lies."""
    place = np.clip((value - grid[0]) / (grid[1] - grid[0]), 0.0, len(grid) - 1.000001)
    index = np.nan_to_num(place).astype(np.int64)  # of what was not seen the share stays NaN
    return index, place - index


def _lowest(rows: Floats) -> tuple[Floats, Floats]:
    """Where along the second axis values are least, in steps, and the value of a parabola there."""
    least = np.argmin(rows, axis=1)
    middle = np.clip(least, 1, rows.shape[1] - 2)
    first, second, last = np.ogrid[: rows.shape[0], : rows.shape[2], : rows.shape[3]]

    def at(index: Ints) -> Floats:
        return np.asarray(rows[first, index, second, last])

    before, here, after = at(middle - 1), at(middle), at(middle + 1)
    bend = before - 2 * here + after
    with np.errstate(invalid="ignore", divide="ignore"):
        shift = np.where(bend > 0, (before - after) / (2 * bend), 0.0)
        inner = np.abs(shift) <= 1
        value = np.where(inner, here - bend * shift**2 / 2, at(least))
    return np.where(inner, middle + shift, least), value


def _moved_corner(at: _Side, off: Floats) -> Floats:
    """Lengths on real flanks of A at which the tips of B pass: errors turn them a little."""
    place, per_turn = at.corner
    moved = _along(at.a, off, place).swapaxes(1, 2)
    return np.asarray(place[:, None] + per_turn[:, None] * moved)


def _own_low(at: _Side, distance: Floats, best: Floats) -> Floats:
    """How far above the start of B's usable flanks contact lies, as a length of A's."""
    index = np.clip(np.rint(np.nan_to_num(best)).astype(np.int64), 0, distance.shape[1] - 1)
    first, second, _ = np.ogrid[: len(index), : index.shape[1], :1]
    met = distance[first, index, second]
    return np.asarray(at.b.wheel.flank.along(met) - at.b.along[0])


def _own_corner(at: _Side, teeth: Ints) -> Floats:
    """What the corners of tips of A leave each tooth of B free, shape (q, k, z_b)."""
    free, distance = (table[teeth].T for table in at.own_corner)
    return np.asarray(free[..., None] - _off_mate(at, distance))


def _mate_corner(at: _Side, off: Floats, corner: Floats) -> Floats:
    """What the corners of B's tips are left by flanks of A, shape (q, k, z_b)."""
    index, share = _between(at.a.along, corner)
    tooth = np.arange(len(off))[:, None]
    low, high = off[tooth, index], off[tooth, index + 1]
    free, _ = at.seen(at.turned[:, None, None] + low + share * (high - low), corner)
    index, share = _between(at.b.along, at.b.wheel.flank.along(at.tip_b))
    mate = np.arange(len(at.tip_b))
    low, high = at.off_b[index, mate], at.off_b[index + 1, mate]
    return np.asarray(free - (low + share * (high - low)))


def _positive(within: Floats) -> Floats:
    """Steps along the first axis over which values are above zero, parts of a step counted.

    NaN where they are not known.
    """
    before, after = within[:-1], within[1:]
    high = np.maximum(before, after)
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.where(high > 0, high / (high - np.minimum(before, after)), 0.0)
    steps = np.where(np.minimum(before, after) > 0, 1.0, part).sum(axis=0)
    return np.where(np.isnan(within).any(axis=0), np.nan, steps)
