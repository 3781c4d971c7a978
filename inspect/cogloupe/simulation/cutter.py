"""Shapes of the cutters: a hob's tooth in axial section, and a form cutter's profile.

A shape stands with its tip at height 0 and its middle at 0; x runs along the pitch line towards
higher tooth numbers, y away from the work's axis. Lengths are millimetres.
"""

from dataclasses import dataclass
from math import ceil, cos, pi, radians, sin, sqrt, tan

import numpy as np

from cogloupe.forms.basic_racks import BasicRack, full_radius
from cogloupe.forms.rack import Gear, half_gap
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import UseError


@dataclass(frozen=True)
class RackTooth:
    """Tooth of a rack-shaped cutter: a flat tip, two roundings, two straight flanks.

    `angle` is that of the flanks, rad, `rounding` the radius of the tip's corners and `corner` how
    far their centres lie from the middle, half the flat of the tip, mm.
    """

    angle: float
    rounding: float
    corner: float

    @property
    def flank_start(self) -> float:
        """Height where rounding meets flank, mm."""
        return self.rounding * (1 - sin(self.angle))

    @property
    def half_tip(self) -> float:
        """Half the width of the tip if its corners were sharp, mm."""
        return self.corner + self.rounding * (1 / cos(self.angle) - tan(self.angle))


def as_ground(rack: BasicRack, angle_error_deg: float) -> BasicRack:
    """Rack of a hob ground with a wrong flank angle, the error in degrees.

    Its tip rounding made smaller where it would not fit.
    """
    angle = rack.pressure_angle + radians(angle_error_deg)
    fillet = min(rack.fillet_radius, full_radius(angle, rack.dedendum))
    return BasicRack(rack.name, angle, rack.addendum, rack.dedendum, fillet)


def hob_tooth(rack: BasicRack, module_mm: float) -> RackTooth:
    """Tooth of the hob that cuts to a basic rack.

    The hob follows the rack; its roots are the hob's tips.

    Raises
    ------
    UseError
        Where the rounding does not fit the tip.
    """
    a, fillet = rack.pressure_angle, rack.fillet_radius
    corner = pi / 4 + (fillet - rack.dedendum) * tan(a) - fillet / cos(a)
    if corner < -1e-9:
        raise UseError(
            f"a hob for rack '{rack.name}' cannot be made: a rounding of {fillet:g} modules does "
            f"not fit its tip, {full_radius(a, rack.dedendum):.3f} is the most"
        )
    return RackTooth(a, fillet * module_mm, max(corner, 0.0) * module_mm)


def tooth_polygon(tooth: RackTooth, height_mm: float, chord_error_mm: float) -> Floats:
    """Outline (n, 2) of a hob's tooth, closed by the top; chords stray by the error, mm."""
    quarter = pi / 2 - tooth.angle
    step = sqrt(8 * chord_error_mm / max(tooth.rounding, 1e-3))
    turn = np.linspace(0, quarter, ceil(quarter / step) + 1)
    x = tooth.corner + tooth.rounding * np.sin(turn)
    y = tooth.rounding * (1 - np.cos(turn))
    x = np.append(x, tooth.half_tip + height_mm * tan(tooth.angle))
    return _mirrored(x, np.append(y, height_mm))


def form_polygon(gear: Gear, height_mm: float) -> Floats:
    """Outline of a form cutter: the gap of the gear it was shaped for.

    Corners (n, 2), closed by the top; the cutter's flanks go up to `height_mm`.

    Notes
    -----
    With 150 points on flank and fillet each, chords leave under 0.02 um at module 1.
    """
    tall = Gear(
        gear.teeth, gear.module_mm, gear.rack, gear.profile_shift, gear.root_radius + height_mm
    )
    radius, angle = half_gap(tall, 150, 150)
    return _mirrored(radius * np.sin(angle), radius * np.cos(angle) - gear.root_radius)


def _mirrored(x: Floats, y: Floats) -> Floats:
    """Closed outline from its right half, tip first."""
    return np.stack([np.concatenate([-x[::-1], x]), np.concatenate([y[::-1], y])], axis=1)
