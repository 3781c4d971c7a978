"""What a fault costs the gear's running, as a share of what is allowed of its kind.

One currency for all: 1 is as much as the class allows. What counts is what a mate feels: the step
from one tooth to the next (noise, a tick), what adds up over a turn (unsteady speed), the axis of
the teeth from the bore's (play that comes and goes, jamming), slopes of the flanks (a jump at
every hand-over), and thickness (play, or none).
"""

from collections.abc import Callable
from math import degrees, hypot, sqrt, tan

import numpy as np

from cogloupe.causes.diagnosis import Ranked
from cogloupe.causes.machine_units import Case
from cogloupe.causes.model import scatter_covariance
from cogloupe.causes.pattern_layout import SHARED
from cogloupe.causes.ranking import Fit
from cogloupe.judging.allowances import Allowed

LARGEST_OF_MANY = 2.5
"""Largest of some fifty normal values, either sign, over their standard deviation."""
RANGE_OF_MANY = 4.2
"""Range of some thirty of them likewise."""

Cost = Callable[[Fit, Case, Allowed], float]


def cost_of(ranked: Ranked, case: Case, allowed: Allowed) -> float:
    """What a cause as found costs the gear's running.

    Share of what is allowed; above 1 it is a fault. 0 for what a mate does not feel.
    """
    return _COSTS[ranked.cause.code](ranked.fit, case, allowed)


def _of_places(fit: Fit, case: Case, allowed: Allowed) -> float:
    """Flanks out of place: the step to the next tooth, and what adds up over a turn."""
    flanks = fit.shape[: 2 * case.teeth].reshape(-1, 2)
    step = float(np.abs(flanks - np.roll(flanks, 1, axis=0)).max())
    turn = float(np.ptp(flanks, axis=0).max())
    return max(
        step / allowed.single_pitch_um,
        turn / allowed.turn_um,
        _of_thickness(shared_part(fit, case, "thickness"), allowed),
    )


def _of_scatter(fit: Fit, case: Case, allowed: Allowed) -> float:
    """Flanks out of place at random: the largest step to be expected, and the play left over."""
    flanks = 2 * case.teeth
    covariance = scatter_covariance(case.observed, fit.kind, fit.scatter)[:flanks:2, :flanks:2]
    step = sqrt(max(2 * float(covariance[0, 0] - covariance[0, 1]), 0.0))
    wider = _of_thickness(shared_part(fit, case, "thickness"), allowed)
    turn = RANGE_OF_MANY * fit.scatter / allowed.scatter_um
    return max(LARGEST_OF_MANY * step / allowed.single_pitch_um, turn, wider)


def _of_thickness(thicker_um: float, allowed: Allowed) -> float:
    if thicker_um > 0:
        return thicker_um / allowed.thicker_um
    return -thicker_um / allowed.thinner_um


def shared_part(fit: Fit, case: Case, name: str) -> float:
    """What a fit makes of one of the figures that all teeth share, µm."""
    return float(fit.shape[2 * case.teeth + SHARED.index(name)])


def _off_axis(fit: Fit, case: Case, allowed: Allowed) -> float:
    return hypot(*fit.size[:2]) / allowed.off_axis_um


def _tips_off(fit: Fit, case: Case, allowed: Allowed) -> float:
    return hypot(*fit.size[:2]) / allowed.tips_um


def _of_depth(fit: Fit, case: Case, allowed: Allowed) -> float:
    floors = abs(shared_part(fit, case, "root")) / allowed.depth_um
    return max(floors, _of_thickness(shared_part(fit, case, "thickness"), allowed))


def _of_blank(fit: Fit, case: Case, allowed: Allowed) -> float:
    return max(
        abs(shared_part(fit, case, "tip")) / allowed.depth_um,
        _of_thickness(shared_part(fit, case, "thickness"), allowed),
    )


def _of_slopes(fit: Fit, case: Case, allowed: Allowed) -> float:
    slopes = [abs(shared_part(fit, case, f"slope_{side}")) for side in ("left", "right")]
    return max(slopes) / allowed.slope_um


def _of_profile(fit: Fit, case: Case, allowed: Allowed) -> float:
    if fit.family.name == "flank angle":
        return abs(angle_off_deg(fit, case)) / allowed.angle_deg
    return _of_slopes(fit, case, allowed)


def angle_off_deg(fit: Fit, case: Case) -> float:
    """How much larger a cutter's flank angle is than stated, by the slope it leaves.

    Degrees: slopes fall by ``d tan a`` over each length of roll.

    Parameters
    ----------
    fit : Fit
        Of a cause that leaves a slope, µm, alike on both sides.
    """
    design = case.observed.design
    return degrees(-float(fit.size[0]) / (tan(design.pressure_angle) * design.reach_um))


def _of_hob(fit: Fit, case: Case, allowed: Allowed) -> float:
    return max(_of_slopes(fit, case, allowed), _of_depth(fit, case, allowed))


def _of_short(fit: Fit, case: Case, allowed: Allowed) -> float:
    return abs(float(fit.size[0])) / allowed.short


def _nothing(fit: Fit, case: Case, allowed: Allowed) -> float:
    """What the gear's mate does not feel."""
    return 0.0


def _of_widening(fit: Fit, case: Case, allowed: Allowed) -> float:
    return _of_thickness(shared_part(fit, case, "thickness"), allowed)


_COSTS: dict[str, Cost] = {
    "none": _nothing,
    "eccentric_work": _off_axis,
    "eccentric_blank": _tips_off,
    "lost_steps": _of_places,
    "one_gap": _of_places,
    "one_flank": _of_places,
    "wrong_ratio": _of_places,
    "whole_steps": _of_places,
    "drive_wave": _of_places,
    "index_scatter": _of_scatter,
    "unsteady_drive": _of_scatter,
    "pulse_noise": _of_scatter,
    "wide_gaps": _of_widening,
    "depth": _of_depth,
    "blank_size": _of_blank,
    "cutter_off_centre": _of_slopes,
    "short_hob": _of_short,
    "other_profile": _of_profile,
    "other_corner": _nothing,
    "cutter_runs_out": _of_hob,
    "camera": _nothing,
}
