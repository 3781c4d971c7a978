"""Two gears rolling through all their mesh positions: who meets whom, lead, backlash.

At step n, A has turned n pitches on from the start, where its tooth i stands in gap j of B; in the
step it turns through one pitch more, half before and half after. Tooth i - n of A then stands in
gap j + n of B. After as many steps as the least common multiple of the teeth all comes again. Right
flanks drive while A turns clockwise on the picture, left ones the other way. Angles rad, of B.
"""

from dataclasses import dataclass
from math import lcm

import numpy as np

from cogloupe.pairing.contact import BLOCKS, PHASES, Contacts, contacts
from cogloupe.pairing.running_gear import RunningGear
from cogloupe_calibration.arrays import Floats, Ints

Start = tuple[int, int]
"""Tooth of A, and the gap of B that it stands in on the line of centres; numbers from 1."""


@dataclass(frozen=True, kw_only=True)
class Mesh:
    """Two gears at a centre distance, with the contact functions of both sides.

    Attributes
    ----------
    a, b : RunningGear
    centre_mm : float
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


@dataclass(frozen=True, kw_only=True)
class Rolled:
    """A whole period of a mesh.

    Attributes
    ----------
    lead : ndarray, shape (2, steps, phases)
        Angle by which B runs ahead, driven by left and by right flanks; NaN where a flank that
        might touch was not seen.
    block : ndarray, shape (2, steps, phases), int
        Which pair of teeth touches: block of the contact functions.
    free : ndarray, shape (steps, phases)
        Backlash, as an angle of B.
    """

    lead: Floats
    block: Ints
    free: Floats


def mesh_at(a: RunningGear, b: RunningGear, centre_mm: float, phases: int = PHASES) -> Mesh:
    """Put two gears together at a centre distance.

    Parameters
    ----------
    a, b : RunningGear
    centre_mm : float
    phases : int
        Places in a pitch at which contact is worked out.

    Returns
    -------
    Mesh
    """
    left, right = (contacts(a, b, side, centre_mm, phases) for side in (0, 1))
    return Mesh(a=a, b=b, centre_mm=centre_mm, sides=(left, right))


def meeting(mesh: Mesh, side: int, start: Start) -> tuple[Ints, Ints]:
    """Teeth whose flanks may touch at every step.

    Parameters
    ----------
    mesh : Mesh
    side : {0, 1}
    start : (int, int)

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


def roll(mesh: Mesh, start: Start = (1, 1)) -> Rolled:
    """Roll two gears through their common period.

    Parameters
    ----------
    mesh : Mesh
    start : (int, int)

    Returns
    -------
    Rolled
    """
    lead, block = zip(*(_lead(mesh, side, start) for side in (0, 1)), strict=True)
    both = np.stack(lead)
    return Rolled(lead=both, block=np.stack(block), free=mesh.play - both.sum(axis=0))


def _lead(mesh: Mesh, side: int, start: Start) -> tuple[Floats, Ints]:
    """Lead of one side at every step and phase, in the order in which A turns clockwise."""
    tooth_a, tooth_b = meeting(mesh, side, start)
    table = mesh.sides[side].lead
    each = np.stack(
        [table[tooth_a[:, k], k][np.arange(mesh.steps), :, tooth_b[:, k]] for k in range(BLOCKS)]
    )
    # Turning the other way, a place further on is one further back.
    ordered = each if side else each[..., ::-1]
    return ordered.max(axis=0), ordered.argmax(axis=0)
