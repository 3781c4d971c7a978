"""Basic racks: the proportions that standards and the trade give to teeth.

Proportions are multiples of the module, angles radians; each names its source.
"""

from dataclasses import dataclass
from math import cos, pi, radians, sin, tan

from cogloupe_calibration.errors import UseError
from cogloupe_calibration.units import MM_PER_INCH


@dataclass(frozen=True)
class BasicRack:
    """Proportions of a basic rack tooth, in modules.

    Attributes
    ----------
    name : str
        Name in the standard or the trade.
    pressure_angle : float
        Flank angle, rad.
    addendum, dedendum : float
        Above and below the datum line, in modules.
    fillet_radius : float
        Rounding at the root of the rack tooth, in modules.
    """

    name: str
    pressure_angle: float
    addendum: float
    dedendum: float
    fillet_radius: float


def full_radius(pressure_angle: float, dedendum: float) -> float:
    """Largest rounding that fits the tip of the cutting rack, in modules.

    Radius at which the two corners of the tip meet in one arc.

    Parameters
    ----------
    pressure_angle : float
        Flank angle, rad.
    dedendum : float
        Dedendum, in modules.
    """
    half_tip = pi / 4 - dedendum * tan(pressure_angle)
    return half_tip * cos(pressure_angle) / (1 - sin(pressure_angle))


def _dp_fine(angle_deg: float, module_mm: float) -> tuple[float, float]:
    """Dedendum and fillet of the fine-pitch system: 1.200/P + 0.002 in, fillet its clearance."""
    allowance = 0.002 * MM_PER_INCH / module_mm
    dedendum = 1.2 + allowance
    natural = (0.2 + allowance) / (1 - sin(radians(angle_deg)))
    return dedendum, min(natural, full_radius(radians(angle_deg), dedendum))


# name: (pressure angle deg, addendum, dedendum, fillet), in modules.
# ISO 53:1998 A-D and ANSI B6.1-1968: values from memory. Older full depth: whole depth 2.157/P and
# fillets of 1 1/3 and 1 1/2 clearances, as published full-depth tooth calculation pages give them.
# Stub teeth: addendum 0.8/P and whole depth 1.8/P (ASA B6.1-1932, from memory); fillet our choice.
_FIXED_RACKS: dict[str, tuple[float, float, float, float]] = {
    "iso53-a": (20.0, 1.0, 1.25, 0.38),
    "iso53-b": (20.0, 1.0, 1.25, 0.30),
    "iso53-c": (20.0, 1.0, 1.25, 0.25),
    "iso53-d": (20.0, 1.0, 1.40, 0.39),
    "dp-coarse-20": (20.0, 1.0, 1.25, 0.30),
    "full-depth-20": (20.0, 1.0, 1.157, 1.5 * 0.157),
    "full-depth-14.5": (14.5, 1.0, 1.157, 0.157 * 4 / 3),
    "stub-20": (20.0, 0.8, 1.0, 0.30),
}


_FINE_RACKS = {"dp-fine-20": 20.0, "dp-fine-14.5": 14.5}
"""Pressure angles, degrees, of the fine-pitch system (ANSI B6.7, from memory), whose dedendum holds
an allowance that does not shrink with the module: see `_dp_fine`."""


RACK_NAMES = (*_FIXED_RACKS, *_FINE_RACKS)


def basic_rack(name: str, module_mm: float) -> BasicRack:
    """Look up a basic rack by name.

    Parameters
    ----------
    name : str
        One of `RACK_NAMES`.
    module_mm : float
        Module; the fine-pitch system's proportions depend on it.

    Raises
    ------
    UseError
        Where no rack of that name is known.

    Examples
    --------
    >>> basic_rack("iso53-a", 0.5).dedendum
    1.25
    """
    if name in _FIXED_RACKS:
        angle_deg, addendum, dedendum, fillet = _FIXED_RACKS[name]
    elif name in _FINE_RACKS:
        angle_deg, addendum = _FINE_RACKS[name], 1.0
        dedendum, fillet = _dp_fine(angle_deg, module_mm)
    else:
        raise UseError(f"rack '{name}' is not known: use one of {', '.join(RACK_NAMES)}")
    return BasicRack(name, radians(angle_deg), addendum, dedendum, fillet)


def rack_for_angle(pressure_angle_deg: float, module_mm: float, dp: bool) -> BasicRack:
    """Rack that the trade would reach for, given only an angle and a pitch system.

    ISO 53 A for modules, the fine or coarse 20 degree system for diametral pitches, the older full
    depth at 14.5 degrees; other angles take ISO 53 A's depths with the largest rounding up to 0.38
    that fits.

    Parameters
    ----------
    pressure_angle_deg : float
        Any angle from 10 to 32 degrees; beyond, a rack as deep as ISO 53 A's comes to a point.
    module_mm : float
        Module.
    dp : bool
        True for a gear stated in diametral pitch.

    Raises
    ------
    UseError
        Where the angle is outside 10 to 32 degrees.
    """
    if not 10.0 <= pressure_angle_deg <= 32.0:
        raise UseError(
            f"pressure angle {pressure_angle_deg:g} degrees is outside 10 to 32; cut gears have "
            "14.5, 20 or 25"
        )
    if abs(pressure_angle_deg - 14.5) < 1e-9:
        return basic_rack("full-depth-14.5", module_mm)
    if abs(pressure_angle_deg - 20.0) < 1e-9:
        fine = dp and MM_PER_INCH / module_mm >= 20 - 1e-9
        name = "dp-fine-20" if fine else "dp-coarse-20" if dp else "iso53-a"
        return basic_rack(name, module_mm)
    angle = radians(pressure_angle_deg)
    return BasicRack(
        f"{pressure_angle_deg:g} degrees", angle, 1.0, 1.25, min(0.38, full_radius(angle, 1.25))
    )
