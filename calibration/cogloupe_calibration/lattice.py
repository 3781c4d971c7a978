"""Number the points of a square lattice from where they lie, strays and gaps among them."""

from collections import deque
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import KDTree

from cogloupe_calibration.arrays import Bools, Floats, Ints

# A neighbour may lie this share of a spacing off where it is expected.
NEAR_SHARE = 0.2
SEEDS = 6
LONGER_COSTS = 0.4
# Predicted from all others, a point that is on the lattice lies closer.
FILL_SHARE = 0.15
# Points without order grow to some ten by chance; more of them must not be gathered to those.
SURE_LATTICE = 12
# A strip of dirt this many lines wide is bridged.
BRIDGED_LINES = 3
FILL_ROUNDS = 10


@dataclass(frozen=True)
class Lattice:
    """Points with their numbers.

    Attributes
    ----------
    point : ndarray, shape (m,), int
        Which of the given points.
    index : ndarray, shape (m, 2), int
        Column and row; both begin at 0. Column to row turns clockwise on the picture, as x to y.
    spacing : float
        Median distance of neighbours, px.
    """

    point: Ints
    index: Ints
    spacing: float

    def __len__(self) -> int:
        """Count the numbered points."""
        return len(self.point)


def grow_lattice(xy: Floats, parity: Ints | None = None) -> Lattice | None:
    """Number points by growing from a point with four neighbours in a cross.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Points, px.
    parity : ndarray, shape (n,), int, optional
        1 or -1; neighbours on the lattice differ (corners of a checkerboard do).

    Returns
    -------
    Lattice or None
        The largest that grows from one of a few seeds; None where none does.
    """
    if len(xy) < 5:
        return None
    signs = np.zeros(len(xy), dtype=np.int64) if parity is None else parity
    tree = KDTree(xy)
    best: dict[int, tuple[int, int]] = {}
    for seed in _seeds(xy, tree, signs):
        if seed[0] not in best:
            grown = _grown(xy, tree, signs, seed)
            best = max(best, grown, key=len)
    if len(best) < 4:
        return None
    point = np.array(list(best), dtype=np.int64)
    index = np.array(list(best.values()), dtype=np.int64)
    if len(best) >= SURE_LATTICE:
        point, index = _filled(xy, signs, point, index)
    return _tidy(xy, point, index)


def _seeds(xy: Floats, tree: KDTree, parity: Ints) -> list[tuple[int, Floats, Floats]]:
    """Points whose neighbours best make a cross, with the two arms of it."""
    count = min(9, len(xy))
    _, near = tree.query(xy, k=count)
    arms = xy[near[:, 1:]] - xy[:, None]
    length = np.maximum(np.hypot(arms[..., 0], arms[..., 1]), 1e-9)
    turned = np.stack([-arms[..., 1], arms[..., 0]], axis=-1)
    error = sum(_gap(arms, wanted) for wanted in (-arms, turned, -turned)) / length
    # Diagonals make a cross as well: the shorter wins.
    error = error + LONGER_COSTS * length / length.min(axis=1, keepdims=True)
    if parity.any():
        error = np.where(parity[near[:, 1:]] == -parity[:, None], error, np.inf)
    arm = np.argmin(error, axis=1)
    here = np.arange(len(xy))
    order = np.argsort(error[here, arm])
    order = order[np.unique(np.linspace(0, len(order) // 3, SEEDS).astype(int))]
    return [(int(k), arms[k, arm[k]], turned[k, arm[k]]) for k in order]


def _gap(arms: Floats, wanted: Floats) -> Floats:
    """Distance of the nearest neighbour from each place where one is wanted, (n, k)."""
    off = arms[:, None] - wanted[:, :, None]
    return np.asarray(np.min(np.hypot(off[..., 0], off[..., 1]), axis=-1))


def _grown(
    xy: Floats, tree: KDTree, parity: Ints, seed: tuple[int, Floats, Floats]
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
            alternates = parity[there] == -parity[here]
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


def _filled(xy: Floats, parity: Ints, point: Ints, index: Ints) -> tuple[Ints, Ints]:
    """Number what was left out behind gaps, by a smooth map from places to numbers."""
    for _ in range(FILL_ROUNDS):
        # A stiff map reaches further over a gap, a bending one follows the lens.
        tried = [_expected(xy, parity, point, index, degree) for degree in (1, 2, 3)]
        more, numbers = max(tried, key=lambda found: len(found[0]))
        if len(more) < 5 or np.array_equal(more, np.sort(point)):
            break
        point, index = more, numbers
    return point, index


def _expected(xy: Floats, parity: Ints, point: Ints, index: Ints, degree: int) -> tuple[Ints, Ints]:
    """Points that lie where a smooth map of the numbered ones has a whole number."""
    wanted = _smooth_map(xy[point], index, degree)(xy)
    number = np.rint(wanted).astype(np.int64)
    near = np.max(np.abs(wanted - number), axis=1) < FILL_SHARE
    low, high = index.min(axis=0) - BRIDGED_LINES, index.max(axis=0) + BRIDGED_LINES
    near &= np.all((number >= low) & (number <= high), axis=1)
    flips = (number.sum(axis=1) - index[0].sum()) % 2
    near &= parity == parity[point[0]] * (1 - 2 * flips)
    near = _nearest_only(number, np.abs(wanted - number).sum(axis=1), near)
    return np.flatnonzero(near), number[near]


def _smooth_map(xy: Floats, index: Ints, degree: int) -> "_Map":
    """Polynomial through most of the points; those far off are strays."""
    middle, size = xy.mean(axis=0), max(float(np.ptp(xy, axis=0).max()) / 2, 1e-9)
    degree = min(degree, 1 + (len(xy) >= 20) + (len(xy) >= 60))
    powers = tuple((i, j) for i in range(degree + 1) for j in range(degree + 1 - i))
    seen = _Map(middle, size, powers, np.zeros((len(powers), 2)))
    good = np.ones(len(xy), dtype=bool)
    for _ in range(3):
        basis, wanted = seen.basis(xy), index.astype(np.float64)
        terms = np.linalg.lstsq(basis[good], wanted[good], rcond=1e-9)[0]
        off = np.max(np.abs(basis @ terms - wanted), axis=1)
        good = off <= max(3 * float(np.median(off)), 1e-6)
    return replace(seen, terms=np.asarray(terms, dtype=np.float64))


@dataclass(frozen=True)
class _Map:
    """Polynomial from places to lattice numbers."""

    middle: Floats
    size: float
    powers: tuple[tuple[int, int], ...]
    terms: Floats

    def basis(self, xy: Floats) -> Floats:
        x, y = ((xy - self.middle) / self.size).T
        return np.stack([x**i * y**j for i, j in self.powers], axis=1)

    def __call__(self, xy: Floats) -> Floats:
        return np.asarray(self.basis(xy) @ self.terms)


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
