"""Where the holes of a pair or a train go on the plate.

Plate frame: millimetres from its left and its lower edge, x to the right, y up.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import cos, radians, sin

from cogloupe.pairing.pair import Asked, Pairing, pair_gears
from cogloupe.pairing.running_gear import RunningGear
from cogloupe.pairing.train import Train, TrainGear
from cogloupe_calibration.errors import UseError

ROOM_MM = 5.0
"""Room between the tips of a gear and the plate's edges where nothing is said."""


@dataclass(frozen=True, kw_only=True)
class OnArbor:
    """One gear as it lies on its arbor.

    Attributes
    ----------
    pitch_radii : tuple of float
        Working pitch circles, one for each gear it runs with.
    """

    name: str
    teeth: int
    pitch_radii: tuple[float, ...]
    tip_radius: float


@dataclass(frozen=True, kw_only=True)
class Hole:
    """One hole, and what turns on its arbor.

    Attributes
    ----------
    number : int
        From 1.
    diameter : float or None
        None where neither a bore was seen nor a size was stated.
    """

    number: int
    x: float
    y: float
    diameter: float | None
    gears: tuple[OnArbor, ...]

    @property
    def reach(self) -> float:
        """Radius of the largest gear on the arbor."""
        return max(gear.tip_radius for gear in self.gears)


@dataclass(frozen=True)
class Layout:
    """Holes in their order, and the pair that runs between two of them.

    Attributes
    ----------
    pairs : tuple of (int, int, Pairing)
        Indices of two holes, and their pair.
    """

    name: str
    holes: tuple[Hole, ...]
    pairs: tuple[tuple[int, int, Pairing], ...]

    @property
    def error_at_last(self) -> float:
        """Most that the pairs' total deviations can add up to at the last gear, rad."""
        total = 0.0
        for _, _, pair in self.pairs:
            worst = max(way.total.value for way in pair.ways) / 1000
            wheel = pair.mesh.b.wheel
            total = total * pair.mesh.a.teeth / wheel.teeth + worst / wheel.reference_radius
        return total


def lay_out_pair(pairing: Pairing, edges: tuple[float, float] | None = None) -> Layout:
    """Lay out two gears in a row.

    Parameters
    ----------
    edges : (float, float), optional
        Distances of the first hole from the left and the lower edge.
    """
    mesh = pairing.mesh
    turning = [(mesh.a, mesh.a.bore_mm, mesh.centre_mm - mesh.working_radius),
               (mesh.b, mesh.b.bore_mm, mesh.working_radius)]  # fmt: skip
    holes = [
        Hole(number=k + 1, x=k * mesh.centre_mm, y=0.0, diameter=bore,
             gears=(_on_arbor(gear, (radius,)),))
        for k, (gear, bore, radius) in enumerate(turning)
    ]  # fmt: skip
    name = f"{mesh.a.name} with {mesh.b.name}"
    return Layout(name, _within_edges(holes, edges), ((0, 1, pairing),))


def _on_arbor(gear: RunningGear, pitch_radii: tuple[float, ...]) -> OnArbor:
    return OnArbor(
        name=gear.name, teeth=gear.teeth, pitch_radii=pitch_radii, tip_radius=float(gear.tip.max())
    )


def lay_out_train(train: Train, gears: Sequence[RunningGear]) -> Layout:
    """Run the gears of a train with one another, and lay them out.

    Parameters
    ----------
    gears : sequence of RunningGear
        One for each gear of the train.

    Raises
    ------
    UseError
        Where two neighbours cannot run together, or a hole would fall off the plate.
    """
    holes = [_first_hole(train.gear[0], gears[0])]
    pairs: list[tuple[int, int, Pairing]] = []
    for before, gear, told in zip(gears, gears[1:], train.gear[1:], strict=False):
        if told.same_arbor:
            holes[-1] = replace(holes[-1], gears=(*holes[-1].gears, _on_arbor(gear, ())))
            continue
        asked = Asked(distance_mm=told.centre_distance, backlash_mm=told.backlash)
        pairing = pair_gears(before, gear, asked)
        here, next_hole = _meshed(holes[-1], pairing, told)
        holes[-1:] = [here, next_hole]
        pairs.append((len(holes) - 2, len(holes) - 1, pairing))
    if not pairs:
        raise UseError("all gears of this train sit on one arbor: nothing runs together")
    edges = None
    if train.edge_x is not None and train.edge_y is not None:
        edges = (train.edge_x, train.edge_y)
    return Layout(train.name or "train", _within_edges(holes, edges), tuple(pairs))


def _first_hole(told: TrainGear, gear: RunningGear) -> Hole:
    diameter = told.hole or gear.bore_mm
    return Hole(number=1, x=0.0, y=0.0, diameter=diameter, gears=(_on_arbor(gear, ()),))


def _meshed(hole: Hole, pairing: Pairing, told: TrainGear) -> tuple[Hole, Hole]:
    """The hole with the pitch circle of a new mesh, and the hole that this mesh leads to."""
    mesh, angle = pairing.mesh, radians(told.direction_deg)
    own = mesh.centre_mm - mesh.working_radius
    driving = hole.gears[-1]
    driving = replace(driving, pitch_radii=(*driving.pitch_radii, own))
    reached = Hole(
        number=hole.number + 1,
        x=hole.x + mesh.centre_mm * cos(angle),
        y=hole.y + mesh.centre_mm * sin(angle),
        diameter=told.hole or mesh.b.bore_mm,
        gears=(_on_arbor(mesh.b, (mesh.working_radius,)),),
    )
    return replace(hole, gears=(*hole.gears[:-1], driving)), reached


def _within_edges(holes: Sequence[Hole], edges: tuple[float, float] | None) -> tuple[Hole, ...]:
    """Holes moved so that the first keeps its distance from the edges, or all have room."""
    first = holes[0]
    x, y = edges or (0.0, 0.0)
    if edges is None:
        x = first.x - min(hole.x - hole.reach for hole in holes) + ROOM_MM
        y = first.y - min(hole.y - hole.reach for hole in holes) + ROOM_MM
    moved = [replace(hole, x=hole.x - first.x + x, y=hole.y - first.y + y) for hole in holes]
    for hole in moved:
        if min(hole.x, hole.y) <= 0:
            raise UseError(
                f"hole {hole.number} would lie at x {hole.x:.2f} mm, y {hole.y:.2f} mm, off the "
                "plate: put the first hole further from the edges"
            )
    return tuple(moved)


def dial_moves(layout: Layout) -> tuple[tuple[float, float], ...]:
    """Moves of the dials from each hole to the next, the first from the corner of the edges.

    Along x and y.
    """
    places = [(0.0, 0.0), *((hole.x, hole.y) for hole in layout.holes)]
    return tuple((b[0] - a[0], b[1] - a[1]) for a, b in pairwise(places))
