"""Lay a theoretical outline over a picture and let each flank follow its edge.

Along every flank, land and floor the edges that run its way are summed, place by place beside it.
First all of them vote together on where the gear lies and how thick its teeth are; what is not the
gear's own edge (a shadow, the rear face, grain) has no place of its own that all would vote for.
Then each goes to its own best place near that, held by its neighbours.
"""

from dataclasses import dataclass, replace
from math import pi

import cv2
import numpy as np

from cogloupe.finding.edge_directions import Directions
from cogloupe.finding.rhythm import ADDENDUM, DEDENDUM, FLAT, PRESSURE_ANGLE, Rhythm, Slant
from cogloupe_calibration.arrays import Bools, Floats

FLANK_POINTS, LAND_POINTS, FLOOR_POINTS = 10, 4, 4
REACH = 0.45
"""How far beside a flank edges are summed, in pitches."""
STEPS = 91
"""Places within that reach, to both sides."""
SETTLING = ((0.06, 4), (0.04, 6), (0.03, 10), (0.015, 10))
"""Widths over which votes are counted together, in pitches, from the rough fit to the last, and how
much is voted on: turn, x, y, size; from the second on thickness and depth; then oval and nearer side."""
FREE = 10
STRAY = 0.25
"""A flank further from its place than this share of a pitch is not followed."""
STIFF = 0.02
"""Step from one flank to its neighbour, in pitches, that costs as much as a whole clear edge."""
OWN_EDGE = 0.1
"""An edge counts as the flank's own where none other further off than this share of a pitch, within
half a pitch, is stronger."""


@dataclass(frozen=True, kw_only=True)
class Pose:
    """Where a theoretical gear lies on the reduced picture, px and rad.

    Attributes
    ----------
    teeth : int
    x, y, tip_radius, turn : float
        As of a `Rhythm`.
    thicker : float
        Half angle that teeth are thicker than half a pitch on the pitch circle.
    depth : float
        From tips to floors.
    slant : Slant
    """

    teeth: int
    x: float
    y: float
    tip_radius: float
    turn: float
    thicker: float = 0.0
    depth: float
    slant: Slant = FLAT

    @property
    def module(self) -> float:
        """Module, px, by the tips."""
        return self.tip_radius / (self.teeth / 2 + ADDENDUM)

    @property
    def pitch(self) -> float:
        """Pitch on the pitch circle, px."""
        return pi * self.module


@dataclass(frozen=True, kw_only=True)
class Followed:
    """A gear laid over a picture.

    Attributes
    ----------
    pose : Pose
    outline : ndarray, shape (n, 2)
        Closed, clockwise, px.
    own_edge : ndarray, shape (z, 2), bool
        Left and right flanks that have an edge of their own at their place.
    agreement : float
        Mean agreement of edges along flanks, lands and floors, 0 to 1.
    """

    pose: Pose
    outline: Floats
    own_edge: Bools
    agreement: float

    @property
    def share(self) -> float:
        """Share of the flanks that have an edge of their own."""
        return float(self.own_edge.mean())


def follow(directions: Directions, rhythm: Rhythm) -> Followed:
    """Lay the theoretical gear that a rhythm tells of over the picture, and follow its flanks.

    Parameters
    ----------
    directions : ndarray, shape (h, w), complex64
    rhythm : Rhythm

    Returns
    -------
    Followed
    """
    pose = Pose(
        teeth=rhythm.teeth, x=rhythm.x, y=rhythm.y, tip_radius=rhythm.tip_radius,
        turn=rhythm.turn, depth=(ADDENDUM + DEDENDUM) * rhythm.tip_radius
        / (rhythm.teeth / 2 + ADDENDUM), slant=rhythm.slant,
    )  # fmt: skip
    for width, free in SETTLING:
        pose = _settled(pose, _summed_edges(directions, pose), width, free)
    smooth = _smooth(_summed_edges(directions, pose), SETTLING[-1][0])
    places = np.stack([_path(side) for side in smooth])
    beside = (places - STEPS) * (REACH / STEPS) * pose.pitch
    best = np.take_along_axis(smooth, places[..., None], axis=-1)[..., 0]
    own = _own_edge(smooth[:2], places[:2])
    points = np.array([FLANK_POINTS, FLANK_POINTS, LAND_POINTS, FLOOR_POINTS])
    return Followed(
        pose=pose,
        outline=_outline(pose, beside, own),
        own_edge=own.T,
        agreement=float(best.sum() / (pose.teeth * points.sum())),
    )


