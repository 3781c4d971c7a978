"""From a reading to its verdict and its likely causes."""

from collections.abc import Sequence
from math import hypot

from cogloupe.causes.diagnosis import Diagnosis, Finding, Ranked, diagnose
from cogloupe.causes.table import NONE
from cogloupe.judging.allowances import Allowed, allowed
from cogloupe.judging.classes import class_text, meets, reached_class
from cogloupe.judging.faults import DIRT, UNEXPLAINED, Fault, faults_of, obstructed
from cogloupe.planning.machine import Machine
from cogloupe.reading.cutting_models import SizeFound
from cogloupe.reading.models import Reading
from cogloupe.reading.verdict_models import (
    CauseFindings,
    CauseFound,
    DominantFault,
    Outcome,
    Verdict,
)
from cogloupe.wording.cautions import cautions_for
from cogloupe.wording.numbers import tooth_list
from cogloupe_calibration.errors import UseError

LIKELY = 0.6
"""Probability from which a cause is named alone."""
SHOWN, MOST_SHOWN = 0.02, 4
"""Causes less likely than this are not told, and no more than so many (our own judgement)."""
NOTHING = "nothing_resolved"
GOOD = "nothing_to_mend"


def judge(
    reading: Reading, machine: Machine | None = None, wanted_class: int | None = None
) -> Reading:
    """Add verdict and causes to a reading.

    Parameters
    ----------
    machine : Machine, optional
        Its counts tell periods and steps.
    wanted_class : int, optional
        Flank tolerance class that the gear should reach.
    """
    try:
        diagnosis = diagnose(reading, machine)
    except UseError:  # too few flanks for a pattern
        diagnosis = None
    limits = allowed(reading.gear.module_mm, reading.gear.teeth, wanted_class)
    faults = faults_of(reading, diagnosis, limits)
    causes = None if diagnosis is None else _causes(diagnosis, faults, machine)
    bore_open = _bore_is_open(reading, limits)
    verdict = Verdict(
        dominant=_dominant(faults, limits, wanted_class, bore_open),
        wanted_class=wanted_class,
        meets=meets(wanted_class, reading.tolerance),
        reached_class=reached_class(reading.tolerance),
        class_text=class_text(reading, wanted_class),
        next_step=_next_step(reading, faults, bore_open),
    )
    return reading.model_copy(update={"verdict": verdict, "causes": causes})


def _worst(faults: Sequence[Fault]) -> Fault | None:
    """What is wrong most, if it is more than is allowed."""
    return faults[0] if faults and faults[0].cost > 1 else None


def _bore_is_open(reading: Reading, limits: Allowed) -> bool:
    """Whether the picture leaves open if the bore is true to the teeth.

    The tips were the datum then, or its rims leave more open than is allowed of what is seen.
    """
    off, common = reading.summary.eccentricity_um, reading.common
    if off is not None and common is not None:
        doubt = hypot(common.datum_um, *common.rims_um)
        if min(off, doubt) > limits.off_axis_um:
            return True
    return any(notice.code == "bore_or_rim" for notice in reading.warnings)


def _dominant(
    faults: Sequence[Fault], limits: Allowed, wanted: int | None, bore_open: bool
) -> DominantFault:
    worst = _worst(faults)
    if worst is not None:
        said = worst.said
        return DominantFault(
            kind=said.kind, text=said.text, value_um=said.value_um, u_um=said.u_um, teeth=said.teeth
        )
    if bore_open:
        return DominantFault(
            kind=NOTHING,
            text="Nothing to mend about the teeth themselves; whether the bore is true to them "
            "this picture cannot tell.",
        )
    if not faults:
        return DominantFault(
            kind=NOTHING, text="Nothing to mend: nothing is wrong that this picture could show."
        )
    held = "that is asked for" if wanted is not None else "as usual for such a gear"
    text = f"Nothing to mend: no error is larger than class {limits.flank_class}, {held}, allows."
    return DominantFault(kind=GOOD, text=text)


