"""From what the person states of the teeth to the theoretical wheel, for every tooth form."""

from dataclasses import replace
from math import pi

import numpy as np

from cogloupe.finding.tooth_map import ToothMap
from cogloupe.forms.clock_wheel import (
    CycloidalWheel,
    leaf_thickness,
)
from cogloupe.forms.cycloid import Addendum, CycloidalForm, Epicycloid, RoundTop
from cogloupe.forms.rack import Gear
from cogloupe.forms.straight import StraightForm, StraightWheel
from cogloupe.forms.tooth_form import Wheel
from cogloupe.inputs.settings import GearSettings


def stated_wheel(settings: GearSettings, teeth: ToothMap, module_mm: float, px: float) -> Wheel:
    """The theoretical wheel of the stated form and size.

    Parameters
    ----------
    teeth : ToothMap
        For the number of teeth, and the tips and floors of forms that do not say their own.
    px : float
        Mm per px.
    """
    z = teeth.teeth
    if settings.form == "involute":
        return Gear(z, module_mm, settings.basic_rack(module_mm))
    root, tip = teeth.root_radius * px, teeth.tip_radius * px
    if settings.form == "straight":
        sides = StraightForm((0.0, 0.0))
        return StraightWheel(
            teeth=z,
            module_mm=module_mm,
            form=sides,
            thickness_mm=pi * module_mm / 2,
            root_radius=root,
            tip_radius=tip,
        )
    form = CycloidalForm(_addendum(settings, z, module_mm))
    return CycloidalWheel(
        teeth=z,
        module_mm=module_mm,
        form=form,
        thickness_mm=leaf_thickness(z) * module_mm,
        root_radius=root,
        tip_radius=tip,
    )


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
    tip_mm, floor_mm : float
        Mean radii that were found; not used where NaN.
    """
    if np.isfinite(floor_mm):
        wheel = replace(wheel, root_radius=floor_mm)
    return replace(wheel, tip_radius=tip_mm) if np.isfinite(tip_mm) else wheel
