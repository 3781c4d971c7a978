"""From what the person states of the teeth to the theoretical wheel, for every tooth form."""

from dataclasses import replace
from math import pi, radians

import numpy as np
from numpy.typing import NDArray

from cogloupe.edges import Outlines
from cogloupe.fits.size import MODULE_AGREES, SeenModule, half_tip, see_module
from cogloupe.forms.clock_wheel import (
    MOST_LEAVES,
    PINION_ADDENDUM,
    WHEEL_ADDENDUM,
    CycloidalWheel,
    leaf_thickness,
)
from cogloupe.forms.cycloid import Addendum, CycloidalForm, Epicycloid, RoundTop
from cogloupe.forms.rack import Gear
from cogloupe.forms.straight import StraightForm, StraightWheel
from cogloupe.forms.tooth_form import Wheel
from cogloupe.gaps import tip_radii
from cogloupe.settings import GearSettings
from cogloupe.teeth import ToothMap

Floats = NDArray[np.float64]


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
    settings : GearSettings
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

    Parameters
    ----------
    settings : GearSettings
    teeth : int

    Returns
    -------
    height, u : float
    """
    if settings.addendum is not None:
        return settings.addendum, 0.02
    return PINION_ADDENDUM if teeth <= MOST_LEAVES else WHEEL_ADDENDUM


def stated_wheel(settings: GearSettings, teeth: ToothMap, module_mm: float, px: float) -> Wheel:
    """The theoretical wheel of the stated form and size.

    Parameters
    ----------
    settings : GearSettings
    teeth : ToothMap
        For the number of teeth, and the tips and floors of forms that do not say their own.
    module_mm : float
    px : float
        Mm per px.

    Returns
    -------
    Wheel
    """
    z = teeth.teeth
    if settings.form == "involute":
        return Gear(z, module_mm, settings.basic_rack(module_mm))
    root, tip = teeth.root_radius * px, teeth.tip_radius * px
    if settings.form == "straight":
        sides = StraightForm((0.0, 0.0))
        return StraightWheel(z, module_mm, sides, pi * module_mm / 2, root, tip)
    form = CycloidalForm(_addendum(settings, z, module_mm))
    return CycloidalWheel(z, module_mm, form, leaf_thickness(z) * module_mm, root, tip)


def _addendum(settings: GearSettings, teeth: int, module_mm: float) -> Addendum:
    """The stated curve; without one, a start for finding it on the flanks."""
    pitch, lengths = teeth * module_mm / 2, settings.lengths_mm
    if "addendum_radius" in lengths:
        return RoundTop(pitch, lengths["addendum_radius"])
    if "generating_circle" in lengths:
        return Epicycloid(pitch, lengths["generating_circle"] / 2)
    # A circle of half the mate's pitch diameter gives the mate its straight flanks.
    return Epicycloid(pitch, (settings.mate_teeth or 8) * module_mm / 4)


def at_tips_and_floors(wheel: CycloidalWheel, tip_mm: float, floor_mm: float) -> CycloidalWheel:
    """The wheel as far in and out as it was found to reach: its depth is not stated.

    Parameters
    ----------
    wheel : CycloidalWheel
    tip_mm, floor_mm : float
        Mean radii that were found; not used where NaN.

    Returns
    -------
    CycloidalWheel
    """
    if np.isfinite(floor_mm):
        wheel = replace(wheel, root_radius=floor_mm)
    return replace(wheel, tip_radius=tip_mm) if np.isfinite(tip_mm) else wheel