def _next_step(reading: Reading, faults: Sequence[Fault], bore_open: bool) -> str:
    """The next thing to do."""
    worst = _worst(faults)
    if worst is None and bore_open:
        return (
            "Photograph the gear again from straight above and farther away, or turned over; or "
            "say its thickness in gear.toml."
        )
    if worst is None:
        return _would_come_next(faults)
    dirty = obstructed(reading)
    clean = ""
    if dirty:
        teeth = "tooth" if len(dirty) == 1 else "teeth"
        clean = (
            f"Brush {teeth} {tooth_list(dirty)} clean and photograph the gear again: what stays is "
            "the gear's. "
        )
    if worst.said.kind == DIRT:
        return clean.strip()
    if worst.finding is None:
        return clean + (
            "Check what was stated of gear and scale; then look at the mean gap and its theory in "
            "the report."
        )
    return clean + worst.finding.best.cause.test


def _would_come_next(faults: Sequence[Fault]) -> str:
    if not faults:
        return "Nothing. " + NONE.test
    return f"Nothing. If it is to be better still, this comes next: {_lower(faults[0].said.text)}"


def _lower(sentence: str) -> str:
    return sentence[0].lower() + sentence[1:]


# --- causes --------------------------------------------------------------------------------------


def _causes(
    diagnosis: Diagnosis, faults: Sequence[Fault], machine: Machine | None
) -> CauseFindings:
    ranked = [fault for fault in faults if fault.finding is not None]
    leading = ranked[0].finding if ranked else None
    rows = leading.ranked[:MOST_SHOWN] if leading is not None else ()
    others = (fault.finding.best for fault in ranked[1:] if fault.finding is not None)
    outcome = _outcome(faults)
    return CauseFindings(
        outcome=outcome,
        sentence=_sentence(outcome, leading),
        causes=tuple(
            _found(diagnosis, r) for r in rows if r.share >= SHOWN and r.cause is not NONE
        ),
        others=tuple(_found(diagnosis, best) for best in others),
        machine_known=machine is not None,
    )


def _outcome(faults: Sequence[Fault]) -> Outcome:
    worst = _worst(faults)
    if worst is None:
        return "good" if faults else "nothing"
    if worst.said.kind == UNEXPLAINED:
        return "none_of_the_usual"
    if worst.finding is None:
        return "good" if len(faults) > 1 else "nothing"
    return "named" if worst.finding.best.share >= LIKELY else "open"


def _sentence(outcome: Outcome, leading: Finding | None) -> str:
    if leading is None:
        return (
            "None of the usual causes leaves such gaps."
            if outcome == "none_of_the_usual"
            else "No pattern is larger than its uncertainty."
        )
    best = leading.best
    name = best.cause.name
    if outcome == "good":
        return f"Nothing to mend; the largest pattern is that of: {name}."
    if outcome == "none_of_the_usual":
        return f"None of the usual causes leaves such gaps; beside that: {name}."
    if outcome == "open":
        second = leading.ranked[1].cause.name if len(leading.ranked) > 1 else "something else"
        return f"This picture cannot settle whether it was {name}, or {second}."
    sure = "Most likely" if best.share >= 0.9 else "Likely"
    return f"{sure}: {name} ({percent(best.share)})."


def percent(share: float) -> str:
    """A probability as a person reads it."""
    if share > 0.99:
        return "over 99 %"
    return f"{100 * share:.0f} %" if share >= 0.01 else "under 1 %"


def _found(diagnosis: Diagnosis, ranked: Ranked) -> CauseFound:
    cause = ranked.cause
    return CauseFound(
        code=cause.code,
        name=cause.name,
        probability=ranked.share,
        pattern=diagnosis.pattern(ranked),
        sizes=tuple(
            SizeFound(name="size", value=size.value, u_value=size.u, unit=size.unit)
            for size in diagnosis.sizes(ranked)
        ),
        alike=cause.alike,
        test=cause.test,
        cautions=cautions_for(*cause.cautions) if cause.cautions else (),
    )
