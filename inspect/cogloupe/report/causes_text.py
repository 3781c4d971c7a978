"""What a diagnosis says, in rows and plain sentences."""

from collections.abc import Iterator
from fractions import Fraction

from cogloupe.causes.diagnosis import Diagnosis, Finding, Ranked
from cogloupe.causes.fault_patterns import alias
from cogloupe.causes.harmonics import Harmonic
from cogloupe.causes.machine_units import Size, drive_periods
from cogloupe.causes.pattern_text import could_be
from cogloupe.causes.table import NONE
from cogloupe.judging.judge import percent
from cogloupe.wording.numbers import rounded, with_uncertainty, with_unit

CLEAR, LIKELY = 0.9, 0.6
"""Probabilities from which a cause is called clear, and likely."""
SHOWN_SHARE, MOST_SHOWN = 0.01, 5
"""Probability from which a cause is shown, and the most of them: more is not read (our own
judgement)."""
_MOST_TIMES = 1000.0
"""Odds beyond which a figure would only pretend: causes that nobody thought of are left out."""

CauseRow = tuple[Ranked, str, str, list[str]]
"""A cause, its probability, its pattern, and its size ± U in each of the machine's units."""


def headline(diagnosis: Diagnosis) -> str:
    """One sentence that answers."""
    said = verdict(diagnosis.findings[0])
    if not diagnosis.strained:
        return said
    return (
        f"{said} What it leaves of depth, thickness and shape of the gaps, none of the usual "
        "causes explains."
    )


def verdict(finding: Finding) -> str:
    """How surely which cause."""
    best = finding.best
    if best.cause is NONE:
        return f"No cause: nothing larger than its uncertainty ({percent(best.share)})."
    if best.share >= CLEAR:
        return f"Clear: {best.cause.name} ({percent(best.share)}, {times(best)})."
    second = finding.ranked[1].cause.name if len(finding.ranked) > 1 else "nothing else"
    if best.share >= LIKELY:
        return f"Likely: {best.cause.name} ({percent(best.share)}, {times(best)}: {second})."
    return (
        f"Not settled: {best.cause.name} ({percent(best.share)}), or {second} "
        f"({percent(finding.ranked[1].share)})."
    )


def times(ranked: Ranked) -> str:
    """How strongly the data favour a cause over the next."""
    if ranked.over_next > _MOST_TIMES:
        return "over 1000 times likelier than the next"
    shown = f"{ranked.over_next:.0f}" if ranked.over_next >= 10 else f"{ranked.over_next:.1f}"
    return f"{shown} times likelier than the next"


def cause_rows(diagnosis: Diagnosis, finding: Finding) -> list[CauseRow]:
    """The ranking, as far as it matters.

    The likeliest, the next, and up to `MOST_SHOWN` that are likelier than `SHOWN_SHARE`.
    """
    return [
        (one, percent(one.share), diagnosis.pattern(one), [*map(size_text, diagnosis.sizes(one))])
        for place, one in enumerate(finding.ranked[:MOST_SHOWN])
        if place < 2 or one.share >= SHOWN_SHARE
    ]


def size_text(size: Size) -> str:
    """A size with its U."""
    if size.unit == "′":
        value, limit = rounded(size.value, size.u)
        return f"{value}′" + (f" ± {limit}′" if limit else "")
    if not size.u:
        return with_unit(rounded(size.value, None)[0], size.unit)
    return with_uncertainty(size.value, size.u, size.unit)


def harmonic_rows(waves: list[Harmonic], diagnosis: Diagnosis) -> Iterator[tuple[str, ...]]:
    """Rows of the table of waves.

    Times a turn, left, right, phase apart, what could come round so.
    """
    for wave in waves:
        both = (
            with_uncertainty(a, u, "µm")
            for a, u in zip(wave.amplitude_um, wave.u_amplitude_um, strict=True)
        )
        note = could_be(wave.per_turn, diagnosis.case)
        if wave.per_turn <= 2 and wave.camera > 0.5:
            note += "; most of its U is what lens and lean could do"
        yield (str(wave.per_turn), *both, f"{wave.apart_deg:+.0f}°", note)


def period_rows(diagnosis: Diagnosis) -> list[tuple[str, str, str]]:
    """What comes round how often, and how it looks on this tooth count.

    Part, times in a turn of the work, and what it looks like seen once a tooth.
    """
    z = diagnosis.case.teeth
    return [
        (part.name, f"{float(part.per_turn):g}", _looks(part.per_turn, z))
        for part in drive_periods(diagnosis.case.machine)
    ]


def _looks(per_turn: Fraction, teeth: int) -> str:
    if per_turn.denominator > 1:
        return "does not close in a turn: a jump where the cut began, wider gaps over several turns"
    seen = alias(per_turn, teeth)
    if seen == 0:
        return f"nothing: all {teeth} teeth meet it alike"
    return f"{seen} times a turn" + ("" if seen == per_turn else " (alias)")
