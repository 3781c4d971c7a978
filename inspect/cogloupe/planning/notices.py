"""What in a plan should be looked at before metal is cut, in sentences.

Judged from the figures of a `Plan`; limits are common practice, no source, where none is named.
"""

from collections.abc import Iterator
from math import isinf

from cogloupe.forms.check_sizes import pointed_radius
from cogloupe.forms.rack import Gear
from cogloupe.planning.meshing import interference
from cogloupe.planning.plan import IndexingPlan, MatePlan, Plan

LEAST_TIP = 0.2
"""Width of a tip, modules, below which it is called thin (common practice, no source)."""
LEAST_CONTACT_RATIO = 1.2
"""Below it a pair runs unevenly (common practice, no source; 1 is where contact is lost)."""
LEAST_CLEARANCE = 0.1
"""Clearance of tip and floor, modules, below which swarf or runout closes it; racks leave 0.25
(common practice, no source)."""
SAME_BLANK = 0.01
"""Share of a module within which blank and usual tip diameter count as the same."""


def notices(plan: Plan) -> tuple[str, ...]:
    """Sentences on what a plan's figures should make a person stop at.

    Empty where nothing was found.
    """
    found = [*_tooth(plan), *_blank(plan), *_checks(plan)]
    if plan.mate is not None:
        found += _mate(plan.gear, plan.mate)
    if plan.indexing is not None:
        found += [*_division(plan.indexing), *_speed(plan, plan.indexing)]
        found += _by_hand(plan, plan.indexing)
    return tuple(found)


def _tooth(plan: Plan) -> Iterator[str]:
    gear = plan.gear
    if gear.undercut:
        yield (
            f"The rack's tip undercuts the flanks of these {gear.teeth} teeth: the root is weaker "
            f"and the involute begins at {2 * gear.form_radius:.3f} mm. A profile shift of "
            f"{plan.shift_without_undercut:+.3f} avoids it (larger blank, other centre distance)."
        )
    if plan.tip_width_mm <= 0:
        yield (
            f"The flanks meet in a point at {2 * pointed_radius(gear):.3f} mm, inside the blank of "
            f"{2 * gear.tip_radius:.3f} mm: take less profile shift, or a smaller blank."
        )
    elif plan.tip_width_mm < LEAST_TIP * gear.module_mm:
        yield (
            f"The tips are only {plan.tip_width_mm:.3f} mm wide, less than {LEAST_TIP:g} of a "
            "module: they burr and chip easily."
        )


def _blank(plan: Plan) -> Iterator[str]:
    gear = plan.gear
    usual = gear.reference_radius + (gear.rack.addendum + gear.profile_shift) * gear.module_mm
    excess = 2 * (gear.tip_radius - usual)
    if abs(excess) > SAME_BLANK * gear.module_mm:
        word = "larger" if excess > 0 else "smaller"
        yield (
            f"The blank is {abs(excess):.3f} mm {word} in diameter "
            f"than the usual {2 * usual:.3f} mm; the depth here is counted from its surface, so "
            "that the teeth come out at their right thickness."
        )


def _checks(plan: Plan) -> Iterator[str]:
    for pin in plan.pins:
        if pin.fault:
            yield f"A pin of {pin.pin_mm:.3f} mm will not serve on this gear: {pin.fault}."
    if not plan.spans:
        yield "No span size can be taken on this gear: the anvils miss the involute. Use pins."


def _mate(gear: Gear, plan: MatePlan) -> Iterator[str]:
    mate = plan.gear
    if mate.undercut:
        yield f"The mate's {mate.teeth} teeth are undercut by the rack's tip."
    pairs = ((gear, mate, "gear", "mate"), (mate, gear, "mate", "gear"))
    for one, other, name, its in pairs:
        # Undercut flanks give way there and only shorten the contact; of others, below a
        # micrometre of roll nothing would be felt.
        if not one.undercut and interference(one, other, plan.centre_mm) > 1e-3:
            yield (
                f"The {its}'s tips reach below the involute of the {name}'s flanks: the pair can "
                "bind. Relieve the tips, or shift profiles."
            )
    if plan.contact_ratio < LEAST_CONTACT_RATIO:
        yield (
            f"The contact ratio of {plan.contact_ratio:.2f} is below {LEAST_CONTACT_RATIO:g}: the "
            "pair will not run smoothly."
        )
    if min(plan.clearances_mm) < LEAST_CLEARANCE * gear.module_mm:
        yield (
            f"Tip and floor come within {min(plan.clearances_mm):.3f} mm: less than "
            f"{LEAST_CLEARANCE:g} of a module; turn the tips down."
        )


def _division(dividing: IndexingPlan) -> Iterator[str]:
    division = dividing.division
    if division is None or dividing.spacing is None:
        return
    if not division.closes:
        yield (
            f"The division does not close: one rounded count, repeated, makes "
            f"{abs(float(division.drift_steps)):.6g} steps too "
            f"{'many' if division.drift_steps > 0 else 'few'} in each turn of the work and would "
            f"cut {float(division.teeth_cut):.4g} teeth, not {division.teeth}. Use a controller "
            "program that carries the remainder."
        )
    elif not division.repeats:
        yield (
            "Steps or pulses to one turn of the work are no whole number: each turn of the work "
            "passes the teeth up to a step beside the turn before, which widens the gaps."
        )
    if division.closes and not division.exact:
        yield (
            f"{float(division.steps_per_tooth):.6g} steps to a tooth is no whole number: whole "
            f"steps leave a pitch error of up to {dividing.spacing.largest_single_um:.1f} µm at "
            "the pitch circle."
        )


def _speed(plan: Plan, dividing: IndexingPlan) -> Iterator[str]:
    rates, machine, division = dividing.rates, plan.machine, dividing.division
    if division is not None and division.hobbed and min(division.pulse_pattern) == 0:
        yield (
            "One pulse asks for more than one step: the controller must space these steps out, or "
            "the motor will lose them. More pulses or fewer microsteps avoid it."
        )
    if rates is None or machine is None:
        return
    most = machine.max_step_rate_hz
    peak = rates.step_hz if isinf(rates.peak_step_hz) else rates.peak_step_hz
    if most is not None and peak > most:
        slowest = rates.spindle_rpm * most / peak
        yield (
            f"Steps come at up to {peak:.0f} a second, more than the {most:.0f} stated for this "
            f"motor: turn the spindle at {slowest:.0f} rpm or less."
        )
    most = machine.max_pulse_rate_hz
    if most is not None and rates.pulse_hz > most:
        slowest = rates.spindle_rpm * most / rates.pulse_hz
        yield (
            f"Pulses come at {rates.pulse_hz:.0f} a second, more than the {most:.0f} the "
            f"controller can count: turn the spindle at {slowest:.0f} rpm or less."
        )


def _by_hand(plan: Plan, dividing: IndexingPlan) -> Iterator[str]:
    if dividing.division is None and not dividing.plates and not dividing.wheels:
        yield (
            f"No hole circle and no dividing wheel of this machine divides {plan.gear.teeth} "
            "exactly."
        )
