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
from cogloupe.finding.periodicity import FLAT, Rhythm, Slant
from cogloupe.finding.tooth_harmonics import ADDENDUM, DEDENDUM, PRESSURE_ANGLE
from cogloupe_calibration.arrays import Bools, Floats, Ints, Reals

HALF_POINTS, LAND_POINTS, FLOOR_POINTS = 5, 4, 4
"""Points on either half of a flank, on a land and on a floor."""
REACH = 0.45
"""How far beside a flank edges are summed, in pitches."""
STEPS = 91
"""Places within that reach, to both sides."""
FLANKS = 4
"""Parts that are halves of flanks; the left ones come first."""
SETTLING = ((0.06, 5), (0.04, 7), (0.03, 11), (0.015, 11))
"""Widths over which votes are counted together, in pitches, from the rough fit to the last, and how
much is voted on: places of the right flanks and of the left ones, x, y, size; from the second on
depth and taper; then oval and nearer side."""
FREE = 11
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
    x, y, tip_radius, turn : float
        As of a `Rhythm`.
    thicker : (float, float)
        Half angle that teeth are thicker than the usual rack's, a quarter of their depth above the
        floors and a quarter below the tips.
    depth : float
        From tips to floors.
    """

    teeth: int
    x: float
    y: float
    tip_radius: float
    turn: float
    thicker: tuple[float, float] = (0.0, 0.0)
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
    outline : ndarray, shape (n, 2)
        Closed, clockwise, px.
    own_edge : ndarray, shape (z, 2), bool
        Left and right flanks that have an edge of their own at their place.
    in_frame : ndarray, shape (z, 2), bool
        Flanks that lie within the picture.
    weakest : float
        Agreement along that half of the flanks which has least, as a share of that along the part
        of the outline which has most.
    agreement : float
        Mean agreement of edges along flanks, lands and floors, 0 to 1.
    """

    pose: Pose
    outline: Floats
    own_edge: Bools
    in_frame: Bools
    weakest: float
    agreement: float

    @property
    def share(self) -> float:
        """Share of the flanks in the frame that have an edge of their own."""
        return float(self.own_edge.sum() / max(self.in_frame.sum(), 1))

    @property
    def merit(self) -> float:
        """How well a gear is followed: more flanks, clearer edges, a larger part of it in sight."""
        return self.share * self.agreement * float(self.in_frame.mean())


def follow(directions: Directions, rhythm: Rhythm) -> Followed:
    """Lay the theoretical gear that a rhythm tells of over the picture, and follow its flanks.

    Parameters
    ----------
    directions : ndarray, shape (h, w), complex64
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
    beside = np.asarray((places - STEPS) * (REACH / STEPS) * pose.pitch, np.float64)
    best = np.take_along_axis(smooth, places[..., None], axis=-1)[..., 0]
    counts = np.array([HALF_POINTS] * FLANKS + [LAND_POINTS, FLOOR_POINTS])
    parts = best.mean(axis=1) / counts
    inside = _within(pose, directions.shape)
    own = _own_edge(smooth, places) & inside
    return Followed(
        pose=pose,
        outline=_outline(pose, beside, own),
        own_edge=own.T,
        in_frame=inside.T,
        weakest=float(parts[:FLANKS].min() / max(parts.max(), 1e-9)),
        agreement=float(best.sum() / (pose.teeth * counts.sum())),
    )


def _parts(pose: Pose) -> list[tuple[Floats, Floats]]:
    """Points and normals, shape (z, points, 2) each, of all parts of the outline, clockwise.

    Lower and upper half of the left flanks, upper and lower half of the right ones, lands, floors;
    normals out of the material.
    """
    root = pose.tip_radius - pose.depth
    share = (np.arange(2 * HALF_POINTS) + 0.5) / (2 * HALF_POINTS)
    radius = root + pose.depth * share
    half, lean = half_angles(pose, radius)
    tip_half, root_half = half_angles(pose, np.array([pose.tip_radius, root]))[0]
    over = np.linspace(-0.8, 0.8, LAND_POINTS) * tip_half
    under = np.linspace(-0.7, 0.7, FLOOR_POINTS) * (pi / pose.teeth - root_half)
    square, low, high = pi / 2, slice(None, HALF_POINTS), slice(HALF_POINTS, None)
    left = [_placed(pose, radius[h], -half[h], lean[h] - square) for h in (low, high)]
    down = [(radius[h][::-1], half[h][::-1], lean[h][::-1]) for h in (high, low)]
    right = [_placed(pose, at, off, square - tilt) for at, off, tilt in down]
    land = _placed(pose, np.full(LAND_POINTS, pose.tip_radius), over, 0 * over)
    floor = _placed(pose, np.full(FLOOR_POINTS, root), pi / pose.teeth + under, 0 * under)
    return [*left, *right, land, floor]


def half_angles(pose: Pose, radius: Floats) -> tuple[Floats, Floats]:
    """Half angles of a tooth at radii, and the lean of its flank there against the radius.

    Parameters
    ----------
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
    low, high = pose.thicker
    up = (radius - pose.tip_radius) / pose.depth + 0.75
    half = pi / (2 * pose.teeth) + low + (high - low) * 2 * up + grown
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
    return ring + np.array([pose.x, pose.y]), normal


