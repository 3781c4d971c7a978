"""The gear that is to run with a measured one: whether it belongs there, or as the book has it.

Lengths mm, angles rad.
"""

from dataclasses import replace
from math import degrees, pi

import numpy as np

from cogloupe.forms.clock_wheel import (
    MOST_LEAVES,
    PINION_ADDENDUM,
    WHEEL_ADDENDUM,
    CycloidalWheel,
    leaf_thickness,
)
from cogloupe.forms.cycloid import CycloidalForm, Epicycloid
from cogloupe.forms.rack import Gear
from cogloupe.forms.tooth_form import Wheel
from cogloupe.pairing.running_gear import RunningGear, flank_grid
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.units import MM_PER_INCH

SAME_MODULE = 2e-3
"""Modules that differ by less, as a share, are one: stated sizes are rounded, and sizes in use lie
further apart."""
SAME_ANGLE = np.radians(0.1)
"""Pressure angles that differ by less are one."""
FEWEST_TEETH, MOST_TEETH = 5, 1000
"""Teeth that a mate can have, as in a plan."""

ROUNDING_MODULES = 0.1
"""Rounding at the floor of a perfect clock gear: half of what a wheel's tips leave free there."""


def theoretical_mate(gear: RunningGear, teeth: int, profile_shift: float = 0.0) -> RunningGear:
    """The perfect mate of a measured gear.

    Of the same rack, or a clock wheel or pinion by the trade's rules whose addendum a circle of
    half the measured gear's pitch diameter has rolled.

    Parameters
    ----------
    profile_shift : float
        In modules; of involute teeth.

    Raises
    ------
    UseError
        Where there is no such gear.
    """
    if not FEWEST_TEETH <= teeth <= MOST_TEETH:
        raise UseError(
            f"a mate of {teeth} teeth is outside {FEWEST_TEETH} to {MOST_TEETH}: check --mate-teeth"
        )
    wheel = gear.wheel
    if isinstance(wheel, Gear):
        mate: Wheel = Gear(teeth, wheel.module_mm, wheel.rack, profile_shift)
    else:
        mate = _clock_mate(wheel, teeth, profile_shift)
    return theoretical_gear(mate)


def theoretical_gear(wheel: Wheel) -> RunningGear:
    """A gear without errors.

    Examples
    --------
    >>> from cogloupe import Gear, basic_rack
    >>> wheel = theoretical_gear(Gear(21, 0.5, basic_rack("iso53-a", 0.5)))
    >>> wheel.off.shape  # no flank is off anywhere
    (21, 2, 160)
    """
    along, radius = flank_grid(wheel, wheel.form_radius, wheel.tip_radius)
    at_pitch = wheel.half_angles(wheel.reference_radius) + wheel.flank.turn(wheel.reference_radius)
    return RunningGear(
        name=f"theory-{wheel.teeth}",
        wheel=wheel,
        start=-pi / 2,
        half=at_pitch,
        along=along,
        radius=radius,
        off=np.zeros((wheel.teeth, 2, len(along))),
        tip=np.full(wheel.teeth, wheel.tip_radius),
        root=np.full(wheel.teeth, wheel.root_radius),
        form_radius=wheel.form_radius,
        axis=0j,
        axis_seen=True,
        bore_mm=None,
        gap=np.zeros((0, 2)),
        covered=(),
        doubts=None,
    )


def _clock_mate(wheel: Wheel, teeth: int, profile_shift: float) -> CycloidalWheel:
    """Clock wheel or pinion for a measured one (common practice, no source)."""
    if profile_shift:
        raise UseError("cycloidal teeth have no profile shift: leave --mate-profile-shift out")
    m, pitch = wheel.module_mm, teeth * wheel.module_mm / 2
    addendum = (WHEEL_ADDENDUM if teeth > MOST_LEAVES else PINION_ADDENDUM)[0]
    made = CycloidalWheel(
        teeth=teeth,
        module_mm=m,
        form=CycloidalForm(Epicycloid(pitch, wheel.reference_radius / 2)),
        thickness_mm=leaf_thickness(teeth) * m,
        root_radius=pitch - pi / 2 * m,
        tip_radius=pitch + addendum * m,
        fillet_mm=ROUNDING_MODULES * m,
    )
    return replace(made, tip_radius=min(made.tip_radius, made.ridge))


def check_pair(a: RunningGear, b: RunningGear) -> None:
    """See that two gears can belong together.

    Raises
    ------
    UseError
        Naming both figures where form, module or pressure angle differ.
    """
    forms = a.wheel.flank.name, b.wheel.flank.name
    if forms[0] != forms[1]:
        raise UseError(
            f"{a.name} has {forms[0]} teeth and {b.name} {forms[1]} ones: they do not run together"
        )
    modules = a.wheel.module_mm, b.wheel.module_mm
    if abs(modules[0] / modules[1] - 1) > SAME_MODULE:
        sizes = " and ".join(f"{m:.4g} mm ({MM_PER_INCH / m:.4g} DP)" for m in modules)
        raise UseError(
            f"{a.name} and {b.name} have different modules, {sizes}: they do not run together"
        )
    if isinstance(a.wheel, Gear) and isinstance(b.wheel, Gear):
        angles = [gear.wheel.rack.pressure_angle for gear in (a, b)]  # type: ignore[attr-defined]
        if abs(angles[0] - angles[1]) > SAME_ANGLE:
            told = " and ".join(f"{degrees(angle):.4g}°" for angle in angles)
            raise UseError(
                f"{a.name} and {b.name} have different pressure angles, {told}: they do not run "
                "together"
            )
