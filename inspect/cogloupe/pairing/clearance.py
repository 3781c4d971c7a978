"""Room at tips and floors, and how many pairs of teeth carry, for the teeth that really meet.

Lengths mm. Teeth and gaps are named by their numbers.
"""

from dataclasses import dataclass
from math import hypot, sin, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe.forms.rack import Gear
from cogloupe.pairing.rolling import Mesh, Start, meeting
from cogloupe.pairing.running_gear import RunningGear
from cogloupe_calibration.arrays import Floats, Ints


@dataclass(frozen=True)
class Least:
    """The least of a figure over all that meets, and where.

    Attributes
    ----------
    value, u : float
        The figure and its standard uncertainty.
    number_a, number_b : int
        Tooth or gap of either gear.
    """

    value: float
    u: float
    number_a: int
    number_b: int


@dataclass(frozen=True, kw_only=True)
class Room:
    """Room of a mesh.

    Attributes
    ----------
    tips_a, tips_b : Least
        Between the tips of one gear and the floors of the other; named by tooth and gap, or by
        gap and tooth.
    fillet_a, fillet_b : Least
        Length of flank by which the other gear's tips stay above the usable start of this one's
        flanks; below zero they run into the fillets.
    ratio : Least
        Contact ratio, pairs of teeth.
    """

    tips_a: Least
    tips_b: Least
    fillet_a: Least
    fillet_b: Least
    ratio: Least
    ratio_mean: float


def room(mesh: Mesh, start: Start) -> Room:
    """Find the least room between tips and floors, above the fillets, and the contact ratio."""
    a, b = mesh.a, mesh.b
    step = np.arange(mesh.steps)
    tooth, gap = (start[0] - 1 - step) % a.teeth, (start[1] - 1 + step) % b.teeth
    gap_before, tooth_after = (tooth - 1) % a.teeth, (gap + 1) % b.teeth
    u_tips, u_tops = (_together(mesh, _u(x, "tip"), _u(y, "root")) for x, y in ((a, b), (b, a)))
    ratios, mean = _ratios(mesh, start)
    return Room(
        tips_a=_least(mesh.centre_mm - a.tip[tooth] - b.root[gap], u_tips, tooth, gap),
        tips_b=_least(
            mesh.centre_mm - b.tip[tooth_after] - a.root[gap_before], u_tops, gap_before,
            tooth_after,
        ),
        fillet_a=_fillets(mesh, a, b, gap_before, tooth_after),
        fillet_b=_fillets(mesh, b, a, gap, tooth),
        ratio=ratios,
        ratio_mean=mean,
    )  # fmt: skip


def _u(gear: RunningGear, name: str) -> float:
    """Standard uncertainty of a gear's tips or floors; 0 of a theoretical gear."""
    u = 0.0 if gear.doubts is None else float(getattr(gear.doubts, name))
    return u if np.isfinite(u) else 0.0


def _together(mesh: Mesh, one: float, other: float) -> float:
    """Two uncertainties that act the same way: added where one set-up took both pictures."""
    return one + other if same_set_up(mesh.a, mesh.b) else hypot(one, other)


def same_set_up(a: RunningGear, b: RunningGear) -> bool:
    """Tell whether two readings share camera and calibration, and so err alike."""
    return a.doubts is not None and b.doubts is not None and a.doubts.set_up == b.doubts.set_up


def _least(values: Floats, u: float, index_a: Ints, index_b: Ints) -> Least:
    k = int(np.nanargmin(values))
    return Least(float(values[k]), u, int(index_a[k]) + 1, int(index_b[k]) + 1)


def _fillets(mesh: Mesh, own: RunningGear, mate: RunningGear, gap: Ints, tooth: Ints) -> Least:
    """How far above the start of one gear's flanks the other's tips pass.

    Involutes meet on the common tangent of the base circles, so that a tip reaches down to the
    length ``sqrt(a^2 - (r_b1 + r_b2)^2) - sqrt(r_a^2 - r_b^2)``, a the distance of the teeth's own
    axes as those teeth meet (ISO 21771). Of other forms a tip is taken where it stands deepest.
    """
    towards_own = (own.axis.conjugate() * np.exp(1j * _direction(own, gap + 0.5))).real
    towards_mate = (mate.axis.conjugate() * np.exp(1j * _direction(mate, tooth))).real
    centre = mesh.centre_mm - towards_own - towards_mate
    tip = mate.tip[tooth] - towards_mate
    u_tip, u_root = _u(mate, "tip"), _u(own, "root")
    named = (gap, tooth) if own is mesh.a else (tooth, gap)
    wheel, other = own.wheel, mate.wheel
    if not isinstance(wheel, Gear) or not isinstance(other, Gear):
        value = centre - tip - own.form_radius
        return _least(np.minimum(value, own.along[-1]), _together(mesh, u_tip, u_root), *named)
    line = np.sqrt(np.maximum(centre**2 - (wheel.base_radius + other.base_radius) ** 2, 0.0))
    roll = np.sqrt(np.maximum(tip**2 - other.base_radius**2, 1e-12))
    begins = sqrt(max(own.form_radius**2 - wheel.base_radius**2, 0.0))
    per_tip = float(np.mean(tip / roll))
    u = _together(mesh, per_tip * u_tip, u_root / sin(wheel.rack.pressure_angle))
    return _least(line - roll - begins, u, *named)


def _direction(gear: RunningGear, place: NDArray[Any]) -> Floats:
    """Polar angle on the picture of a tooth (whole) or gap (halves)."""
    return np.asarray(gear.start + gear.pitch * np.asarray(place))


def _ratios(mesh: Mesh, start: Start) -> tuple[Least, float]:
    """Least and mean contact ratio of the pairs that meet, of the side that has less."""
    found = []
    for side in (0, 1):
        tooth_a, tooth_b = (index[:, 1] for index in meeting(mesh, side, start))
        ratio = mesh.sides[side].ratio[tooth_a, tooth_b]
        if np.isfinite(ratio).any():
            mean = float(np.nanmean(ratio))
            found.append((_least(ratio, _u_ratio(mesh, side), tooth_a, tooth_b), mean))
    if not found:
        nothing = float("nan")
        return Least(nothing, nothing, 0, 0), nothing
    return min(found, key=lambda one: one[0].value)


def _u_ratio(mesh: Mesh, side: int) -> float:
    """Standard uncertainty of a contact ratio: tips that are out end the contact elsewhere."""
    met = mesh.sides[side].met.reshape(2, -1)
    steps = []
    for gear, length in zip((mesh.a, mesh.b), met, strict=True):
        inside = (length > gear.along[0]) & (length < gear.along[-1])
        moving = np.abs(np.diff(length))[inside[1:] & inside[:-1]]
        a_pitch = float(np.median(moving)) * mesh.sides[side].met.shape[2] if moving.size else 1.0
        per_tip = float(
            np.interp(gear.tip.mean(), gear.radius, np.gradient(gear.along, gear.radius))
        )
        steps.append(per_tip * _u(gear, "tip") / a_pitch)
    return _together(mesh, *steps)