def _parts(pose: Pose) -> list[tuple[Floats, Floats]]:
    """Left flanks, right flanks, lands and floors: points and normals, shape (z, points, 2) each.

    Points run clockwise, normals out of the material.
    """
    root = pose.tip_radius - pose.depth
    radius = root + pose.depth * (np.arange(FLANK_POINTS) + 0.5) / FLANK_POINTS
    half, lean = half_angles(pose, radius)
    tip_half, root_half = half_angles(pose, np.array([pose.tip_radius, root]))[0]
    over = np.linspace(-0.8, 0.8, LAND_POINTS) * tip_half
    under = np.linspace(-0.7, 0.7, FLOOR_POINTS) * (pi / pose.teeth - root_half)
    square = pi / 2
    return [
        _placed(pose, radius, -half, -square + lean),
        _placed(pose, radius[::-1], half[::-1], (square - lean)[::-1]),
        _placed(pose, np.full(LAND_POINTS, pose.tip_radius), over, 0 * over),
        _placed(pose, np.full(FLOOR_POINTS, root), pi / pose.teeth + under, 0 * under),
    ]


def half_angles(pose: Pose, radius: Floats) -> tuple[Floats, Floats]:
    """Half angles of a tooth at radii, and the lean of its flank there against the radius.

    Parameters
    ----------
    pose : Pose
    radius : ndarray, shape (n,)
        Px.

    Returns
    -------
    half, lean : ndarray, shape (n,)
        Rad.
    """
    base = pose.module * pose.teeth / 2 * np.cos(PRESSURE_ANGLE)
    lean = np.arccos(np.clip(base / radius, -1, 1))
    grown = (np.tan(PRESSURE_ANGLE) - PRESSURE_ANGLE) - (np.tan(lean) - lean)
    half = pi / (2 * pose.teeth) + pose.thicker + grown
    return np.clip(half, 0.02 * pi / pose.teeth, 0.98 * pi / pose.teeth), lean


def _placed(pose: Pose, radius: Floats, off: Floats, facing: Floats) -> tuple[Floats, Floats]:
    """Points and normals of one part on all teeth, from angles off the tooth's centre."""
    centre = pose.turn + 2 * pi / pose.teeth * np.arange(pose.teeth)[:, None]
    angle = centre + off
    share = (radius / pose.tip_radius)[:, None]
    ring = pose.tip_radius * pose.slant.placed(
        share * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    )
    towards = angle + facing
    normal = np.stack([np.cos(towards), np.sin(towards)], axis=-1)
    return ring + [pose.x, pose.y], normal


def _summed_edges(directions: Directions, pose: Pose) -> list[Floats]:
    """Edges that run along each flank, land and floor, summed at places beside it.

    Four arrays, shape (z, 2 STEPS + 1), from inside the material to outside.
    """
    off = np.arange(-STEPS, STEPS + 1) * (REACH / STEPS * pose.pitch)
    pair = np.stack([directions.real, directions.imag], axis=-1)
    sums = []
    for xy, normal in _parts(pose):
        at = (xy[:, :, None, :] + normal[:, :, None, :] * off[:, None]).astype(np.float32)
        flat = at.reshape(len(xy) * xy.shape[1], len(off), 2)
        found = _sampled(pair, flat).reshape(*at.shape)
        double = (normal[..., 0] + 1j * normal[..., 1]) ** 2
        along = found[..., 0] * double.real[..., None] + found[..., 1] * double.imag[..., None]
        sums.append(np.asarray(along.sum(axis=1), np.float64))
    return sums


