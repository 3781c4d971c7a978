"""The gear as it was really cut: where each flank stands.

Gear frame: millimetres about the bore's axis, x right and y down on the picture; angles radians.
"""

from dataclasses import dataclass, replace
from math import pi, radians, sqrt

import numpy as np
from numpy.typing import ArrayLike

from cogloupe.forms.rack import Gear
from cogloupe.forms.tooth_form import Wheel
from cogloupe.simulation.cutter import as_ground
from cogloupe.simulation.scene import Faults, GearSpec, polar_vector
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import UseError

LINE_POINTS = 24
"""Points of a flank's line; a parabola through them is drawn to a thousandth of its bow."""


@dataclass(frozen=True, kw_only=True)
class CutGear:
    """A gear with its faults, numbered as the picture's reader will number it.

    Attributes
    ----------
    wheel : Wheel
        The gear as drawn.
    made : Wheel
        The gear that depth and flank angle of the cutter really left, its tips at the drawn one's.
    axis : ndarray, shape (2,)
        Axis of the teeth, mm from the bore's.
    tip_axis : ndarray, shape (2,)
        Axis of the blank's outside, mm from the bore's.
    first_centre : float
        Polar angle about `axis` where tooth 1 should stand, rad.
    left_offset, right_offset : ndarray, shape (z,)
        Angle by which each flank is out of place on the reference circle, rad, positive clockwise.
    left_lean, right_lean : ndarray, shape (z,) or float
        By how much that angle grows with the length of roll, rad/mm.
    turned : int
        A tooth that the scene calls j is number ``(j - 1 - turned) mod z + 1`` here.
    """

    wheel: Wheel
    made: Wheel
    axis: Floats
    tip_axis: Floats
    first_centre: float
    left_offset: Floats
    right_offset: Floats
    turned: int
    left_lean: Floats | float = 0.0
    right_lean: Floats | float = 0.0

    @property
    def design(self) -> Gear:
        """The gear as drawn, where a rack generates it."""
        return _racked(self.wheel)

    @property
    def cut(self) -> Gear:
        """The gear that the cutter left, where a rack generates it."""
        return _racked(self.made)

    def number(self, scene_tooth: int) -> int:
        """Number in the reading of a tooth that the scene names."""
        return (scene_tooth - 1 - self.turned) % self.wheel.teeth + 1

    def flank_angle(self, radius: Floats) -> tuple[Floats, Floats]:
        """Polar angles (..., z), rad, of left and right flanks at radii (..., z), mm, one a tooth.

        Both are about the teeth's axis.
        """
        z = self.wheel.teeth
        centre = self.first_centre + 2 * pi / z * np.arange(z)
        to_left, to_right = self.made.half_angles(radius)
        left, right = self.offsets(radius)
        return centre - to_left + left, centre + to_right + right

    def offsets(self, radius: ArrayLike) -> tuple[Floats, Floats]:
        """Angles, rad, clockwise, by which both flanks are out of place at radii (..., z), mm.

        Radii are about the teeth's axis.
        """
        along = self.made.flank.along
        beyond = along(radius) - along(self.wheel.reference_radius)
        return (
            np.asarray(self.left_offset + self.left_lean * beyond),
            np.asarray(self.right_offset + self.right_lean * beyond),
        )


def _racked(wheel: Wheel) -> Gear:
    if not isinstance(wheel, Gear):
        raise UseError(f"{wheel.flank.name} teeth have no rack: only involute ones are generated")
    return wheel


def cut_gear(
    spec: GearSpec, faults: Faults, rotation_deg: float, rng: np.random.Generator
) -> CutGear:
    """Cut the drawn gear with its faults, tooth 1 turned clockwise from twelve o'clock, degrees.

    Raises
    ------
    UseError
        Where the faults leave a tooth without a tip.
    """
    wheel = spec.wheel()
    left, right = _flank_errors(spec.teeth, faults, rng)
    per_um = 1e-3 / wheel.reference_radius
    axis = np.array(polar_vector(faults.eccentricity_um / 1000, faults.eccentricity_direction_deg))
    made = CutGear(
        wheel=wheel,
        made=_as_cut(wheel, faults) if isinstance(wheel, Gear) else wheel,
        axis=axis,
        tip_axis=np.zeros(2) if faults.tips_about == "bore" else axis,
        first_centre=radians(rotation_deg) - pi / 2,
        left_offset=left * per_um,
        right_offset=right * per_um,
        turned=0,
    )
    _check_tips(made)
    return renumbered(made)


def _as_cut(design: Gear, faults: Faults) -> Gear:
    """Gear left by a cutter that stood too deep or has another flank angle."""
    rack = as_ground(design.rack, faults.pressure_angle_error_deg)
    shift = design.profile_shift - faults.depth_um / 1000 / design.module_mm
    return replace(design, rack=rack, profile_shift=shift, tip_radius_mm=design.tip_radius)


