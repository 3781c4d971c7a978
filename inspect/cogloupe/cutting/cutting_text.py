"""What cut the gaps, and which gear it is, put into the reading's models and into sentences.

No sentence is surer than the figures: situations within a factor of twenty are named together, a
fault smaller than its U is not named, and a best that misses the gaps is called a miss.
"""

from collections.abc import Callable, Iterator, Sequence
from math import degrees

from cogloupe.cutting.cut_ranking import POOR_FIT, Ranked, Ranking, Size
from cogloupe.cutting.unknown import Identified, Tried, angle_of, size_of, system_of
from cogloupe.reading.cutting_models import (
    Candidate,
    CutSituation,
    Cutting,
    Identity,
    Likelihood,
    SizeFound,
)
from cogloupe.wording.numbers import resolved, with_uncertainty
from cogloupe_calibration.units import MM_PER_INCH

SHOWN = 1e-4
"""Candidates and situations less likely than this are left out of the reading."""
FEWEST_SHOWN = 6
"""The likeliest of them are always told, so that it is seen what was thought of."""
FAR_OFF = 3.0
"""Standard uncertainties by which a scale is off once in some 400 times by chance."""


def build_cutting(ranking: Ranking) -> Cutting:
    """What cut the gaps, for the reading."""
    said = [said_of(row) for row in ranking.alike]
    return Cutting(
        sentence=_cut_sentence(ranking, said),
        alike=tuple(row.cut.label for row in ranking.alike),
        strain=ranking.strain,
        situations=tuple(
            CutSituation(
                kind=row.cut.kind,
                situation=row.cut.label,
                probability=row.share,
                misfit_um=1000 * row.misfit,
                resolved=row.seen,
                side=row.cut.side,
                sizes=tuple(_found(size) for size in row.sizes),
            )
            for k, row in enumerate(ranking.ranked)
            if row.share > SHOWN or k < FEWEST_SHOWN
        ),
    )


def _cut_sentence(ranking: Ranking, said: Sequence[str]) -> str:
    if ranking.strain > POOR_FIT:
        return (
            f"None of the usual situations explains the gaps: the nearest, {said[0]}, still leaves "
            f"{1000 * ranking.alike[0].misfit:.1f} µm over, {ranking.strain:.1f} times what the "
            "picture allows."
        )
    limits = _limits(ranking)
    if len(said) == 1:
        return f"The gaps were most likely cut by {said[0]}.{limits}"
    return (
        f"The gaps may have been cut by {_listed(said, 'or')}; this picture cannot tell "
        f"{'them' if len(said) > 2 else 'the two'} apart.{limits}"
    )


def _limits(ranking: Ranking) -> str:
    """What would have shown, where nothing of it was seen."""
    unseen = {row.cut.kind: row for row in ranking.ranked if not row.seen}
    parts = []
    if {"scatter", "thick"} <= unseen.keys():
        size = unseen["thick"].size("gap wider by")
        parts.append(f"a widening by scattered passes or a thick cutter above {_most(size)}")
    if "lean" in unseen:
        parts.append(f"a lean above {_most(unseen['lean'].size('lean'))}")
    return f" {_listed(parts, 'or').capitalize()} would have shown." if parts else ""


def _most(size: Size) -> str:
    """Largest value that a size which is not seen may have."""
    most, unit = abs(size.value) + 2 * size.u, size.unit
    return f"{1000 * most:.0f} µm" if unit == "mm" else f"{most:.2g}{unit}"


def said_of(row: Ranked) -> str:
    """Name a situation with its sizes; a phrase that can follow "cut by"."""
    depth = _depth(row.size("too deep by"))
    return f"{_PHRASES.get(row.cut.kind, _plain)(row)} ({depth})"


def _plain(row: Ranked) -> str:
    if any(size.name == "flank angle" for size in row.sizes):
        return f"a cutter with a flank angle of {_pm(row.size('flank angle'))}"
    return row.cut.label


