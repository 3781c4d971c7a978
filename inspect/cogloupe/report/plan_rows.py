"""A plan's figures as rows of text, for the terminal and for the page alike.

Each length stands in millimetres, inches and thou; nothing here computes a figure of the gear.
"""

from collections.abc import Iterator
from math import degrees

from cogloupe.forms.check_sizes import PinSize, SpanSize
from cogloupe.planning.plan import MatePlan, Plan
from cogloupe.report.plan_indexing import indexing_sections
from cogloupe.report.plan_text import Row, Section, angle, in_words, length_row, share, text_row
from cogloupe_calibration.units import MM_PER_INCH


def plan_title(plan: Plan) -> str:
    """Name the gear that is planned, as ``21 teeth, 48 DP, 20°``."""
    # A rack that was named brings its own angle.
    angle_deg = degrees(plan.gear.rack.pressure_angle)
    return f"{plan.gear.teeth} teeth, {_size(plan)}, {angle_deg:g}°"


def _size(plan: Plan) -> str:
    if plan.request.dp is not None:
        return f"{plan.request.dp:g} DP"
    return f"module {plan.request.module:g} mm"


def sections(plan: Plan) -> tuple[Section, ...]:
    """All figures of a plan, under headings.

    In the order in which they are needed at the machine.
    """
    found = [
        Section("Blank and depth", tuple(_gear(plan))),
        Section("Passes", tuple(_passes(plan)), _passes_note(plan)),
        Section("Sizes to check", tuple(_checks(plan)), "Without allowance for backlash."),
    ]
    if plan.mate is not None:
        found.append(Section(f"Mate of {plan.mate.gear.teeth} teeth", tuple(_mate(plan.mate))))
    title = "Setting the cutter" if plan.hob is None else "Setting the hob"
    return (*found, Section(title, tuple(_cutter(plan))), *indexing_sections(plan))


def _gear(plan: Plan) -> Iterator[Row]:
    gear = plan.gear
    m = gear.module_mm
    yield length_row("blank diameter", 2 * gear.tip_radius)
    yield length_row(
        "whole depth of cut",
        plan.depth_mm,
        f"from the blank's surface, for a cutter of rack {gear.rack.name}",
    )
    yield length_row("reference circle diameter", 2 * gear.reference_radius, "teeth × module")
    yield length_row("root diameter", 2 * gear.root_radius)
    yield length_row("module", m, f"{MM_PER_INCH / m:.4g} teeth to the inch of diameter (DP)")
    yield text_row("rack", gear.rack.name, f"profile shift {gear.profile_shift:+.3f}")
    if plan.tip_width_mm > 0:
        yield length_row("tip width", plan.tip_width_mm)
    else:
        yield text_row("tip width", "none", "the flanks meet before the tip")
    begins = f"involute from {in_words(2 * gear.form_radius)} diameter"
    yield text_row("undercut", "yes" if gear.undercut else "no", begins)
    if gear.undercut:
        needed = f"{plan.shift_without_undercut:+.3f}"
        yield text_row("shift that avoids it", needed, "in modules; at least this much")


def _passes(plan: Plan) -> Iterator[Row]:
    for cut in plan.passes:
        yield length_row(
            f"pass {cut.number}: depth", cut.depth_mm, f"goes in by {in_words(cut.infeed_mm)}"
        )


def _passes_note(plan: Plan) -> str:
    if len(plan.passes) == 1:
        return "One pass to full depth."
    return (
        "A proposal, as is common practice: each pass takes about the same metal, so that infeeds "
        "decrease, and the last is light. Depths are counted from the blank's surface; measure "
        "before the last."
    )


def _checks(plan: Plan) -> Iterator[Row]:
    for pin in plan.pins:
        yield _pin(plan, pin)
    for size in plan.spans:
        yield _span(size)
    yield length_row("chordal thickness", plan.chord.thickness_mm, "at the reference circle")
    yield length_row("chordal height", plan.chord.height_mm, "from the tip, on this blank")


def _pin(plan: Plan, pin: PinSize) -> Row:
    modules = f"{pin.pin_mm / plan.gear.module_mm:.4g} modules"
    name = f"over two pins of {pin.pin_mm:.3f} mm"
    size = f"pin {in_words(pin.pin_mm)}, {modules}"
    if plan.gear.teeth % 2:
        size += "; in gaps as nearly opposite as there are"
    if pin.fault:
        return text_row(name, "not with it", f"{size}; {pin.fault}")
    return length_row(name, pin.size_mm, f"{size}. {share(0.01, 0.01 * pin.depth_per_size)}")


def _span(size: SpanSize) -> Row:
    touch = f"anvils touch at {size.contact_diameter_mm:.3f} mm diameter"
    name = f"span over {size.teeth_spanned} teeth"
    return length_row(name, size.size_mm, f"{touch}. {share(0.01, 0.01 * size.depth_per_size)}")


def _mate(mate: MatePlan) -> Iterator[Row]:
    yield length_row("centre distance, tight", mate.tight_mm, "no backlash")
    usual = "usual allowance, 0.04 of a module; common practice" if mate.usual else "as stated"
    yield length_row("backlash", mate.backlash_mm, f"along the reference circle: {usual}")
    yield length_row("backlash, square to the flanks", mate.normal_backlash_mm, "as a feeler finds")
    yield length_row("centre distance with backlash", mate.centre_mm)
    yield length_row(
        "or both cut deeper by", mate.depth_each_mm, "for this backlash at the tight distance"
    )
    yield text_row("contact ratio", f"{mate.contact_ratio:.3f}", "at the distance with backlash")
    own, other = mate.clearances_mm
    yield length_row("tip clearance over this gear's floor", own)
    yield length_row("tip clearance over the mate's floor", other)
    yield length_row("mate's blank diameter", 2 * mate.gear.tip_radius)


def _cutter(plan: Plan) -> Iterator[Row]:
    if plan.hob is None:
        yield from _form_cutter(plan)
        return
    hob, request = plan.hob, plan.request
    centre = "a tooth of the hob on the work's centre line: flats then fall alike on both flanks"
    yield text_row("blank on centre", "set", centre)
    if hob.lead_angle is None:
        yield text_row("swing of the hob", "not told", "give the hob's outside diameter")
    else:
        say = "lead angle of its thread: swing the hob's axis until the thread runs along the teeth"
        yield text_row("swing of the hob", angle(hob.lead_angle), say)
    if request.feed_per_turn is not None:
        yield length_row("feed in a turn of the work", request.feed_per_turn, "along its axis")
    if hob.scallop_um is not None:
        say = f"{hob.scallop_um:.2f} µm off the involute, from {request.hob_gashes} gashes"
        yield length_row("flats of the gashes", hob.scallop_um / 1000, say)
    if hob.feed_mark_um is not None:
        say = f"{hob.feed_mark_um:.2f} µm deep along the flank"
        yield length_row("feed marks", hob.feed_mark_um / 1000, say)


def _form_cutter(plan: Plan) -> Iterator[Row]:
    centre = "middle of the cutter on the work's centre line, or every tooth leans to one side"
    yield text_row("blank on centre", "set", centre)
    number = plan.cutter_number
    said = "none is made" if number is None else f"No. {number}"
    exact = "common practice; its form is right only at the lowest count it is made for"
    yield text_row("cutter of a set of eight", said, exact)