def _flank_errors(teeth: int, faults: Faults, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Position error of left and right flanks, um along the reference circle."""
    gap = _gap_errors(teeth, faults, rng)
    passes = rng.normal(0, 1, (faults.passes, teeth)) * faults.pass_scatter_um
    # Gap k (after tooth k) is bounded by right flank k and left flank k + 1.
    right = gap + passes.min(axis=0) * (faults.passes > 1)
    left = np.roll(gap + passes.max(axis=0) * (faults.passes > 1), 1)
    alone = rng.normal(0, 1, (2, teeth)) * faults.flank_scatter_um
    left += alone[0] + faults.thinning_um / 2
    right += alone[1] - faults.thinning_um / 2
    return left + np.array(faults.left_um or 0.0), right + np.array(faults.right_um or 0.0)


def _gap_errors(teeth: int, faults: Faults, rng: np.random.Generator) -> Floats:
    """Indexing error of each gap, um along the reference circle."""
    error = rng.normal(0, 1, teeth) * faults.pitch_scatter_um
    turn = 2 * pi * np.arange(teeth) / teeth
    for part in faults.periodic:
        error += part.amplitude_um * np.sin(part.per_turn * turn + radians(part.phase_deg))
    error[faults.step_tooth - 1 :] += faults.step_um
    return error


def _check_tips(gear: CutGear) -> None:
    """Refuse teeth that end in a point before the tip circle."""
    reach = gear.wheel.tip_radius + float(np.hypot(*(gear.axis - gear.tip_axis)))
    left, right = gear.flank_angle(np.full(gear.wheel.teeth, reach))
    thinnest = int(np.argmin(right - left))
    if (right - left)[thinnest] <= 0:
        raise UseError(
            f"tooth {thinnest + 1} comes to a point below its tip circle: make the faults smaller"
            " or give a smaller tip_radius_mm"
        )


def renumbered(made: CutGear) -> CutGear:
    """Number the teeth from the first whose centre line is at or after twelve o'clock.

    The same gear; its `turned` says by how many teeth the numbers moved.
    """
    left, right = crossing_angles(made, np.zeros(2), made.wheel.reference_radius)
    after = np.mod((left + right) / 2 + pi / 2, 2 * pi)
    # A centre line at twelve o'clock itself must not be lost to rounding.
    first = int(np.argmin(np.where(after > 2 * pi - 1e-9, 0.0, after)))
    return replace(
        made,
        first_centre=made.first_centre + 2 * pi * first / made.wheel.teeth,
        left_offset=np.roll(made.left_offset, -first),
        right_offset=np.roll(made.right_offset, -first),
        left_lean=np.roll(np.broadcast_to(made.left_lean, made.left_offset.shape), -first),
        right_lean=np.roll(np.broadcast_to(made.right_lean, made.left_offset.shape), -first),
        turned=first,
    )


def crossing_angles(gear: CutGear, datum: Floats, radius: float) -> tuple[Floats, Floats]:
    """Polar angles (z,), rad, about a datum at which left and right flanks cross a circle about it.

    The datum is in mm from the bore's axis; the analytic flanks are cut, no error formula is used.

    Raises
    ------
    UseError
        Where the circle leaves the flanks, below their start or above the tip.
    """
    shift = gear.axis - datum
    found = []
    for side in (0, 1):
        own = np.full(gear.wheel.teeth, radius)
        # Each step leaves about (eccentricity / radius) of the error.
        for _ in range(40):
            angle = gear.flank_angle(own)[side]
            x, y = shift[0] + own * np.cos(angle), shift[1] + own * np.sin(angle)
            own = own + radius - np.hypot(x, y)
        if own.min() < gear.made.form_radius or own.max() > gear.made.tip_radius:
            raise UseError(
                f"the circle of radius {radius:.3f} mm leaves the flanks, which run from "
                f"{gear.made.form_radius:.3f} to {gear.made.tip_radius:.3f} mm: change the gear"
            )
        found.append(np.arctan2(y, x))
    return found[0], found[1]


def flank_lines(gear: CutGear) -> Floats:
    """Points (2, z, 24, 2) on left and right flanks, from start to tip, mm about the bore."""
    z = gear.wheel.teeth
    radius = np.linspace(gear.made.form_radius, gear.made.tip_radius, LINE_POINTS)[:, None]
    angle = np.stack(gear.flank_angle(np.broadcast_to(radius, (LINE_POINTS, z))))
    xy = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=-1) + gear.axis
    return np.asarray(np.swapaxes(xy, 1, 2))


def flank_place(gear: CutGear, tooth: int, side: str, height: float) -> tuple[Floats, Floats]:
    """Point on a flank, mm about the bore, and the direction out of the material there.

    `height` is 0 at the start of the flank, 1 at the tip.
    """
    start, end = gear.made.form_radius, gear.made.tip_radius
    radius = start + height * (end - start)
    which = ("left", "right").index(side)
    angle = gear.flank_angle(np.full(gear.wheel.teeth, radius))[which][tooth - 1]
    radial = np.array([np.cos(angle), np.sin(angle)])
    along = np.array([-radial[1], radial[0]]) * (1 if which else -1)
    lean = float(gear.made.flank.arm(radius, which)) / radius  # its cosine against the tangent
    normal = along * lean + radial * sqrt(max(1 - lean**2, 0.0))
    return gear.axis + radius * radial, normal
