"""Rows on how the set-up divides a gear."""

from collections.abc import Iterator
from math import isinf

from cogloupe.planning.dividing_plates import PlateSetting
from cogloupe.planning.indexing import Division, Rates, Spacing, StepRule
from cogloupe.planning.machine import Machine
from cogloupe.planning.plan import IndexingPlan, Plan
from cogloupe.report.plan_text import Row, Section, fraction, length_row, text_row
from cogloupe.wording.numbers import tooth_list

_PATTERN_SHOWN = 24
"""Counts of a step pattern that fit on a line."""

_RULES: dict[StepRule, str] = {
    "accumulator": "the remainder is carried; a step is made when it is fully due",
    "nearest": "the remainder is carried; a step is made when it is nearest to its place",
    "fixed": "one rounded count, repeated",
}


def indexing_sections(plan: Plan) -> tuple[Section, ...]:
    """Figures of the dividing; empty where no machine was told."""
    dividing, machine = plan.indexing, plan.machine
    if dividing is None or machine is None:
        return ()
    title = f"Indexing on {machine.name}" if machine.name else "Indexing"
    rows = [*_drive(machine)]
    if dividing.division is not None and dividing.spacing is not None:
        rows += _motor(plan, dividing.division, dividing.spacing, machine)
    if dividing.rates is not None:
        rows += _rates(dividing.rates)
    rows += _by_hand(plan, dividing, machine)
    return Section(title, tuple(rows), draws_spacing=True), *_counts(plan, dividing)


def _drive(machine: Machine) -> Iterator[Row]:
    """What turns how often in one turn of the work, which is what its errors repeat with."""
    if machine.motor_steps_per_revolution is not None:
        driven, driving = machine.drive_ratio
        say = f"drive {driven}:{driving}"
        if machine.worm_wheel_teeth is not None:
            starts = f"{machine.worm_starts} start{'s' if machine.worm_starts > 1 else ''}"
            say += f", worm wheel of {machine.worm_wheel_teeth} teeth, worm of {starts}"
        yield text_row(
            "motor turns to a turn of the work", fraction(machine.motor_turns_per_work_turn), say
        )
    if machine.belt_turns_per_work_turn is not None:
        rounds = fraction(machine.belt_turns_per_work_turn)
        say = f"belt of {machine.belt_teeth} teeth"
        yield text_row("belt rounds to a turn of the work", rounds, say)
    if machine.worm_wheel_teeth is not None:
        turns = fraction(machine.worm_turns_per_work_turn)
        yield text_row("worm turns to a turn of the work", turns)


def _motor(plan: Plan, division: Division, spacing: Spacing, machine: Machine) -> Iterator[Row]:
    train, diameter = division.train, 2 * plan.gear.reference_radius
    yield text_row(
        "motor steps to a turn of the work",
        fraction(train.steps_per_turn),
        f"{machine.motor_steps_per_revolution} steps × {machine.microsteps} microsteps × "
        f"{fraction(machine.motor_turns_per_work_turn)}",
    )
    yield text_row("steps to a tooth", fraction(division.steps_per_tooth))
    if division.hobbed:
        yield from _pulses(division)
    yield text_row("whole steps", division.rule, _RULES[division.rule])
    yield text_row("the division closes", *_closes(division))
    arc = train.step_arc_um(diameter) / 1000
    yield length_row("one motor step", arc, "arc on the reference circle")
    if division.hobbed:
        arc = train.pulse_arc_um(division.teeth, diameter) / 1000
        yield length_row("one encoder pulse", arc, "arc that a missed or false pulse leaves")
    say = f"{spacing.largest_single_um:.1f} µm, from whole steps alone"
    yield length_row("largest pitch error", spacing.largest_single_um / 1000, say)
    say = f"{spacing.total_um:.1f} µm between the tooth furthest ahead and furthest behind"
    yield length_row("total cumulative error", spacing.total_um / 1000, say)


