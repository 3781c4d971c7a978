"""How large an error of each kind may be: by the class that is wanted, else by what is usual.

Errors of running follow the tolerances of ISO 1328-1:2013, whose formulas are continued to gears
outside its scope. A pattern with a single cause may take half of what the class allows over a
turn, since scatter and other causes come on top. What the standard does not grade, as thickness,
depth and the cutter's angle, has allowances of its own (common practice, no source).
"""

from dataclasses import dataclass
from math import sqrt

from cogloupe.evaluation.tolerance import continued_2013

USUAL_CLASS = 8
"""Class that a small gear is held against where none is asked for: careful hobbing and form cutting
in a workshop reach 7 to 9 (common practice, no source)."""
ONE_CAUSE = 0.5
"""Share of the tolerance over a turn, of the runout and of the mean slope that one cause may
take."""
ANGLE_DEG = 0.2
"""How far a cutter's flank angle may be off at the usual class."""
THINNER, THICKER = 0.03, 0.015
"""How much thinner teeth may be than drawn, and how much thicker, since then they have no play; in
modules."""
DEPTH = 0.05
"""How far floors may lie from their depth, and tips from theirs on the radius, in modules."""
TIPS = 0.05
"""How far the outside may stand off the axis, in modules."""
SHORT = 0.25
"""Share of one side's flanks that may be cut short."""


@dataclass(frozen=True, kw_only=True)
class Allowed:
    """What is allowed of each kind of error.

    Attributes
    ----------
    flank_class : int
        Class it was taken for.
    single_pitch_um, turn_um : float
        Of the step from tooth to tooth; of what one cause does over a turn.
    scatter_um : float
        Of what scatter does over a turn.
    off_axis_um : float
        Of the teeth's axis from the bore's.
    slope_um : float
        Of the mean profile slope.
    angle_deg : float
        Of the cutter's flank angle.
    """

    flank_class: int
    single_pitch_um: float
    turn_um: float
    scatter_um: float
    off_axis_um: float
    slope_um: float
    angle_deg: float
    thinner_um: float
    thicker_um: float
    depth_um: float
    tips_um: float
    short: float


def allowed(module_mm: float, teeth: int, wanted_class: int | None) -> Allowed:
    """What is allowed of a gear.

    Parameters
    ----------
    wanted_class : int or None
        Flank tolerance class; None for the usual one.
    """
    graded = USUAL_CLASS if wanted_class is None else wanted_class
    limits, um = continued_2013(module_mm, teeth, graded), 1000 * module_mm
    return Allowed(
        flank_class=graded,
        single_pitch_um=limits.single_pitch_um,
        turn_um=ONE_CAUSE * limits.cumulative_pitch_um,
        scatter_um=limits.cumulative_pitch_um,
        # A pure eccentricity runs out by twice itself.
        off_axis_um=ONE_CAUSE * limits.runout_um / 2,
        slope_um=ONE_CAUSE * limits.profile_slope_um,
        angle_deg=ANGLE_DEG * sqrt(2) ** (graded - USUAL_CLASS),
        thinner_um=THINNER * um,
        thicker_um=THICKER * um,
        depth_um=DEPTH * um,
        tips_um=TIPS * um,
        short=SHORT,
    )
