"""What a comparison says, in rows and plain sentences."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from cogloupe.comparing.change_tests import Change, Verdict
from cogloupe.comparing.compare import Comparison
from cogloupe.comparing.compared_figures import Value
from cogloupe.comparing.trials import NOTHING
from cogloupe.report.gear_name import gear_name
from cogloupe.wording.cautions import cautions_for
from cogloupe.wording.numbers import COVERAGE, rounded, tooth_list, with_uncertainty, with_unit

CAUTIONS = cautions_for("isolate", "cutter", "eyes", "current")
VERDICTS: dict[Verdict, str] = {
    "better": "better",
    "worse": "worse",
    "changed": "changed",
    "not_resolved": "not resolved",
    "not_compared": "not compared",
}


@dataclass(frozen=True, kw_only=True)
class ChangeRow:
    """A figure of the table.

    Figures are with their U; `by_chance` is what a pair without a change stays below, and `kind`
    the verdict's key, for the page's colours.
    """

    name: str
    symbol: str
    unit: str
    before: str
    after: str
    difference: str
    by_chance: str
    verdict: str
    kind: str
    remark: str


def change_rows(comparison: Comparison) -> list[ChangeRow]:
    """Rows of the table; figures that neither reading has are left out."""
    return [
        _row(change, comparison.same_gear)
        for change in comparison.changes
        if change.before.value is not None or change.after.value is not None
    ]


def _row(change: Change, same_gear: bool) -> ChangeRow:
    paired = change.kind.key == "teeth"
    unit = change.kind.unit
    return ChangeRow(
        name=change.kind.name,
        symbol=change.kind.symbol,
        unit=unit,
        before="–" if paired else value_text(change.before, ""),
        after="–" if paired else value_text(change.after, ""),
        difference=difference_text(change, ""),
        by_chance=_chance(change, ""),
        verdict=VERDICTS[change.verdict],
        kind=change.verdict,
        remark=_remark(change, same_gear),
    )


def value_text(value: Value, unit: str) -> str:
    """Write a figure of one reading."""
    return with_uncertainty(value.value, value.u, unit, signed=False)


def _chance(change: Change, unit: str) -> str:
    """What a pair without a change stays below, to two digits."""
    if not change.by_chance:
        return ""
    return with_unit(str(rounded(0.0, change.by_chance / COVERAGE)[1]), unit)


def difference_text(change: Change, unit: str | None = None) -> str:
    """Write the difference of a figure, also where it is smaller than its U.

    ``−3.9 ± 0.4 µm``; empty where it was not compared.
    """
    if change.difference is None:
        return ""
    number, limit = rounded(change.difference, change.u_difference, signed=True)
    text = number if limit is None else f"{number} ± {limit}"
    return with_unit(text, change.kind.unit if unit is None else unit)


def _remark(change: Change, same_gear: bool) -> str:
    if change.why:
        return change.why
    if change.verdict == "changed" and change.kind.key != "teeth":
        return f"{'larger' if (change.difference or 0.0) > 0 else 'smaller'} than before"
    if change.hint:
        return "a hint only: among so many figures one does this by luck"
    if change.resolved and change.kind.each_blank and not same_gear:
        return "differs between these two gears"
    return ""


def headline(comparison: Comparison) -> str:
    """Answer the question in one sentence."""
    main = comparison.changes[0]
    if comparison.same_gear and comparison.match is False:
        return (
            "The patterns of the two readings do not match, so these look like two gears, or like "
            "teeth paired wrongly: what follows holds only if it is one gear."
        )
    if comparison.same_gear:
        return _same_gear_headline(main)
    leading = comparison.leading
    if leading is not main:
        return _leading_headline(leading)
    if main.p is None:
        return f"The spacing of the teeth was not compared: {main.why}."
    unit = main.kind.unit
    sizes = f"from {value_text(main.before, unit)} to {value_text(main.after, unit)}"
    play = _chance(main, unit)
    if main.resolved:
        return (
            f"The spacing of the teeth is {VERDICTS[main.verdict]}: its spread, the once-a-turn "
            f"wave taken out, went {sizes}. Gears of an unchanged machine differ by up to {play}."
        )
    return (
        f"Whether the spacing of the teeth changed is not resolved: its spread, the once-a-turn "
        f"wave taken out, went {sizes}, and gears of an "
        f"unchanged machine differ by up to {play} by themselves"
        + (", though this comes near it." if main.hint else ".")
    )


def _leading_headline(change: Change) -> str:
    """The largest change, where that is another figure than the spacing's own."""
    unit = change.kind.unit
    return (
        f"{change.kind.name.capitalize()} is {VERDICTS[change.verdict]}: it went from "
        f"{value_text(change.before, unit)} to {value_text(change.after, unit)}, and pairs without "
        f"a change differ by up to {_chance(change, unit)}."
    )


def _same_gear_headline(main: Change) -> str:
    if main.p is None:
        return f"The teeth were not compared one by one: {main.why}."
    size = difference_text(main).removeprefix("+")
    usual = _chance(main, main.kind.unit)
    if main.resolved:
        return (
            f"The teeth are not as they were: from tooth to tooth the pitch changed by {size} "
            f"(RMS), and measuring alone leaves up to {usual}."
        )
    return (
        f"No change of the teeth is resolved: both readings differ by {size} (RMS) from tooth to "
        f"tooth, and measuring alone leaves up to {usual}."
    )