def _summed_edges(directions: Directions, pose: Pose) -> list[Floats]:
    """Edges that run along each flank, land and floor, summed at places beside it.

    An array for each part, shape (z, 2 STEPS + 1), from inside the material to outside. Of lands
    and floors that is taken off which goes on round the turn, as turned rings do.
    """
    pair = np.stack([directions.real, directions.imag], axis=-1)
    *flanks, land, floor = (_along(pair, pose, part) for part in _parts(pose))
    half = replace(pose, turn=pose.turn + pi / pose.teeth)
    outside, below = (_along(pair, half, part) for part in _parts(half)[FLANKS:])
    return [*flanks, land - outside, floor - below]


def _along(pair: Reals, pose: Pose, part: tuple[Floats, Floats]) -> Floats:
    """Edges that run along one part on each tooth, summed at places beside it."""
    xy, normal = (np.asarray(each, np.float32) for each in part)
    off = np.arange(-STEPS, STEPS + 1, dtype=np.float32) * np.float32(REACH / STEPS * pose.pitch)
    at = xy[:, :, None, :] + normal[:, :, None, :] * off[:, None]
    flat = at.reshape(len(xy) * xy.shape[1], len(off), 2)
    found = _sampled(pair, flat).reshape(*at.shape)
    double = (normal[..., 0] + 1j * normal[..., 1]) ** 2
    along = found[..., 0] * double.real[..., None] + found[..., 1] * double.imag[..., None]
    return np.asarray(along.sum(axis=1), np.float64)


