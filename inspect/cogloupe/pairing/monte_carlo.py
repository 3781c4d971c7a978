"""What two readings leave open of how their gears run: draws of gears that they leave plausible.

Propagation by draws (JCGM 101:2008). Of each gear a draw moves every flank by itself (edge noise,
and the fit), and all flanks together by what they share: edges, scale, lens, lean, datum. Where one
set-up took both pictures, edges and scale of both gears err alike. Movements are along the
normals, mm; a contact's lead moves by those of its two flanks over B's arm.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from cogloupe.pairing.clearance import same_set_up
from cogloupe.pairing.contact import BLOCKS
from cogloupe.pairing.rolling import Mesh, Start, meeting
from cogloupe.pairing.running_gear import RunningGear
from cogloupe.uncertainty.combination import DRAWS, of_draws, plausible
from cogloupe_calibration.arrays import Floats, Ints

MOST, FEWEST = 100, 40
"""Draws: an uncertainty to 7 % of itself, and on long periods to 11 %."""
WORK = 600_000
"""Steps times draws that are spent."""
SPARSE = 8
"""Places in a pitch that are looked at."""


@dataclass(frozen=True)
class _Moved:
    """How one draw moves a gear's flanks: at the measuring circle, and growing along them."""

    place: Floats
    slope: Floats
    stretch: float


def drawn_figures(
    mesh: Mesh, start: Start, figures: Callable[[Floats, Floats], Floats]
) -> tuple[Floats, Floats]:
    """Standard uncertainties of figures of a rolled pair.

    Parameters
    ----------
    figures : callable
        From lead of both sides, shape (2, steps, phases), and backlash, shape (steps, phases), both
        angles of B, to an array of figures.

    Returns
    -------
    value, u : ndarray
        The figures of what was measured on the places looked at, and their standard uncertainties.
    """
    every = max(mesh.sides[0].lead.shape[2] // SPARSE, 1)
    phases = np.arange(every // 2, mesh.sides[0].lead.shape[2], every)
    met = [_met_table(mesh, side, start, phases) for side in (0, 1)]

    def of(moves: tuple[_Moved, _Moved] | None) -> Floats:
        lead = np.stack([_lead(mesh, side, *met[side], moves, phases) for side in (0, 1)])
        return figures(lead, mesh.play - lead.sum(axis=0))

    value = of(None)
    if mesh.a.doubts is None and mesh.b.doubts is None:
        return value, np.zeros_like(value)
    count = int(np.clip(WORK // mesh.steps, FEWEST, MOST))
    drawn = np.stack([of(moves) for moves in _draws(mesh, count)])
    u = [of_draws(float(v), column) for v, column in zip(value, drawn.T, strict=True)]
    return value, np.array(u)


def _met_table(mesh: Mesh, side: int, start: Start, phases: Ints) -> tuple[Floats, Ints, Ints]:
    """Leads of all pairs that may touch, shape (steps, BLOCKS, phases), and their teeth."""
    tooth_a, tooth_b = meeting(mesh, side, start)
    table = mesh.sides[side].lead[:, :, phases]
    block = np.arange(BLOCKS)
    return table[tooth_a, block, :, tooth_b], tooth_a, tooth_b


def _lead(
    mesh: Mesh,
    side: int,
    table: Floats,
    tooth_a: Ints,
    tooth_b: Ints,
    moves: tuple[_Moved, _Moved] | None,
    phases: Ints,
) -> Floats:
    """Lead of one side, in the order in which A turns clockwise."""
    if moves is not None:
        out = [
            _out(gear, moved, side, met[:, phases])
            for gear, moved, met in zip((mesh.a, mesh.b), moves, mesh.sides[side].met, strict=True)
        ]
        block = np.arange(BLOCKS)
        table = table + (out[0][tooth_a, block] + out[1][tooth_b, block]) / mesh.b.arm
    lead = table.max(axis=1)
    return np.asarray(lead if side else lead[:, ::-1])


def _out(gear: RunningGear, moved: _Moved, side: int, length: Floats) -> Floats:
    """Movement of every flank where it is touched, shape (z, BLOCKS, phases)."""
    flank, r = gear.wheel.flank, gear.wheel.reference_radius
    beyond = length - float(flank.along(r))
    radius = gear.radius_at(length)
    stretched = moved.stretch * np.sqrt(np.maximum(radius**2 - flank.arm(radius) ** 2, 0.0))
    own = moved.place[:, side, None, None] + moved.slope[:, side, None, None] * beyond
    return np.asarray(own + stretched)


def _draws(mesh: Mesh, count: int) -> Iterator[tuple[_Moved, _Moved]]:
    """Movements of both gears, draw by draw; the same for the same readings."""
    rng = np.random.default_rng(DRAWS)
    places = [_plausible_places(gear, rng, count) for gear in (mesh.a, mesh.b)]
    alike = same_set_up(mesh.a, mesh.b)
    for k in range(count):
        shared = rng.standard_normal(2)
        moves = []
        for gear, place in zip((mesh.a, mesh.b), places, strict=True):
            common = shared if alike else rng.standard_normal(2)
            moves.append(_moved(gear, place[k], common, rng))
        yield moves[0], moves[1]


def _plausible_places(gear: RunningGear, rng: np.random.Generator, count: int) -> Floats:
    """Movements of each flank by itself, shape (count, z, 2); 0 where it was not seen."""
    moved = np.zeros((count, gear.teeth, 2))
    if gear.doubts is None:
        return moved
    middle = int(np.argmin(np.abs(gear.radius - gear.wheel.reference_radius)))
    turn = np.asarray(gear.pitch * np.arange(gear.teeth), np.float64)
    for side in (0, 1):
        value = gear.off[:, side, middle] * gear.arm
        seen = np.isfinite(value)
        drawn = plausible(value, gear.doubts.place[:, side], turn)
        # Each side of each gear gets deviates of its own: the function draws alike for all.
        rows = rng.permutation(len(drawn))[:count]
        moved[:, seen, side] = drawn[rows] - value[seen]
    return moved


def _moved(gear: RunningGear, place: Floats, common: Floats, rng: np.random.Generator) -> _Moved:
    """One draw of a gear, from what its flanks have each by itself and what moves them alike."""
    doubts = gear.doubts
    if doubts is None:
        return _Moved(place, np.zeros_like(place), 0.0)
    edge = doubts.edge * common[0]
    sizes = rng.standard_normal(len(doubts.sizes))
    stretch = doubts.scale * common[1] + doubts.edge_on_scale * common[0]
    stretch = stretch + doubts.stretch * rng.standard_normal() + float(sizes @ doubts.sizes)
    slope = doubts.slope * rng.standard_normal(place.shape) + _together(sizes, doubts.slopes)
    slope = slope + doubts.slope_common * rng.standard_normal()
    place = place + _together(sizes, doubts.places) + edge
    return _Moved(np.nan_to_num(place), np.nan_to_num(slope), stretch)


def _together(sizes: Floats, sources: Floats) -> Floats:
    """What sources of some sizes do to all flanks, shape (z, 2)."""
    return np.asarray(np.einsum("s,szk->zk", sizes, sources))
