"""How a gear is named for a person."""

from math import pi

import numpy as np

from cogloupe.forms.standard_sizes import DIAMETRAL_PITCHES, MODULES_MM
from cogloupe.reading.models import GearInfo

_SAME_SIZE = 1e-3
"""Share within which a size is the standard one: rounded as it is stated, but no neighbour."""


def stated_in_dp(gear: GearInfo) -> bool:
    """Tell whether a gear is one that the trade states in diametral pitch.

    True where its diametral pitch lies within 0.1 % of one in common use, and closer than its
    module lies to a preferred module.
    """
    return _in_dp(gear.module_mm, gear.diametral_pitch)


def _in_dp(module_mm: float, diametral_pitch: float) -> bool:
    dp_off = float(np.abs(diametral_pitch / np.array(DIAMETRAL_PITCHES) - 1).min())
    module_off = float(np.abs(module_mm / np.array(MODULES_MM) - 1).min())
    return dp_off < _SAME_SIZE and dp_off < module_off


def size_name(module_mm: float, diametral_pitch: float) -> str:
    """Size as the trade states it, ``48 DP`` or ``module 0.5 mm``."""
    if _in_dp(module_mm, diametral_pitch):
        return f"{diametral_pitch:.4g} DP"
    return f"module {module_mm:.4g} mm"


def gear_size(gear: GearInfo) -> str:
    """Size of a gear as its maker would say it.

    ``48 DP`` or ``module 0.5 mm``; for straight-sided teeth, ``pitch 2.01 mm``.
    """
    if gear.form == "straight":
        return f"pitch {pi * gear.measuring_diameter_mm / gear.teeth:.4g} mm"
    return size_name(gear.module_mm, gear.diametral_pitch)


def gear_name(gear: GearInfo) -> str:
    """Name a gear by its teeth, size and pressure angle or form."""
    if gear.form == "straight":
        return f"{gear.teeth} straight-sided teeth, {gear_size(gear)}"
    last = "cycloidal" if gear.pressure_angle_deg is None else f"{gear.pressure_angle_deg:g}°"
    return f"{gear.teeth} teeth, {gear_size(gear)}, {last}"


def gear_origin(gear: GearInfo) -> str:
    """Say what the teeth were compared with, in one or two sentences."""
    how = "as stated" if gear.source == "given" else "estimated from the picture"
    size = f"Module {gear.module_mm:.4g} mm = {gear.diametral_pitch:.4g} DP ({how})"
    if gear.form == "straight":
        return (
            f"Straight-sided teeth; their pitch is told on a circle of "
            f"{gear.measuring_diameter_mm:.4g} mm."
        )
    if gear.form == "cycloidal":
        circle, arc = gear.generating_circle_mm, gear.addendum_radius_mm
        curve = f"generating circle {circle:.4g} mm" if circle else f"addendum arc {arc:.4g} mm"
        told = "as stated" if gear.addendum_source == "given" else "by the best fit"
        return f"{size}, cycloidal teeth, {curve} in {'diameter' if circle else 'radius'} ({told})."
    return f"{size}, rack {gear.rack}, profile shift {gear.profile_shift:+.3f}."