def _pulses(division: Division) -> Iterator[Row]:
    train, pattern = division.train, division.pulse_pattern
    starts = train.hob_starts
    yield text_row(
        "pulses to a step",
        fraction(division.pulses_per_step),
        f"{train.pulses_per_hob_turn} pulses × {division.teeth} teeth ÷ {starts} "
        f"start{'s' if starts > 1 else ''} ÷ {fraction(train.steps_per_turn)} steps",
    )
    shown = " ".join(map(str, pattern[:_PATTERN_SHOWN]))
    more = len(pattern) - _PATTERN_SHOWN
    tail = f" … and {more} more" if more > 0 else ""
    say = f"pulses from one step to the next; {sum(pattern)} pulses, then again"
    yield text_row("step pattern", shown + tail, say)


def _closes(division: Division) -> tuple[str, str]:
    if not division.closes:
        return "no", f"the kept ratio cuts {fraction(division.teeth_cut)} teeth"
    if division.exact:
        say = f"each of the {division.teeth} teeth gets the same whole number of steps"
        return "yes, evenly", say
    return "yes, unevenly", "nothing is carried over a turn, but the teeth get unlike whole steps"


def _rates(rates: Rates) -> Iterator[Row]:
    yield text_row(
        "turn of the work",
        f"{60 / rates.work_rpm:.3g} s",
        f"{rates.work_rpm:.4g} rpm at {rates.spindle_rpm:g} rpm of the spindle",
    )
    yield text_row("pulse rate", f"{rates.pulse_hz:.4g} /s")
    peak = (
        "several steps fall due in one pulse"
        if isinf(rates.peak_step_hz)
        else f"at most {rates.peak_step_hz:.4g} a second over the shortest interval"
    )
    yield text_row("step rate", f"{rates.step_hz:.4g} /s", peak)


def _by_hand(plan: Plan, dividing: IndexingPlan, machine: Machine) -> Iterator[Row]:
    for setting in dividing.plates:
        say = f"{machine.worm_turns_per_work_turn / plan.gear.teeth} turn of the worm to a tooth"
        yield text_row(f"plate of {setting.circle} holes", _plate(setting), say)
    for count in dividing.wheels:
        every = count // plan.gear.teeth
        yield text_row(f"dividing wheel of {count}", f"every {every}", "notches to a tooth")


def _plate(setting: PlateSetting) -> str:
    turns = f"{setting.turns} turn{'s' if setting.turns != 1 else ''}"
    holes = f"{setting.holes} hole{'s' if setting.holes != 1 else ''}"
    parts = [turns] * bool(setting.turns) + [holes] * bool(setting.holes)
    return " + ".join(parts)


def _counts(plan: Plan, dividing: IndexingPlan) -> tuple[Section, ...]:
    """Which other tooth counts come out on this set-up."""
    if dividing.division is None:
        return ()
    low, high = plan.request.counts_from, plan.request.counts_to
    not_exact = {d.teeth for d in dividing.undivided}
    drifting = tuple(d.teeth for d in dividing.undivided if not d.closes)
    uneven = tuple(d.teeth for d in dividing.undivided if d.closes)
    exact = tuple(z for z in range(low, high + 1) if z not in not_exact)
    rows = [
        text_row("exactly", tooth_list(exact) or "none"),
        text_row("not exactly: unevenly", tooth_list(uneven) or "none", _worst(plan, dividing)),
        text_row("not at all: does not close", tooth_list(drifting) or "none"),
    ]
    title = f"Tooth counts from {low} to {high} that this set-up divides"
    return (Section(title, tuple(rows)),)


def _worst(plan: Plan, dividing: IndexingPlan) -> str:
    uneven = [d.largest_single_steps for d in dividing.undivided if d.closes]
    if not uneven:
        return ""
    return f"pitch errors up to {float(max(uneven)):.3g} of a motor step"