def _sampled(pair: Floats, at: Floats) -> Floats:
    """Values at places between pixels, nothing beyond the frame; rows are cut to OpenCV's limit."""
    most = 30_000
    parts = [
        cv2.remap(pair, part, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
        for part in np.split(at, range(most, len(at), most))
    ]
    return np.concatenate(parts)


def _smooth(edges: list[Floats], width: float) -> Floats:
    """Sums counted together over a width in pitches, shape (4, z, places)."""
    spread = width * STEPS / REACH / 2
    return np.stack([cv2.GaussianBlur(e, (0, 0), spread, sigmaY=1e-6, borderType=cv2.BORDER_CONSTANT) for e in edges])


def _moves(pose: Pose) -> Floats:
    """Places that each part moves out of the material for a unit of what all vote on.

    Shape (4, z, FREE); units are a pitch for lengths and angles (on the tips).
    """
    columns = []
    for part, (xy, normal) in enumerate(_parts(pose)):
        arm = (xy - [pose.x, pose.y]) / pose.tip_radius
        along = np.stack([-arm[..., 1], arm[..., 0]], axis=-1)
        turned = (normal * along).sum(axis=-1)
        nothing = 0 * turned
        columns.append(np.stack([
            turned,
            normal[..., 0],
            normal[..., 1],
            (normal * arm).sum(axis=-1),
            np.abs(turned) if part < 2 else nothing,
            nothing - 1 if part == 3 else nothing,
            normal[..., 0] * arm[..., 0] - normal[..., 1] * arm[..., 1],
            normal[..., 0] * arm[..., 1] + normal[..., 1] * arm[..., 0],
            (normal * arm).sum(axis=-1) * arm[..., 0],
            (normal * arm).sum(axis=-1) * arm[..., 1],
        ], axis=-1).mean(axis=1))  # fmt: skip
    return np.stack(columns)


def _settled(pose: Pose, edges: list[Floats], width: float, free: int) -> Pose:
    """The pose that most edges vote for, near the one at which they were summed."""
    votes, moves = _smooth(edges, width), _moves(pose)
    moved, index = np.zeros(FREE), np.indices(votes.shape[:2])
    trial = np.arange(-10, 11) * (width / 4)
    for _ in range(4):
        for k in range(free):
            tried = np.repeat(moved[None], len(trial), axis=0)
            tried[:, k] += trial
            place = np.rint(moves @ tried.T * (STEPS / REACH)).astype(int) + STEPS
            place = np.clip(place, 0, 2 * STEPS)
            total = votes[index[0][..., None], index[1][..., None], place].sum(axis=(0, 1))
            moved = tried[int(total.argmax())]
    turned, x, y, size, thicker, deeper, *slant = moved * pose.pitch
    tip, (a, b, east, south) = pose.tip_radius, np.array(slant) / pose.tip_radius
    oval, nearer = pose.slant.oval, pose.slant.nearer
    return replace(
        pose,
        x=pose.x + x,
        y=pose.y + y,
        tip_radius=tip + size,
        turn=pose.turn + turned / tip,
        thicker=pose.thicker + thicker / tip,
        depth=pose.depth * (1 + size / tip) + deeper,
        slant=Slant((oval[0] + a, oval[1] + b), (nearer[0] + east, nearer[1] + south)),
    )


def _path(votes: Floats) -> np.ndarray:
    """Best place of each flank round the turn, held by its neighbours; shape (z,), an index.

    The turn is closed by going round it a second time from where the first round ended.
    """
    places = votes.shape[1]
    near = np.abs(np.arange(places) - STEPS) <= STRAY / REACH * STEPS
    clear = np.quantile(votes[:, near].max(axis=1), 0.75) + 1e-9
    worth = np.where(near, votes / clear, -10.0)
    apart = np.abs(np.subtract.outer(np.arange(places), np.arange(places)))
    cost = np.minimum(apart * (REACH / STEPS / STIFF), 1.5)
    total, back = worth[0], []
    for own in np.concatenate([worth[1:], worth]):
        step = total[:, None] - cost
        back.append(step.argmax(axis=0))
        total = step.max(axis=0) + own
    path = [int(total.argmax())]
    for came in reversed(back):
        path.append(int(came[path[-1]]))
    path.reverse()
    z = len(votes)
    return np.array(path[z:] if len(path) >= 2 * z else path)


def _own_edge(votes: Floats, places: np.ndarray) -> Bools:
    """Whether no other edge beside a flank is stronger than that at its place."""
    away = np.abs(np.arange(votes.shape[-1]) - places[..., None]) > OWN_EDGE / REACH * STEPS
    other = np.where(away, votes, -np.inf).max(axis=-1)
    best = np.take_along_axis(votes, places[..., None], axis=-1)[..., 0]
    return np.asarray(best > np.maximum(other, 0.0))


def _outline(pose: Pose, beside: Floats, own: Bools) -> Floats:
    """The outline as followed: each part moved along its normals, tooth by tooth."""
    z = pose.teeth
    moved = beside.copy()
    for side in (0, 1):
        if own[side].any() and not own[side].all():
            at = np.flatnonzero(own[side])
            moved[side] = np.interp(np.arange(z), at, beside[side][at], period=z)
    parts = [
        xy + normal * moved[k][:, None, None] for k, (xy, normal) in enumerate(_parts(pose))
    ]
    left, right, land, floor = parts
    return np.concatenate([left, land, right, floor], axis=1).reshape(-1, 2)
