"""The module that the teeth show, and their axis as far as it is seen before the size is known.

Lengths are px of the picture, angles rad.
"""

from dataclasses import dataclass
from math import hypot, radians, sqrt

import numpy as np

from cogloupe.finding.tooth_map import ToothMap, half_tip
from cogloupe.fits.flanks import fit_flanks, rough_involute
from cogloupe.fits.radii import tip_radii
from cogloupe.fits.teeth_axis import nearer_axis
from cogloupe.forms.clock_wheel import (
    MOST_LEAVES,
    PINION_ADDENDUM,
    WHEEL_ADDENDUM,
)
from cogloupe.forms.tooth_form import OUT
from cogloupe.inputs.settings import GearSettings
from cogloupe.optics.outlines import Outlines
from cogloupe_calibration.arrays import Floats

MODULE_AGREES = 0.03
"""Share by which a stated module may miss the one seen: neighbours differ by 6 % and more (ISO 54,
from memory), scale and blank are hardly off by as much (our own judgement)."""
WITHIN_TIPS = 0.85, 1.15
"""Module by the flanks, in that by the tips, between which it is looked for: a profile shift of
half a module moves the tips of 12 teeth by 7 % (our own judgement)."""


@dataclass(frozen=True)
class SeenModule:
    """Module in px as the picture shows it.

    Attributes
    ----------
    px, u_px : float
        Weighted mean of two ways to see it, and its standard uncertainty.
    by_tip, by_flank : float
        From the tip diameter (z + 2 modules) and from the curve of the flanks (base circle).
    agrees : float
        A stated module that differs by more than this share contradicts the picture.
    """

    px: float
    u_px: float
    by_tip: float
    by_flank: float
    agrees: float = MODULE_AGREES


def see_module(
    outlines: Outlines,
    teeth: ToothMap,
    centre: Floats,
    pressure_angle: float,
    known: float | None = None,
) -> tuple[SeenModule, Floats]:
    """Module in px that the teeth show, and the axis of the teeth.

    Parameters
    ----------
    outlines, teeth
        Edges and their teeth.
    centre : ndarray, shape (2,)
        Rough centre, px.
    pressure_angle : float
        Stated pressure angle, rad.
    known : float, optional
        Module in px where it is stated and the picture cannot tell it: an arc tells its radius
        and its middle only together.

    Returns
    -------
    SeenModule
    ndarray, shape (2,)
        Axis of the teeth, px.

    Notes
    -----
    The tip diameter gives ``d_a / (z + 2)``, wrong by any error of the blank or by a profile
    shift (taken as 0.1 modules on the radius, common practice, no source). The flanks' curve
    gives the base circle, wrong by any error of the pressure angle (half a degree). Each is
    weighted by that.
    """
    z = teeth.teeth
    by_tip = 2 * teeth.tip_radius / (z + 2)
    module, anchor = known or by_tip, centre
    for _ in range(4 if known is None else 8):
        base = module * z / 2 * np.cos(pressure_angle)
        curve = rough_involute(teeth, module, pressure_angle)
        fits = fit_flanks(outlines.outer, teeth, centre, curve)
        slope = np.nanmedian(OUT * fits.slope * base)
        if known is None:
            module = float(np.clip(module * (1 + slope), *np.multiply(WITHIN_TIPS, by_tip)))
        centre = nearer_axis(outlines, teeth, anchor, fits)
    if known is not None:
        return SeenModule(known, 0.03 * known, known, known), centre
    noise = float(np.nanmedian(fits.u_slope)) * base / sqrt(2 * z)
    u_flank = hypot(0.5 * np.pi / 180 * np.tan(pressure_angle), noise)
    u_tip = tip_doubt(z)
    weights = np.array([u_tip**-2, u_flank**-2])
    seen = float(weights @ [by_tip, module] / weights.sum())
    return SeenModule(seen, seen / sqrt(weights.sum()), by_tip, module), centre


def tip_doubt(teeth: int) -> float:
    """Relative standard uncertainty of a module that the tips tell: a tenth on the radius."""
    return 0.2 / (teeth + 2)


def see_size(
    outlines: Outlines,
    teeth: ToothMap,
    centre: Floats,
    settings: GearSettings,
    known: float | None,
) -> tuple[SeenModule, Floats]:
    """Module in px that the teeth show, and their axis as far as it is seen yet.

    Parameters
    ----------
    outlines, teeth
        Edges and their teeth.
    centre : ndarray, shape (2,)
        Rough centre, px.
    known : float or None
        Module in px where it is stated and the picture cannot tell it.

    Returns
    -------
    SeenModule
    ndarray, shape (2,)
        Px.
    """
    if settings.form == "involute":
        angle = radians(settings.pressure_angle_deg)
        return see_module(outlines, teeth, centre, angle, known)
    crested = settings.form == "cycloidal"
    tips, circle = tip_radii(outlines.outer, teeth, centre, half_tip(teeth), crested)
    axis = centre if circle is None else circle.centre
    seen = np.isfinite(tips.value)
    tip = float(np.median(tips.value[seen])) if seen.any() else teeth.tip_radius
    if settings.form == "straight":  # its pitch is stated half-way up the teeth
        middle, doubt = teeth.mid_radius, (teeth.tip_radius - teeth.root_radius) / 4
        px, relative = 2 * middle / teeth.teeth, doubt / middle
    else:
        height, u = addendum_height(settings, teeth.teeth)
        full = teeth.teeth + 2 * height
        px, relative = 2 * tip / full, 2 * u / full
    px = known or px
    return SeenModule(px, relative * px, px, px, agrees=max(MODULE_AGREES, 4 * relative)), axis


def addendum_height(settings: GearSettings, teeth: int) -> tuple[float, float]:
    """Height of a cycloidal tooth above the pitch circle, and its standard uncertainty, in modules.

    Returns
    -------
    height, u : float
    """
    if settings.addendum is not None:
        return settings.addendum, 0.02
    return PINION_ADDENDUM if teeth <= MOST_LEAVES else WHEEL_ADDENDUM
