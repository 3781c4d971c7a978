"""Two gears rolling through all their mesh positions: who meets whom, lead, backlash.

At step n, A has turned n pitches on from the start, where its tooth i stands in gap j of B; in the
step it turns through one pitch more, half before and half after. Tooth i - n of A then stands in
gap j + n of B. After as many steps as the least common multiple of the teeth all comes again. Right
flanks drive while A turns clockwise on the picture, left ones the other way. Angles rad, of B.
"""

from dataclasses import dataclass
from math import lcm, pi

import numpy as np

from cogloupe.pairing.contact import BLOCKS, PHASES, Contacts, contacts
from cogloupe.pairing.running_gear import RunningGear
from cogloupe_calibration.arrays import Floats, Ints

FINEST_MM = 0.001
"""Step along the pitch circle at which a period is followed..."""
MOST_PLACES = 600_000
"""... unless it is so long that it would take more places than this."""
_AT_ONCE = 64
"""Steps that are rolled at a time, so that they stay in the processor's own memory."""
_FAR = -1.0
"""Lead, rad, of what cannot touch."""
Start = tuple[int, int]
"""Tooth of A, and the gap of B that it stands in on the line of centres; numbers from 1."""


@dataclass(frozen=True, kw_only=True)
class Mesh:
    """Two gears at a centre distance, with the contact functions of both sides.

    Attributes
    ----------
    sides : (Contacts, Contacts)
        Left and right flanks.
    """

    a: RunningGear
    b: RunningGear
    centre_mm: float
    sides: tuple[Contacts, Contacts]

    @property
    def steps(self) -> int:
        """Mesh positions until all comes again."""
        return lcm(self.a.teeth, self.b.teeth)

    @property
    def play(self) -> float:
        """Angle of B between ideal flanks of both sides."""
        return self.sides[0].play + self.sides[1].play

    @property
    def working_radius(self) -> float:
        """Of B's working pitch circle."""
        return self.centre_mm * self.b.teeth / (self.a.teeth + self.b.teeth)


@dataclass(frozen=True)
class Rolled:
    """A whole period of a mesh.

    Attributes
    ----------
    lead : ndarray, shape (2, steps, places)
        Angle by which B runs ahead, driven by left and by right flanks; NaN where a flank that
        might touch was not seen. Places divide a step evenly.
    free : ndarray, shape (steps, places)
        Backlash, as an angle of B.
    """

    lead: Floats
    free: Floats


def mesh_at(a: RunningGear, b: RunningGear, centre_mm: float, phases: int = PHASES) -> Mesh:
    """Put two gears together at a centre distance.

    Parameters
    ----------
    phases : int
        Places in a pitch at which contact is worked out.
    """
    left, right = (contacts(a, b, side, centre_mm, phases) for side in (0, 1))
    return Mesh(a=a, b=b, centre_mm=centre_mm, sides=(left, right))


def fine_places(mesh: Mesh) -> int:
    """Places in a pitch at which a period is followed: to the micrometre, or as well as allowed."""
    finest = round(pi * float(mesh.a.wheel.module_mm) / FINEST_MM)
    return max(min(finest, MOST_PLACES // mesh.steps), int(mesh.sides[0].lead.shape[2]))


def meeting(mesh: Mesh, side: int, start: Start) -> tuple[Ints, Ints]:
    """Teeth whose flanks may touch at every step.

    Parameters
    ----------
    side : {0, 1}

    Returns
    -------
    tooth_a, tooth_b : ndarray, shape (steps, BLOCKS), int
        Indices from 0; a block further on, A's tooth is one ahead and B's one behind on the
        picture for right flanks, and the other way for left ones.
    """
    step = np.arange(mesh.steps)[:, None]
    ahead = (np.arange(BLOCKS) - BLOCKS // 2) * (1 if side else -1)
    tooth = start[0] - 1 - step + ahead
    gap = start[1] - 1 + step - ahead
    return tooth % mesh.a.teeth, (gap + (side == 0)) % mesh.b.teeth


def touching(mesh: Mesh, side: int, start: Start, place: Floats) -> tuple[Ints, Ints, Ints]:
    """Flanks that touch at some places: those that drive B furthest ahead.

    Parameters
    ----------
    side : {0, 1}
    place : ndarray, shape (n,)
        Pitches that A has turned from the start, clockwise.

    Returns
    -------
    block, tooth_a, tooth_b : ndarray, shape (n,), int
        Pitch before, in or after the middle (0 to 2), and numbers of the teeth.
    """
    step = np.floor(place + 0.5).astype(np.int64)
    share = place + 0.5 - step
    tooth_a, tooth_b = (index[step % mesh.steps] for index in meeting(mesh, side, start))
    phases = mesh.sides[side].lead.shape[2]
    phase = np.minimum(((share if side else 1 - share) * phases).astype(np.int64), phases - 1)
    lead = mesh.sides[side].lead[tooth_a, np.arange(BLOCKS), phase[:, None], tooth_b]
    block = np.argmax(np.nan_to_num(lead, nan=-np.inf), axis=1)
    row = np.arange(len(block))
    return block, tooth_a[row, block] + 1, tooth_b[row, block] + 1


def roll(mesh: Mesh, start: Start = (1, 1), places: int | None = None) -> Rolled:
    """Roll two gears through their common period.

    Parameters
    ----------
    places : int, optional
        In a pitch; without it those at which contact was worked out. Between them every pair's
        contact function is taken as straight, and the pair that then drives is told at each.
    """
    lead = np.stack([lead_of(mesh, side, start, places) for side in (0, 1)])
    return Rolled(lead, mesh.play - lead.sum(axis=0))


def lead_of(mesh: Mesh, side: int, start: Start, places: int | None = None) -> Floats:
    """Lead of one side over the common period, in the order in which A turns clockwise.

    Parameters
    ----------
    side : {0, 1}
    places : int, optional
        As for `roll`.

    Returns
    -------
    ndarray, shape (steps, places)
    """
    tooth_a, tooth_b = meeting(mesh, side, start)
    table = mesh.sides[side].lead
    phases = table.shape[2]
    flat = table.reshape(len(table), -1, table.shape[3])
    count = places or phases
    low, share = _between(phases, count)
    lead = np.empty((mesh.steps, count))
    for first in range(0, mesh.steps, _AT_ONCE):
        rows = slice(first, first + _AT_ONCE)
        each = [
            _straight(flat[tooth_a[rows, k], :, tooth_b[rows, k]], low + k * phases, share)
            for k in range(BLOCKS)
        ]
        lead[rows] = np.maximum(np.maximum(each[0], each[1]), each[2])
    # Turning the other way, a place further on is one further back.
    return lead if side else lead[:, ::-1]


def _between(phases: int, count: int) -> tuple[Ints, Floats]:
    """Phase before each of so many even places in a pitch, and how far on it lies from there."""
    place = (np.arange(count) + 0.5) / count * phases - 0.5
    low = np.floor(place).astype(np.int64)
    return low, place - low


def _straight(rows: Floats, low: Ints, share: Floats) -> Floats:
    """Contact functions between the places at which they are known."""
    if not share.any():
        return rows[:, low]
    rows = np.maximum(rows, _FAR)  # what cannot touch is infinitely far, and cannot be shared out
    last = rows.shape[1] - 1
    before, after = rows[:, np.clip(low, 0, last)], rows[:, np.clip(low + 1, 0, last)]
    after -= before
    after *= share
    after += before
    return after
