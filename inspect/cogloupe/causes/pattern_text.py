"""The pattern that a cause left, in words: a sentence for each row of the table.

A function takes the best fit of a cause and the case. Teeth are numbered as in the reading, and
turning is as seen on the picture.
"""

from fractions import Fraction
from math import atan2, degrees, pi

from cogloupe.causes.fault_patterns import alias
from cogloupe.causes.machine_units import Case, arc_of_first, drive_periods, length_of
from cogloupe.causes.pattern_layout import SHARED
from cogloupe.causes.pattern_parts import minutes
from cogloupe.causes.ranking import Fit


def say_nothing(fit: Fit, case: Case) -> str:
    """No pattern."""
    return "no pattern larger than its uncertainty"


def say_eccentric(fit: Fit, case: Case) -> str:
    """Once a turn, with runout."""
    towards = degrees(atan2(fit.size[1], fit.size[0]))
    lag = degrees(2 * case.observed.design.pressure_angle)
    apart = f", left and right {lag:.0f}° apart in phase, with runout" if lag else ""
    return (
        f"once a turn on both sides{apart}; the teeth lie off the bore towards {towards:.0f}° on "
        f"the picture ({fit.family.name})"
    )


def say_tips_off(fit: Fit, case: Case) -> str:
    """Tips run out, flanks do not."""
    towards = degrees(atan2(fit.size[1], fit.size[0]))
    if case.observed.bore:
        return f"the tips run out towards {towards:.0f}° on the picture; the flanks do not"
    return (
        f"the tips run out against the teeth, towards {towards:.0f}° on the picture; which of them "
        "is off the bore, a picture without a bore leaves open"
    )


def say_step(fit: Fit, case: Case) -> str:
    """A step between teeth and where it closes."""
    z, family = case.teeth, fit.family
    start = int(family.marks[family.minus[fit.member, 0]])
    end = int(family.marks[family.plus[fit.member, 0]])
    arc = float(fit.size[0])
    shape, which = fit.family.name.split()
    angle = minutes(abs(arc), case.observed.design)
    what = {"both": "both flanks", "left": "the left flanks", "right": "the right flanks"}[which]
    way = "clockwise" if (arc > 0) == (which != "right") else "anticlockwise"
    over = "within one pitch" if shape == "sharp" else "over some three pitches"
    first, last = tooth_after(start, z), tooth_after(end, z)
    steps = arc_of_first(fit, case)[0]
    slip = ""
    if steps.unit == "motor steps" and steps.value + 2 * steps.u < 1:
        slip = "; it is less than one motor step, so something slipped"
    return (
        f"a step of {angle:.1f}′ between teeth {tooth_before(first, z)} and {first}, {over}, and "
        f"back between teeth {tooth_before(last, z)} and {last}; between them {what} stand {way} "
        f"of their place{slip}"
    )


def tooth_after(gap: int, teeth: int) -> int:
    """Number of the tooth that follows a gap counted from 0 (gap 0 follows tooth 1)."""
    return (gap + 1) % teeth + 1


def tooth_before(tooth: int, teeth: int) -> int:
    """Number of the tooth before another."""
    return (tooth - 2) % teeth + 1


def say_one_gap(fit: Fit, case: Case) -> str:
    """One gap out of place."""
    tooth = fit.member + 1
    angle = minutes(abs(float(fit.size[0])), case.observed.design)
    way = "clockwise" if fit.size[0] > 0 else "anticlockwise"
    return f"the gap after tooth {tooth} alone stands {angle:.1f}′ {way} of its place"


def say_one_flank(fit: Fit, case: Case) -> str:
    """One flank out of place."""
    side = ("left", "right")[fit.member % 2]
    return f"the {side} flank of tooth {fit.member // 2 + 1} alone is off, by {fit.size[0]:+.1f} µm"


def say_drift(fit: Fit, case: Case) -> str:
    """A closing error."""
    first = tooth_after(fit.member, case.teeth)
    way = "long" if fit.size[0] > 0 else "short"
    wide = ", and gaps are wider" if len(fit.size) > 1 else ""
    return (
        f"every pitch a little {way}, and one between teeth {tooth_before(first, case.teeth)} and "
        f"{first} that closes the turn{wide}"
    )


def say_wave(fit: Fit, case: Case) -> str:
    """A harmonic with amplitude, phase and what it may stand for."""
    amplitude, _ = length_of(fit)
    angle = minutes(amplitude, case.observed.design)
    if fit.family.name.startswith("open"):
        period = Fraction(fit.family.name.split()[1])
        return (
            f"a wave of {angle:.1f}′ that comes round {_times(period)} in a turn and so "
            f"does not close: {_named(case, period)}"
        )
    turns = wave_number(fit)
    phase = atan2(fit.size[1], fit.size[0])
    middle = 0.5 if fit.family.name == "gap by gap" else 0.0
    peak = (phase / (2 * pi * turns) * case.teeth - middle) % (case.teeth / turns) + 1
    return (
        f"a wave {how_often(turns)} a turn, {angle:.1f}′ each way, both sides alike and without "
        f"runout, furthest clockwise at tooth {round(peak)}: {could_be(turns, case)}"
    )


def wave_number(fit: Fit) -> int:
    """Times in a turn of a wave that closes."""
    return int(fit.family.plus[fit.member, 0]) // 2 + 1


