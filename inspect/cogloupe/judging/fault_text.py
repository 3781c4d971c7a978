"""A fault in one short sentence, for the head of the report: a line for each cause of the table.

A line says the pattern and its size with U, then what does it where that is sure from the pattern.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import degrees

from cogloupe.causes.diagnosis import Ranked
from cogloupe.causes.machine_units import Case, length_of, off_bore
from cogloupe.causes.pattern_text import times_a_turn, tooth_after, tooth_before
from cogloupe.causes.ranking import Fit
from cogloupe.judging.costs import angle_off_deg, shared_part
from cogloupe.wording.numbers import resolved, with_uncertainty


@dataclass(frozen=True, kw_only=True)
class Said:
    """A fault in words.

    Attributes
    ----------
    kind : str
        For files.
    text : str
        A sentence.
    value_um, u_um : float or None
        The size that it names, with its standard uncertainty.
    teeth : tuple of int
        Teeth that show it; empty where all do.
    """

    kind: str
    text: str
    value_um: float | None = None
    u_um: float | None = None
    teeth: tuple[int, ...] = ()


def say_fault(ranked: Ranked, case: Case) -> Said:
    """Put a cause as found into a sentence."""
    return _SAY[ranked.cause.code](ranked.fit, case)


def _pm(value: float, u: float) -> str:
    return with_uncertainty(value, u, "µm")


def _size(fit: Fit) -> tuple[float, float]:
    return abs(float(fit.size[0])), float(fit.u[0])


def _off_bore(fit: Fit, case: Case) -> Said:
    value, u = length_of(fit)
    u_stated = off_bore(fit, case)[0].u
    if not resolved(value, u_stated):
        # What lens and lean leave open is whether runout goes with it: then it may be the drive.
        text = (
            f"Once a turn the teeth swing by {_pm(value, u)} each way about the bore: the blank "
            "sat off centre, or the drive errs."
        )
        return Said(kind="once_a_turn", text=text, value_um=value, u_um=u)
    size = _pm(value, u_stated)
    text = f"The teeth lie {size} off the bore: the blank or its arbor sat off centre."
    return Said(kind="runout", text=text, value_um=value, u_um=u_stated)


def _tips_off(fit: Fit, case: Case) -> Said:
    value, u = length_of(fit)
    which = "the bore; the teeth do not" if case.observed.bore else "the axis of the teeth"
    text = f"The outside of the blank lies {_pm(value, u)} off {which}."
    return Said(kind="tips_off", text=text, value_um=value, u_um=u)


def _step(fit: Fit, case: Case) -> Said:
    value, u = _size(fit)
    z, family = case.teeth, fit.family
    edges = [int(family.marks[side[fit.member, 0]]) for side in (family.minus, family.plus)]
    first, last = (tooth_after(edge, z) for edge in edges)
    text = (
        f"A step of {_pm(value, u)} between teeth {tooth_before(first, z)} and {first}, and back "
        f"between teeth {tooth_before(last, z)} and {last}."
    )
    return Said(kind="step", text=text, value_um=value, u_um=u, teeth=(first, last))


def _one_gap(fit: Fit, case: Case) -> Said:
    value, u = _size(fit)
    tooth = fit.member + 1
    after = tooth % case.teeth + 1
    text = f"The gap between teeth {tooth} and {after} stands {_pm(value, u)} off its place."
    return Said(kind="one_gap", text=text, value_um=value, u_um=u, teeth=(tooth, after))


def _one_flank(fit: Fit, case: Case) -> Said:
    value, u = _size(fit)
    side, tooth = ("left", "right")[fit.member % 2], fit.member // 2 + 1
    text = f"The {side} flank of tooth {tooth} alone is off, by {_pm(value, u)}."
    return Said(kind="one_flank", text=text, value_um=value, u_um=u, teeth=(tooth,))


def _drift(fit: Fit, case: Case) -> Said:
    value, u = _size(fit)
    first = tooth_after(fit.member, case.teeth)
    before = tooth_before(first, case.teeth)
    text = (
        f"The division does not close: {_pm(value, u)} are left over between teeth {before} and "
        f"{first}."
    )
    return Said(kind="drift", text=text, value_um=value, u_um=u, teeth=(before, first))


def _wave(fit: Fit, case: Case) -> Said:
    value, u = length_of(fit)
    text = f"The division swings by {_pm(value, u)} each way, {times_a_turn(fit)} a turn."
    return Said(kind="wave", text=text, value_um=value, u_um=u)


def _whole_steps(fit: Fit, case: Case) -> Said:
    if fit.family.name == "hobbed":
        value = abs(shared_part(fit, case, "thickness"))
        text = f"Every gap is about {value:.0f} µm too wide: the motor's steps are too coarse."
        return Said(kind="whole_steps", text=text, value_um=value)
    value = float(abs(fit.shape[: 2 * case.teeth]).max())
    text = (
        f"Every gap stands at a whole motor step, up to {value:.0f} µm off its place: the steps "
        "are too coarse."
    )
    return Said(kind="whole_steps", text=text, value_um=value)


def _scatter(fit: Fit, case: Case) -> Said:
    value, u = fit.scatter, fit.u_scatter
    text = f"The gaps stand off their places at random, by {_pm(value, u)} (standard deviation)."
    return Said(kind="scatter", text=text, value_um=value, u_um=u)


def _uneven(fit: Fit, case: Case) -> Said:
    if not len(fit.size):
        value, u = fit.scatter, fit.u_scatter
        what = "neighbours alike" if fit.kind in ("wander", "hobbed") else "each by itself"
        text = f"The flanks scatter by {_pm(value, u)} (standard deviation), {what}."
        return Said(kind="scatter", text=text, value_um=value, u_um=u)
    value, u = _size(fit)
    why = (
        "the work wandered while it was cut"
        if fit.kind == "wander"
        else "the cuts did not fall on each other"
    )
    text = f"The gaps are {_pm(value, u)} too wide and uneven, the teeth thin: {why}."
    return Said(kind="wide_uneven_gaps", text=text, value_um=value, u_um=u)


def _wide(fit: Fit, case: Case) -> Said:
    value, u = _size(fit)
    text = f"Every gap is {_pm(value, u)} too wide, the teeth as much too thin."
    return Said(kind="wide_gaps", text=text, value_um=value, u_um=u)


def _depth(fit: Fit, case: Case) -> Said:
    value, u = _size(fit)
    deep = fit.size[0] > 0
    teeth = abs(shared_part(fit, case, "thickness"))
    how = "too deep" if deep else "not deep enough, by"
    size = _pm(value, u)
    cut = f"{size} {how}" if deep else f"{how} {size}"
    thin = "thin" if deep else "thick"
    text = f"The gaps were cut {cut}: the teeth are {teeth:.0f} µm too {thin}."
    return Said(kind="too_deep" if deep else "too_shallow", text=text, value_um=value, u_um=u)


def _blank(fit: Fit, case: Case) -> Said:
    value, u = 2 * abs(float(fit.size[0])), 2 * float(fit.u[0])
    way = "large" if fit.size[0] > 0 else "small"
    text = f"The blank was {_pm(value, u)} too {way} on its diameter, and the cut went with it."
    return Said(kind="blank_size", text=text, value_um=value, u_um=u)


def _lean(fit: Fit, case: Case) -> Said:
    value, u = _size(fit)
    text = f"All gaps lean: the cutter stood {_pm(value, u)} beside the work's centre, or leaned."
    return Said(kind="lean", text=text, value_um=value, u_um=u)


def _short(fit: Fit, case: Case) -> Said:
    side = "left" if fit.size[0] > 0 else "right"
    text = (
        f"The {side} flanks are cut short: only part of each follows the involute, as a hob leaves "
        "them that ends too near the centre line."
    )
    return Said(kind="short_flanks", text=text)


def _profile(fit: Fit, case: Case) -> Said:
    value, u = _size(fit)
    stated = case.observed.design.drawn
    if fit.family.name != "flank angle" or stated is None:
        text = (
            f"All flanks lean alike, by {_pm(value, u)} over their height: the cutter was made for "
            "another tooth number."
        )
        return Said(kind="profile", text=text, value_um=value, u_um=u)
    off = angle_off_deg(fit, case)
    drawn = degrees(stated.rack.pressure_angle)
    found = with_uncertainty(drawn + off, u * abs(off) / max(value, 1e-9), "°")
    text = f"The flank angle is {found}, not {drawn:g}°: another cutter than the one stated."
    return Said(kind="flank_angle", text=text, value_um=value, u_um=u)


def _corner(fit: Fit, case: Case) -> Said:
    value, u = _size(fit)
    drawn = case.observed.design.drawn
    assert drawn is not None  # without a rack the cause is not tried
    found = drawn.rack.fillet_radius + float(fit.size[0]) / (1e3 * drawn.module_mm)
    text = (
        f"The gaps have the corners of a cutter rounded by {found:.2f} modules, not by "
        f"{drawn.rack.fillet_radius:.2f} as the stated rack: another rack, or a worn cutter."
    )
    return Said(kind="corner", text=text, value_um=value, u_um=u)


def _hob(fit: Fit, case: Case) -> Said:
    value, u = 2 * abs(float(fit.size[0])), 2 * float(fit.u[0])
    how = "runs out" if fit.family.name == "radial" else "moves along its axis"
    text = f"The hob {how}, by {_pm(value, u)} on a dial: floors and flanks of all teeth show it."
    return Said(kind="cutter_runs_out", text=text, value_um=value, u_um=u)


def _picture(fit: Fit, case: Case) -> Said:
    text = (
        "The picture leans or is bent, more than is allowed for: that is the camera, not the gear."
    )
    return Said(kind="camera", text=text)


_SAY: dict[str, Callable[[Fit, Case], Said]] = {
    "eccentric_work": _off_bore,
    "eccentric_blank": _tips_off,
    "lost_steps": _step,
    "one_gap": _one_gap,
    "one_flank": _one_flank,
    "wrong_ratio": _drift,
    "drive_wave": _wave,
    "whole_steps": _whole_steps,
    "index_scatter": _scatter,
    "unsteady_drive": _uneven,
    "pulse_noise": _uneven,
    "wide_gaps": _wide,
    "depth": _depth,
    "blank_size": _blank,
    "cutter_off_centre": _lean,
    "short_hob": _short,
    "other_profile": _profile,
    "other_corner": _corner,
    "cutter_runs_out": _hob,
    "camera": _picture,
}
