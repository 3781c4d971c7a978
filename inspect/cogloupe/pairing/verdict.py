"""The one thing to know of a pair."""

from math import pi
from typing import Literal

from cogloupe.forms.clock_wheel import leaf_thickness
from cogloupe.forms.rack import Gear
from cogloupe.pairing.backlash import Backlash
from cogloupe.pairing.centre_distance import Window
from cogloupe.pairing.clearance import Room
from cogloupe.pairing.running_gear import RunningGear
from cogloupe.planning.plan import USUAL_BACKLASH

VerdictKind = Literal["cannot_run", "tight", "ratio", "fillet", "play", "perhaps_tight", "free"]
TOO_MUCH = 4.0
"""Times the usual backlash beyond which play is called too much (common practice, no source)."""


def verdict_of(
    a: RunningGear, b: RunningGear, backlash: Backlash, found: Room, usable: Window
) -> VerdictKind:
    """Tell the one thing to know of a pair, the gravest first."""
    if usable.empty:
        return "cannot_run"
    if (
        backlash.least.value + 2 * backlash.least.u < 0
        or min(found.tips_a.value + 2 * found.tips_a.u, found.tips_b.value + 2 * found.tips_b.u) < 0
    ):
        return "tight"
    if found.ratio.value + 2 * found.ratio.u < 1:
        return "ratio"
    if min(f.value + 2 * f.u for f in (found.fillet_a, found.fillet_b)) < 0:
        return "fillet"
    if backlash.least.value < 2 * backlash.least.u:
        return "perhaps_tight"
    limit = TOO_MUCH * USUAL_BACKLASH * a.wheel.module_mm + _cut_in(a, b)
    return "play" if backlash.mean.value > limit else "free"


def _cut_in(a: RunningGear, b: RunningGear) -> float:
    """Backlash that is cut into two gears by the trade's rules, mm."""
    if isinstance(a.wheel, Gear):
        return 0.0
    thick = leaf_thickness(a.teeth) + leaf_thickness(b.teeth)
    return (pi - thick) * a.wheel.module_mm