def _sampled(pair: Reals, at: Reals) -> Reals:
    """Values at places between pixels, nothing beyond the frame; rows are cut to OpenCV's limit."""
    most = 30_000
    parts = [
        cv2.remap(
            pair, part[..., 0], part[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT
        )
        for part in np.split(at, range(most, len(at), most))
    ]
    return np.concatenate(parts)


def _smooth(edges: list[Floats], width: float) -> Floats:
    """Sums counted together over a width in pitches, shape (parts, z, places)."""
    spread = width * STEPS / REACH / 2
    border = cv2.BORDER_CONSTANT
    return np.stack(
        [cv2.GaussianBlur(e, (0, 0), spread, sigmaY=1e-6, borderType=border) for e in edges]
    )


def _moves(pose: Pose) -> Floats:
    """How far each part moves out of the material for a pitch of what all vote on.

    Shape (parts, z, FREE), in pitches.
    """
    columns = []
    for part, (xy, normal) in enumerate(_parts(pose)):
        arm = (xy - [pose.x, pose.y]) / pose.tip_radius
        along = np.stack([-arm[..., 1], arm[..., 0]], axis=-1)
        turned = (normal * along).sum(axis=-1)
        out = (normal * arm).sum(axis=-1)
        side = (-1.0 if part < 2 else 1.0) if part < FLANKS else 0.0
        # Teeth move with both their flanks, by half of what each does.
        shares = [turned * (1 + side) / 2, turned * (side - 1) / 2]
        taper = np.abs(turned) * ([-1, 1, 1, -1, 0, 0][part])
        rest = [
            normal[..., 0],
            normal[..., 1],
            out,
            np.full_like(out, -float(part == FLANKS + 1)),
            taper,
            normal[..., 0] * arm[..., 0] - normal[..., 1] * arm[..., 1],
            normal[..., 0] * arm[..., 1] + normal[..., 1] * arm[..., 0],
            out * arm[..., 0],
            out * arm[..., 1],
        ]
        columns.append(np.stack([*shares, *rest], axis=-1).mean(axis=1))
    return np.stack(columns)


def _settled(pose: Pose, edges: list[Floats], width: float, free: int) -> Pose:
    """The pose that most edges vote for, near the one at which they were summed."""
    votes, moves = _smooth(edges, width), _moves(pose)
    moved, (part, tooth) = np.zeros(FREE), np.indices(votes.shape[:2])[..., None]
    trial = np.arange(-10, 11) * (width / 4)
    for _ in range(4):
        for k in range(free):
            tried = np.repeat(moved[None], len(trial), axis=0)
            tried[:, k] += trial
            place = np.rint(moves @ tried.T * (STEPS / REACH)).astype(int) + STEPS
            total = votes[part, tooth, np.clip(place, 0, 2 * STEPS)].sum(axis=(0, 1))
            moved = tried[int(total.argmax())]
    return _moved(pose, moved * pose.pitch)


def _moved(pose: Pose, by: Floats) -> Pose:
    """The pose moved by what was voted, px."""
    tip, oval, nearer = pose.tip_radius, pose.slant.oval, pose.slant.nearer
    right, left, x, y, size, deeper, taper, a, b, east, south = by
    thicker = (right + left) / 2
    return replace(
        pose,
        x=pose.x + x,
        y=pose.y + y,
        tip_radius=tip + size,
        turn=pose.turn + (right - left) / 2 / tip,
        thicker=(
            pose.thicker[0] + (thicker - taper) / tip,
            pose.thicker[1] + (thicker + taper) / tip,
        ),
        depth=pose.depth * (1 + size / tip) + deeper,
        slant=Slant(
            (oval[0] + a / tip, oval[1] + b / tip),
            (nearer[0] + east / tip, nearer[1] + south / tip),
        ),
    )


def _path(votes: Floats) -> Ints:
    """Best place of each flank round the turn, held by its neighbours; shape (z,), an index.

    The turn is closed by going round it a second time from where the first round ended.
    """
    reach = int(STRAY / REACH * STEPS)
    votes = votes[:, STEPS - reach : STEPS + reach + 1]
    worth = votes / (np.quantile(votes.max(axis=1), 0.75) + 1e-9)
    apart = np.abs(np.subtract.outer(*[np.arange(2 * reach + 1)] * 2))
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
    return np.array(path[len(votes) :]) + STEPS - reach


def _own_edge(votes: Floats, places: Ints) -> Bools:
    """Whether no other edge beside a flank is stronger than that at its place, shape (2, z)."""
    halves = votes[:FLANKS].reshape(2, 2, *votes.shape[1:])
    at = places[:FLANKS].reshape(2, 2, -1)
    best = np.take_along_axis(halves, at[..., None], axis=-1).sum(axis=(1, 3))
    away = (
        np.abs(np.arange(votes.shape[-1]) - at.mean(axis=1)[..., None]) > OWN_EDGE / REACH * STEPS
    )
    other = np.where(away, halves.sum(axis=1), 0.0).max(axis=-1)
    return np.asarray(best > other)


def _within(pose: Pose, shape: tuple[int, ...]) -> Bools:
    """Left and right flanks that lie within the picture, shape (2, z)."""
    last = np.array(shape[1::-1]) - 1
    halves = [((xy >= 0) & (xy <= last)).all(axis=(1, 2)) for xy, _ in _parts(pose)[:FLANKS]]
    return np.array([halves[0] & halves[1], halves[2] & halves[3]])


def _outline(pose: Pose, beside: Floats, own: Bools) -> Floats:
    """The outline as followed: each part moved along its normals, tooth by tooth."""
    moved, number = beside.copy(), np.arange(pose.teeth)
    for part in range(FLANKS):
        seen = np.flatnonzero(own[part // 2])
        if 0 < len(seen) < pose.teeth:
            moved[part] = np.interp(number, seen, beside[part][seen], period=pose.teeth)
    low, high, down, below, land, floor = (
        xy + normal * move[:, None, None]
        for (xy, normal), move in zip(_parts(pose), moved, strict=True)
    )
    return np.concatenate([low, high, land, down, below, floor], axis=1).reshape(-1, 2)