def _scattered(row: Ranked) -> str:
    wider = _pm(row.size("gap wider by"))
    return (
        f"passes that fell at scattered angles, which widened flanks and floor by {wider}, one gap "
        "more than another"
    )


def _thick(row: Ranked) -> str:
    wider = _pm(row.size("gap wider by"))
    return f"a cutter too thick, or play taken up both ways, which widened all gaps by {wider}"


def _leaning(row: Ranked) -> str:
    lean = row.size("lean")
    way = "clockwise" if lean.value > 0 else "anticlockwise"
    off = row.size("or off centre by")
    # The cutter stood on the side from which the gap leans away.
    side = "clockwise" if off.value > 0 else "anticlockwise"
    return (
        f"a cutter that leaned, so that the gaps lean {_pm(_size_of(lean))} {way}, or a form "
        f"cutter {_pm(_size_of(off))} off centre on the {side} side"
    )


def _ended(row: Ranked) -> str:
    way = "clockwise" if row.cut.side > 0 else "anticlockwise"
    return (
        f"a hob that reached only {_pm(row.size('reach of the hob on that side'))} beyond the "
        f"centre line on the {way} side, too short or off centre, so that it did not generate "
        "the flanks whole"
    )


_PHRASES: dict[str, Callable[[Ranked], str]] = {
    "scatter": _scattered,
    "thick": _thick,
    "lean": _leaning,
    "end": _ended,
}


def _size_of(size: Size) -> Size:
    return Size(size.name, abs(size.value), size.u, size.unit)


def _pm(size: Size) -> str:
    """Size with U; micrometres where it is in millimetres."""
    if size.unit == "mm":
        return with_uncertainty(1000 * size.value, 1000 * size.u, "µm")
    return with_uncertainty(size.value, size.u, size.unit)


def _depth(size: Size) -> str:
    if not resolved(size.value, size.u):
        return f"at its own depth within {2000 * size.u:.0f} µm"
    way = "deeper" if size.value > 0 else "shallower"
    return f"{_pm(_size_of(size))} {way} than its own depth"


def _listed(words: Sequence[str], joint: str) -> str:
    *front, last = words
    return f"{', '.join(front)}, {joint} {last}" if len(front) > 1 else f" {joint} ".join(words)


def build_identity(found: Identified, sizes: Sequence[Size]) -> Identity:
    """Which gear it is, for the reading.

    Parameters
    ----------
    sizes : sequence of Size
        Sizes to cut a twin by.
    """
    return Identity(
        sentence=_name_sentence(found),
        scale_known=found.scale_known,
        strain=found.strain,
        candidates=tuple(
            _candidate(row)
            for k, row in enumerate(found.tried)
            if row.share > SHOWN or k < FEWEST_SHOWN
        ),
        sizes=_likelihoods(found, size_of),
        pressure_angles=_likelihoods(found, angle_of),
        systems=_likelihoods(found, system_of),
        measures=tuple(_found(size) for size in sizes),
        unsettled=tuple(_unsettled(found, sizes)),
    )


def _likelihoods(found: Identified, name: Callable[[Tried], str]) -> tuple[Likelihood, ...]:
    totals = found.total(name)
    return tuple(
        Likelihood(name=value, probability=share)
        for k, (value, share) in enumerate(totals)
        if share > SHOWN or k < 3
    )


def _candidate(row: Tried) -> Candidate:
    gear = row.gear
    return Candidate(
        size=row.size,
        module_mm=row.module_mm,
        diametral_pitch=MM_PER_INCH / row.module_mm,
        pressure_angle_deg=degrees(gear.rack.pressure_angle),
        rack=gear.rack.name,
        profile_shift=gear.profile_shift,
        u_profile_shift=row.u_shift,
        probability=row.share,
        misfit_um=1000 * row.misfit,
    )


def _found(size: Size) -> SizeFound:
    return SizeFound(name=size.name, value=size.value, u_value=size.u, unit=size.unit)


