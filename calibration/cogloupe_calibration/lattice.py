"""Number the points of a square lattice from where they lie, strays and gaps among them."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from cogloupe_calibration.arrays import Bools, Floats, Ints

Kinds = NDArray[np.inexact[Any]]
"""Real or complex."""

# A neighbour may lie this share of a spacing off where it is expected.
NEAR_SHARE = 0.2
SEEDS = 6
"""Crosses from which growing begins: one may lie in dirt, hardly all (our own judgement)."""
LONGER_COSTS, SKEW_COSTS = 0.4, 0.3
"""What arms longer than the shortest, and arms aslant, count beside unequal ones: diagonals make a
cross too, 1.4 times as long (weights of our own judgement)."""
# Arms of a square's cross seen at 60 degrees from the face cross at this or more.
LEAST_SINE = 0.45
# Predicted from all others, a point that is on the lattice lies closer.
FILL_SHARE = 0.15
# Points without order grow to some ten by chance; more of them must not be gathered to those.
SURE_LATTICE = 12
# A strip of dirt this many lines wide is bridged.
BRIDGED_LINES = 3
FILL_ROUNDS = 10
"""Rounds of it, at most; each reaches `BRIDGED_LINES` further, until nothing more comes in."""


@dataclass(frozen=True)
class Lattice:
    """Points with their numbers.

    `point` (m,) is which of the given points, `index` (m, 2) its column and row from 0, column to
    row turning clockwise on the picture as x to y; `spacing` is the median distance of neighbours,
    px.
    """

    point: Ints
    index: Ints
    spacing: float

    def __len__(self) -> int:
        """Count the numbered points."""
        return len(self.point)


def grow_lattice(xy: Floats, kind: Kinds | None = None) -> Lattice | None:
    """Number points by growing from a point with four neighbours in a cross.

    The largest that grows from one of a few seeds; None where none does.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Points, px.
    kind : ndarray, shape (n,), complex, optional
        Points of the lattice are of two kinds in turn (corners of a checkerboard are), and those
        of the one point the other way from those of the other nearby: the difference of their
        phases is more than a right angle.
    """
    if len(xy) < 5:
        return None
    kind = np.zeros(len(xy)) if kind is None else kind
    tree = KDTree(xy)
    best: dict[int, tuple[int, int]] = {}
    for seed in _seeds(xy, tree, kind):
        if seed[0] not in best:
            grown = _grown(xy, tree, kind, seed)
            best = max(best, grown, key=len)
    if len(best) < 4:
        return None
    point = np.array(list(best), dtype=np.int64)
    index = np.array(list(best.values()), dtype=np.int64)
    if len(best) >= SURE_LATTICE:
        point, index = _filled(xy, kind, point, index)
    return _tidy(xy, point, index)


def line_distance(xy: Floats, lattice: Lattice) -> Floats:
    """How near, px, the next line of the lattice passes by each of its points (m, 2).

    Less than the distance of neighbours where the lattice is seen aslant; the lattice's spacing
    where no neighbour tells.
    """
    table = np.full((*(lattice.index.max(axis=0) + 3), 2), np.nan)
    i, j = (lattice.index + 1).T
    table[i, j] = xy
    across, down = (
        _shorter(table[i + di, j + dj] - xy, xy - table[i - di, j - dj])
        for di, dj in ((1, 0), (0, 1))
    )
    area = np.abs(across[:, 0] * down[:, 1] - across[:, 1] * down[:, 0])
    near = area / np.maximum(np.hypot(*across.T), np.hypot(*down.T))
    return np.where(np.isfinite(near), near, lattice.spacing)


def held_together(index: Ints) -> Bools:
    """Leave out points that hang on the others by one neighbour or none: strays, most of them.

    Of columns and rows (m, 2), none below 0, those (m,) with two neighbours at least among those
    that are left.
    """
    i, j = (index + 1).T
    table = np.zeros((i.max(initial=0) + 2, j.max(initial=0) + 2), dtype=np.int64)
    table[i, j] = 1
    while True:
        beside = table[i - 1, j] + table[i + 1, j] + table[i, j - 1] + table[i, j + 1]
        loose = (table[i, j] == 1) & (beside < 2)
        if not loose.any():
            return np.asarray(table[i, j] == 1)
        table[i[loose], j[loose]] = 0


def _shorter(first: Floats, second: Floats) -> Floats:
    """The shorter one of each two arms; NaN is longest."""
    lengths = [np.nan_to_num(np.hypot(*arm.T), nan=np.inf) for arm in (first, second)]
    return np.where((lengths[0] <= lengths[1])[:, None], first, second)


def _seeds(xy: Floats, tree: KDTree, kind: Kinds) -> list[tuple[int, Floats, Floats]]:
    """Points whose neighbours best make a cross, straight or aslant, with two arms of it."""
    count = min(9, len(xy))
    _, near = tree.query(xy, k=count)
    arms = xy[near[:, 1:]] - xy[:, None]
    length = np.maximum(np.hypot(arms[..., 0], arms[..., 1]), 1e-9)
    # Diagonals make a cross as well: the shorter wins.
    error = _gap(arms, -arms) / length
    error = error + LONGER_COSTS * length / length.min(axis=1, keepdims=True)
    error = np.where(_other_kind(kind[near[:, 1:]], kind[:, None]), error, np.inf)
    total = error[:, :, None] + error[:, None, :] + SKEW_COSTS * _skew(arms, length)
    pair = np.argmin(total.reshape(len(xy), -1), axis=1)
    first, second = np.divmod(pair, count - 1)
    least = total.reshape(len(xy), -1)[np.arange(len(xy)), pair]
    order = np.argsort(least)
    order = order[np.unique(np.linspace(0, len(order) // 3, SEEDS).astype(int))]
    return [(int(k), arms[k, first[k]], arms[k, second[k]]) for k in order if least[k] < np.inf]


def _skew(arms: Floats, length: Floats) -> Floats:
    """How far every second arm is from the first one turned by a right angle, as a share of it.

    Infinite for arms that are nearly in one line.
    """
    z = arms[..., 0] + 1j * arms[..., 1]
    ratio = z[:, None, :] / np.maximum(length, 1e-9)[:, :, None] ** 2 * np.conj(z)[:, :, None]
    aside = np.abs(ratio.imag) > LEAST_SINE * np.abs(ratio)
    return np.where(aside, np.abs(ratio - 1j * np.sign(ratio.imag)), np.inf)


def _other_kind(a: Kinds, b: Kinds) -> Bools:
    """Whether points can be neighbours: always, where there are no kinds."""
    return np.asarray(np.real(a * np.conj(b)) <= 0)


def _one_kind(kind: Kinds, number: Ints) -> Kinds:
    """Kinds with every second one turned round, so that all of a lattice are alike."""
    return np.asarray(kind * (1 - 2 * (number.sum(axis=-1) % 2)))


def _gap(arms: Floats, wanted: Floats) -> Floats:
    """Distance of the nearest neighbour from each place where one is wanted, (n, k)."""
    off = arms[:, None] - wanted[:, :, None]
    return np.asarray(np.min(np.hypot(off[..., 0], off[..., 1]), axis=-1))


def _grown(
    xy: Floats, tree: KDTree, kind: Kinds, seed: tuple[int, Floats, Floats]
) -> dict[int, tuple[int, int]]:
    """Walk from neighbour to neighbour; every point hands on the arms it was reached by."""
    point, across, down = seed
    index = {point: (0, 0)}
    taken = {(0, 0)}
    arms = {point: np.stack([across, down])}
    queue = deque([point])
    while queue:
        here = queue.popleft()
        steps = np.concatenate([arms[here], -arms[here]])
        reach, found = tree.query(xy[here] + steps)
        for way in range(4):
            there, sign, axis = int(found[way]), 1 - 2 * (way // 2), way % 2
            place = (index[here][0] + sign * (1 - axis), index[here][1] + sign * axis)
            near = reach[way] < NEAR_SHARE * np.hypot(*steps[way])
            alternates = _other_kind(kind[there], kind[here])
            if near and alternates and there not in index and place not in taken:
                index[there] = place
                taken.add(place)
                arms[there] = _updated(arms[here], axis, sign * (xy[there] - xy[here]))
                queue.append(there)
    return index


def _updated(arms: Floats, axis: int, seen: Floats) -> Floats:
    """Arms for the next point: half of what was seen, so that one bad point leads nobody astray."""
    arms = arms.copy()
    change = (seen - arms[axis]) / 2
    arms[axis] += change
    turned = np.array([-change[1], change[0]])
    arms[1 - axis] += turned if axis == 0 else -turned
    return arms


def _filled(xy: Floats, kind: Kinds, point: Ints, index: Ints) -> tuple[Ints, Ints]:
    """Number what was left out behind gaps, by a smooth map from places to numbers."""
    for _ in range(FILL_ROUNDS):
        # A stiff map reaches further over a gap, a bending one follows the lens.
        tried = [_expected(xy, kind, point, index, degree) for degree in (1, 2, 3)]
        more, numbers = max(tried, key=lambda found: len(found[0]))
        if len(more) < 5 or np.array_equal(more, np.sort(point)):
            break
        point, index = more, numbers
    return point, index


def _expected(xy: Floats, kind: Kinds, point: Ints, index: Ints, degree: int) -> tuple[Ints, Ints]:
    """Points that lie where a smooth map of the numbered ones has a whole number."""
    wanted = _smooth_map(xy[point], index, degree)(xy)
    number = np.rint(wanted).astype(np.int64)
    near = np.max(np.abs(wanted - number), axis=1) < FILL_SHARE
    low, high = index.min(axis=0) - BRIDGED_LINES, index.max(axis=0) + BRIDGED_LINES
    near &= np.all((number >= low) & (number <= high), axis=1)
    near &= _other_kind(_one_kind(kind, number), -_one_kind(kind[point], index).sum())
    near = _nearest_only(number, np.abs(wanted - number).sum(axis=1), near)
    return np.flatnonzero(near), number[near]


def _smooth_map(xy: Floats, index: Ints, degree: int) -> Callable[[Floats], Floats]:
    """Map from places to numbers through most of the points; those far off are strays.

    The perspective of a plane first, which no polynomial follows on a board that leans, and a
    polynomial on what that gives for the lens.
    """
    number = index.astype(np.float64)
    plane, _ = cv2.findHomography(xy, number, cv2.LMEDS)
    if plane is None:
        plane = np.eye(3)
    size = max(float(np.ptp(number, axis=0).max()) / 2, 1.0)
    degree = min(degree, 1 + (len(xy) >= 20) + (len(xy) >= 60))

    def basis(places: Floats) -> Floats:
        flat = cv2.perspectiveTransform(places[None], plane)[0]
        x, y = ((flat - number.mean(axis=0)) / size).T
        powers = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]
        return np.stack([x**i * y**j for i, j in powers], axis=1)

    design = basis(xy)
    good = np.ones(len(xy), dtype=bool)
    for _ in range(3):
        terms = np.linalg.lstsq(design[good], number[good], rcond=1e-9)[0]
        off = np.max(np.abs(design @ terms - number), axis=1)
        good = off <= max(3 * float(np.median(off)), 1e-6)
    return lambda places: np.asarray(basis(places) @ terms)


def _nearest_only(number: Ints, error: Floats, near: Bools) -> Bools:
    """Of points with the same number keep the one that lies best."""
    chosen = np.flatnonzero(near)
    chosen = chosen[np.argsort(error[chosen])]
    _, first = np.unique(number[chosen], axis=0, return_index=True)
    kept = np.zeros(len(near), dtype=bool)
    kept[chosen[first]] = True
    return kept


def _tidy(xy: Floats, point: Ints, index: Ints) -> Lattice | None:
    """Columns run most nearly to the right; numbers begin at 0."""
    design = np.column_stack([index, np.ones(len(index))])
    across, down = np.linalg.lstsq(design, xy[point], rcond=None)[0][:2]
    area = float(np.linalg.det(np.stack([across, down])))
    if min(np.ptp(index, axis=0)) == 0 or abs(area) < 1:
        return None
    if area < 0:
        index = index * np.array([1, -1])
    quarter = round(float(np.arctan2(across[1], across[0]) / (np.pi / 2)))
    for _ in range(quarter % 4):
        # A quarter turn: what ran along +column now runs along +row.
        index = np.stack([-index[:, 1], index[:, 0]], axis=1)
    return Lattice(point, np.asarray(index - index.min(axis=0)), float(np.sqrt(abs(area))))