def findings(comparison: Comparison) -> list[str]:
    """What else the comparison says, and how far that goes."""
    return [*_others(comparison), *_flanks(comparison), *_reach(comparison)]


def _others(comparison: Comparison) -> Iterator[str]:
    leading = comparison.leading
    others = [c for c in comparison.changes if c is not leading and c.p is not None]
    resolved = [c for c in others if c.resolved]
    for verdict in ("better", "worse", "changed"):
        named = [f"{c.kind.name} ({difference_text(c)})" for c in resolved if c.verdict == verdict]
        if named:
            yield f"{VERDICTS[verdict].capitalize()}: {', '.join(named)}."
    if others and not resolved:
        yield f"Of {len(others)} other figures none changed beyond what is due to chance."
    elif len(resolved) < len(others):
        yield f"The other {len(others) - len(resolved)} figures are not resolved."


def _flanks(comparison: Comparison) -> Iterator[str]:
    if comparison.match is False:  # every tooth differs then
        return
    for side in ("left", "right"):
        found = tuple(f.tooth for f in comparison.flanks if f.side == side)
        if found:
            yield (
                f"Single pitch changed beyond its U at the {side} flanks of teeth "
                f"{tooth_list(found)} (numbers of the first reading)."
            )


def _reach(comparison: Comparison) -> Iterator[str]:
    """How far the verdict carries: from these two gears to the machine."""
    if comparison.same_gear:
        return
    freedom = comparison.play.freedom
    if freedom:
        times = "gear was" if freedom == 1 else "gears were"
        yield (
            f"{freedom} {times} cut again without a change; what they differ by is counted where "
            "a blank's set-up matters" + (" (so few say little: cut more)." if freedom < 3 else ".")
        )
    elif any(c.resolved and c.kind.each_blank for c in comparison.changes):
        yield (
            "All but the first figure and the flanks' shape also depend on how each blank was set "
            "up. One gear before and one after tell that these two gears differ, not "
            "that the change did it. Cut one more without a change, and log it with "
            f"--changed {NOTHING}."
        )


def doubts(comparison: Comparison) -> list[str]:
    """What should be looked at before the verdict is believed."""
    return [*_gear_doubts(comparison), *_alignment_doubts(comparison), *_same_doubts(comparison)]


def _gear_doubts(c: Comparison) -> Iterator[str]:
    first, second = c.before, c.after
    if c.arc:
        yield (
            f"The gears differ in size ({gear_name(first.gear)}; {gear_name(second.gear)}): pitch "
            "errors are compared as angles about the axis (seconds of arc), sizes and shapes not "
            "at all."
        )
    if first.photo.sha256 == second.photo.sha256 and first.photo.sha256.strip("0"):
        yield "Both readings are of one and the same photograph: any difference is of the settings."
    if first.software_version != second.software_version:
        yield (
            f"The readings were made by versions {first.software_version} and "
            f"{second.software_version}: read both photographs again with one."
        )


def _alignment_doubts(c: Comparison) -> Iterator[str]:
    if c.alignment is None or not c.same_gear:
        return
    if c.match is False:
        yield (
            "Seen from its other face the second would match the first: photograph the same face."
            if c.alignment.flipped
            else "If these are two gears, leave --same-gear out."
        )
    elif c.alignment.how == "number":
        yield (
            "The patterns do not tell which tooth is which, so teeth were paired by their numbers. "
            "If the gear was turned between the pictures, mark a tooth and give its number in each "
            "reading with --mark."
        )
    elif c.alignment.how == "mark" and c.match and not c.alignment.sure:
        yield "The patterns match in another place too, or better, than the marks say: look again."


def _same_doubts(c: Comparison) -> Iterator[str]:
    if c.same_gear or c.alignment is None or not c.match:
        return
    if c.alignment.sure and c.alignment.correlation > 0.8:
        yield (
            "The two patterns are almost the same. If this is one gear photographed twice, add "
            "--same-gear; if not, the machine repeats its error tooth for tooth."
        )


def shared(comparison: Comparison) -> str:
    """Say what both readings share, and what of it cancels."""
    scale = (
        "Both pictures have one calibration, so its error is left out of differences of sizes as "
        "far as it acts on both alike."
        if comparison.common_scale
        else "The pictures have scales of their own, so both scales' errors count in full."
    )
    return scale + (
        " The allowance for lens and lean stays in full: most of it is for how the gear lay, which "
        "no two pictures share. It acts on errors over the whole turn and hardly on those from "
        "tooth to tooth."
    )


def pairing(comparison: Comparison, labels: Sequence[str]) -> str:
    """Say how the teeth of the two readings were laid over each other."""
    a = comparison.alignment
    if a is None:
        return "The tooth counts differ, so each gear is drawn over its own turn."
    by = {
        "number": "by their numbers",
        "mark": "by the marked tooth",
        "pattern": "by their patterns",
    }[a.how]
    teeth = comparison.before.gear.teeth
    place = f": tooth 1 of {labels[0]} is tooth {a.shift % teeth + 1} of {labels[1]}"
    use = "" if comparison.same_gear else " for this picture only; the gears are different ones"
    return f"Teeth are laid over each other {by}{place if a.how != 'number' else ''}{use}."