def _name_sentence(found: Identified) -> str:
    best = found.tried[0]
    if found.strain > POOR_FIT:
        return (
            f"No standard gear explains this one: the nearest, {_named(best)}, leaves "
            f"{1000 * best.misfit:.1f} µm over, {found.strain:.1f} times what the picture allows."
        )
    if abs(found.scale_off) > FAR_OFF:
        return (
            f"No standard gear explains this one at the scale that was given: the nearest, "
            f"{_named(best)}, would need the scale to be off by {abs(found.scale_off):.1f} of its "
            "standard uncertainties. Check the scale; else the gear is of no standard size."
        )
    sizes, angles, systems = (found.alike(name) for name in (size_of, angle_of, system_of))
    size = _listed(sizes, "or") if found.scale_known else "of a size not told"
    racks = _listed([f"the {name} rack" for name in systems], "or")
    return (
        f"By its gaps and tips this gear has {best.gear.teeth} teeth, {size}, "
        f"{_listed(angles, 'or')}, cut to {racks}, with {_shift(best)}."
    )


def _named(row: Tried) -> str:
    return f"{row.size}, {angle_of(row)}, {system_of(row)}"


def _shift(row: Tried) -> str:
    shift = row.gear.profile_shift
    if not resolved(shift, row.u_shift):
        return f"no profile shift beyond {2 * row.u_shift:.3f}"
    return f"a profile shift of {with_uncertainty(shift, row.u_shift, '', signed=True)}"


def _unsettled(found: Identified, sizes: Sequence[Size]) -> Iterator[str]:
    """What one picture cannot settle about this gear."""
    best = found.tried[0]
    others = found.alike(size_of)
    if not found.scale_known:
        yield (
            "Nothing told the scale, so the picture tells shapes alone: sizes a few percent apart, "
            "as module 0.5 mm and 48 DP, look the same. A caliper over the tips "
            "(--known-tip-diameter) settles it. Until then lengths are as if the module were "
            f"{best.gear.module_mm:.4g} mm."
        )
    elif len(others) > 1:
        modules = {row.size: row.module_mm for row in found.tried}
        apart = min(abs(modules[name] / best.module_mm - 1) for name in others[1:])
        yield (
            f"{_listed(others, 'and')} cannot be told apart: they differ by "
            f"{100 * apart:.1f} %; a scale sure to {25 * apart:.1g} % would."
        )
    angles = found.alike(angle_of)
    if len(angles) > 1:
        yield (
            f"Pressure angles of {_listed(angles, 'and')} cannot be told apart: the flanks fix "
            "module times cosine of the angle only, and floor and tips fit both."
        )
    systems = found.alike(system_of)
    if len(systems) > 1:
        yield (
            f"{_listed([f'the {name}' for name in systems], 'and').capitalize()} racks leave gaps "
            "too alike; any of them cuts a mate for it."
        )
    yield from _about_the_tips(best, {size.name: size for size in sizes})
    yield (
        "One picture shows one face: a helix, a taper or a crown is not seen. Put a rule along a "
        "tooth."
    )
    yield (
        "The mate's own profile shift is not on this gear: it follows from the centre distance, "
        "which is to be measured on the plates."
    )


def _about_the_tips(best: Tried, sizes: dict[str, Size]) -> Iterator[str]:
    """Tips that stand otherwise than the shift asks: turned down, or another system."""
    gear, found = best.gear, sizes["addendum"]
    wanted = gear.rack.addendum + gear.profile_shift
    short = wanted - found.value
    u = (found.u**2 + best.u_shift**2) ** 0.5
    if resolved(short, u):
        by = with_uncertainty(abs(1000 * short * gear.module_mm), 1000 * u * gear.module_mm, "µm")
        where = (
            "lower than the rack and this shift ask: the blank was turned down, or tips were "
            "topped or worn"
            if short > 0
            else "higher than the rack and this shift ask: the blank was larger, or the teeth were "
            "cut thin"
        )
        yield f"The tips stand {by} {where}. Tip diameter alone must not be taken for the module."