def times_a_turn(fit: Fit) -> str:
    """How often a wave comes round in a turn, in words, whether it closes or not."""
    if fit.family.name.startswith("open"):
        return _times(Fraction(fit.family.name.split()[1]))
    return how_often(wave_number(fit))


def could_be(turns: int, case: Case) -> str:
    """Parts of the drive that would look like so many times in a turn.

    Parts of the machine whose period leads there; the periods that would, where none does.

    Parameters
    ----------
    turns : int
        As seen once a tooth.
    """
    z = case.teeth
    parts = [
        f"{part.name} ({_times(part.per_turn)} a turn"
        + (f", which looks like {turns} on {z} teeth)" if part.per_turn != turns else ")")
        for part in drive_periods(case.machine)
        if part.per_turn.denominator == 1 and alias(part.per_turn, z) == turns
    ]
    if parts:
        return " or ".join(parts)
    others = sorted({turns, z - turns, z + turns, 2 * z - turns, 2 * z + turns})
    what = f"comes round {', '.join(map(str, others))} times in a turn of the work"
    if case.machine is None:
        return f"tell the machine's counts; look for what {what}"
    return f"no part of the machine as told {what}"


def _times(count: Fraction) -> str:
    return how_often(int(count)) if count == int(count) else f"{float(count):g} times"


def how_often(count: int) -> str:
    """A number of times, in words as far as they are words."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _named(case: Case, period: Fraction) -> str:
    names = [part.name for part in drive_periods(case.machine) if part.per_turn == period]
    return " or ".join(names)


def say_whole_steps(fit: Fit, case: Case) -> str:
    """Whole steps."""
    if fit.family.name == "hobbed":
        return "gaps wider by about half a motor step, all alike, as moving in whole steps leaves"
    return "each gap stands at the whole motor step nearest to its place, as the counts predict"


def say_gap_scatter(fit: Fit, case: Case) -> str:
    """Gaps out of place as a whole."""
    angle = minutes(fit.scatter, case.observed.design)
    how = "neighbours alike" if fit.kind == "gap-wander" else "each by itself"
    return f"gaps of even width scatter by {angle:.2f}′ (standard deviation), {how}"


def say_flank_scatter(fit: Fit, case: Case) -> str:
    """Flanks out of place."""
    angle = minutes(fit.scatter, case.observed.design)
    how = "neighbours alike" if fit.kind in ("wander", "hobbed") else "each by itself"
    wide = f"; gaps wider by {fit.size[0]:.1f} µm on the mean" if len(fit.size) else ""
    return f"flanks scatter by {angle:.2f}′ (standard deviation), {how}{wide}"


def say_widened(fit: Fit, case: Case) -> str:
    """Even widening."""
    return f"all gaps wider by {fit.size[0]:.1f} µm, to the floor; floors at their depth"


def say_depth(fit: Fit, case: Case) -> str:
    """Floors in or out."""
    way = "too deep" if fit.size[0] > 0 else "not deep enough"
    size = abs(float(fit.size[0]))
    return f"floors {way} by {size:.1f} µm with teeth to match, tips as drawn ({fit.family.name})"


def say_blank(fit: Fit, case: Case) -> str:
    """Tips and floors in or out together."""
    way = "out" if fit.size[0] > 0 else "in"
    return f"tips, floors and thickness all {way} together, by {abs(fit.size[0]):.1f} µm of radius"


def say_lean(fit: Fit, case: Case) -> str:
    """Gaps lean."""
    start = 2 * case.teeth + SHARED.index("slope_left")
    left, right = fit.shape[start : start + 2]
    return f"all gaps lean alike: profile slopes of {left:+.1f} µm left and {right:+.1f} µm right"


def say_short(fit: Fit, case: Case) -> str:
    """One side cut short."""
    side = "left" if fit.size[0] > 0 else "right"
    return f"the {side} flanks follow the involute only in part, the others do"


def say_profile(fit: Fit, case: Case) -> str:
    """Slopes alike."""
    return f"profile slope of both sides {fit.size[0]:+.1f} µm, all teeth alike"


def say_corner(fit: Fit, case: Case) -> str:
    """Rounding where flank and floor meet."""
    drawn = case.observed.design.drawn
    assert drawn is not None  # without a rack the cause is not tried
    off = float(fit.size[0]) / (1e3 * drawn.module_mm)
    deeper = ", and reach another depth" if len(fit.size) > 1 else ""
    stated, found = drawn.rack.fillet_radius, drawn.rack.fillet_radius + off
    return (
        f"the corners of the gaps are those of a cutter rounded by "
        f"{found:.2f} modules, not by {stated:.2f}{deeper}; flanks and thickness are as drawn"
    )


def say_running_out(fit: Fit, case: Case) -> str:
    """Bent flanks alike."""
    way = "in and out" if fit.family.name == "radial" else "along its axis"
    return f"floors, thickness and flanks of all teeth off alike, as a hob that moves {way} leaves"


def say_camera(fit: Fit, case: Case) -> str:
    """The picture."""
    what = {
        "stretch": "a stretch of the picture (twice a turn, with runout)",
        "lean": "a picture that leans (once a turn, tips with it)",
        "distortion": "a lens that bends towards the frame's edge",
    }[fit.family.name]
    return f"the pattern of {what}, more than the reading's uncertainty allows for"
