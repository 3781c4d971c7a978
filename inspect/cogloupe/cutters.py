"""What cut the gaps: the plausible situations, and how well each explains the mean gap.

One table of situations. Each supposes a cutter and leaves free what nobody knows beforehand: the
depth, the rounding of the cutter's corners, and what makes the situation (a widening, a lean, an
angle). Lengths mm, angles rad; profile shifts and roundings in modules.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import degrees, inf, radians, tan

import numpy as np
from numpy.typing import NDArray

from cogloupe.gap_fit import Comparison, Free, GapFit, Supposed, shares
from cogloupe.gap_outline import GapOutline, evenly, whole_gap
from cogloupe.mean_gap import MeanGap
from cogloupe.rack import (
    RACK_NAMES,
    BasicRack,
    Gear,
    basic_rack,
    full_radius,
    half_gap,
    rack_for_angle,
)
from cogloupe.standard_sizes import standard_sizes_near

Floats = NDArray[np.float64]

FORM_CUTTERS = (
    (1, 135, None), (2, 55, 134), (3, 35, 54), (4, 26, 34), (5, 21, 25), (6, 17, 20), (7, 14, 16),
    (8, 12, 13),
)  # fmt: skip
"""The set of eight form cutters: number, lowest and highest tooth number; each has the gap of its
lowest (common practice, no source)."""
ODD_ANGLES_DEG = (14.5, 17.5, 20.0, 22.5, 25.0)
"""Pressure angles of cutters in the trade (common practice, no source)."""
NEIGHBOUR_MODULES = 0.12
"""Other modules that are thought of: within this share."""
SHIFTS = (-0.9, 1.5)
STEP_MODULES = 0.01
ABOVE_TIP = 0.15
DEPTH = 0.3
"""Spread, beforehand, of the depth of cut in modules (workshop cuts; our own judgement)."""
ROUNDING, LEAST_ROUNDING = 0.08, 0.02
"""Spread of the rounding of the cutter's corners (wear, grinding; our own judgement)."""
WIDENING, LEAN_DEG, ANGLE_DEG = 0.1, 2.0, 3.0
"""Spreads of a widening (modules), a lean and a flank angle (our own judgement)."""
UNSCALED_U = 0.02
"""Relative standard uncertainty of a scale that only the stated module set, by tips and flanks."""
ALIKE = 20.0
"""Situations less than so many times as likely as one another are not told apart: the usual one
in twenty."""
POOR_FIT = 2.0
"""Times its own uncertainty by which the best situation may miss the gap before that is said."""
RANDOM_SPREAD = (0.2, 0.8)
"""Standard deviation of the gaps' widths over their mean widening: the range of 2 to 20 normal
values has 0.2 to 0.76 of its mean (tables of the range's distribution, recomputed)."""
OTHER_SPREAD = 0.006
"""Scale of the standard deviation of the gaps' widths otherwise, in modules: a gap that is cut at
one setting is as wide as the next (gears of the generating model with facets show 0.003)."""


@dataclass(frozen=True)
class Cut:
    """A situation of the table.

    Attributes
    ----------
    kind : str
        'rack', 'system', 'angle', 'module', 'form', 'scatter', 'thick' or 'lean'.
    label : str
        What it is called in a sentence.
    gear : Gear
        Gear whose gap the cutter leaves at no shift.
    free : tuple of str
        Sizes left free beside the depth.
    form : bool
        The cutter has the gap's own shape, instead of generating it.
    """

    kind: str
    label: str
    gear: Gear
    free: tuple[str, ...] = ("rounding",)
    form: bool = False


@dataclass(frozen=True)
class Size:
    """A size found for a situation, with its standard uncertainty."""

    name: str
    value: float
    u: float
    unit: str


@dataclass(frozen=True)
class Ranked:
    """A situation with its share of the probability and what was found for it.

    Attributes
    ----------
    cut : Cut
    share : float
        Share of the probability, all kinds alike beforehand.
    misfit : float
        Root mean square distance of the mean gap from its best gap, mm.
    sizes : tuple of Size
    seen : bool
        False where what makes the situation (a widening, a lean, an odd angle) is smaller than
        its U, so that it comes down to the stated rack.
    """

    cut: Cut
    share: float
    misfit: float
    sizes: tuple[Size, ...]
    seen: bool

    def size(self, name: str) -> Size:
        """Look up a size by its name; KeyError where the situation has none of it."""
        return {size.name: size for size in self.sizes}[name]


@dataclass(frozen=True)
class Ranking:
    """All situations, likeliest first.

    Attributes
    ----------
    ranked : tuple of Ranked
    alike : tuple of Ranked
        Those that cannot be told apart from the likeliest, itself first.
    strain : float
        Misfit of the best, in standard uncertainties (root mean square).
    """

    ranked: tuple[Ranked, ...]
    alike: tuple[Ranked, ...]
    strain: float


def situations(gear: Gear, dp: bool) -> Iterator[Cut]:
    """The table of situations for a gear.

    Parameters
    ----------
    gear : Gear
        As stated: teeth, module, rack.
    dp : bool
        It was stated in diametral pitch.

    Yields
    ------
    Cut
    """
    plain = replace(gear, profile_shift=0.0, tip_radius_mm=None)
    rack, m = gear.rack, gear.module_mm
    yield Cut("rack", f"the {rack.name} rack", plain)
    for other in other_systems(rack, m):
        yield Cut("system", f"the {other.name} rack", replace(plain, rack=other))
    for angle in ODD_ANGLES_DEG:
        if abs(angle - degrees(rack.pressure_angle)) > 0.2:
            other = rack_for_angle(angle, m, dp)
            yield Cut("angle", f"a {angle:g}° cutter", replace(plain, rack=other))
    yield Cut("angle", "a cutter of an odd angle", plain, ("rounding", "angle"))
    for size, name, in_dp in standard_sizes_near(m, NEIGHBOUR_MODULES):
        other = rack_for_angle(degrees(rack.pressure_angle), size, in_dp)
        yield Cut("module", f"a {name} cutter", replace(plain, module_mm=size, rack=other))
    for number, lowest, highest in FORM_CUTTERS:
        own = lowest <= gear.teeth <= (highest or gear.teeth)
        span = f"{lowest} to {highest} teeth" if highest else f"{lowest} teeth to a rack"
        label = f"form cutter no. {number} ({span}{', its own range' if own else ''})"
        yield Cut("form", label, replace(plain, teeth=lowest), form=True)
    yield Cut("scatter", "passes scattered in angle", plain, ("rounding", "widening"))
    yield Cut("thick", "a cutter too thick, or play in the drive", plain, ("rounding", "widening"))
    yield Cut("lean", "a cutter that leans or stands off centre", plain, ("rounding", "lean"))


def other_systems(rack: BasicRack, module_mm: float) -> Iterator[BasicRack]:
    """Racks of the same pressure angle and another depth or rounding.

    Parameters
    ----------
    rack : BasicRack
    module_mm : float

    Yields
    ------
    BasicRack
    """
    seen = {(rack.dedendum, rack.fillet_radius)}
    for name in RACK_NAMES:
        other = basic_rack(name, module_mm)
        shape = (other.dedendum, other.fillet_radius)
        if abs(other.pressure_angle - rack.pressure_angle) < 1e-6 and shape not in seen:
            seen.add(shape)
            yield other


def supposed(cut: Cut, gear: Gear, gap: MeanGap) -> Supposed | None:
    """The gap that a situation leaves in a gear.

    Parameters
    ----------
    cut : Cut
    gear : Gear
        The gear, for its tooth number.
    gap : MeanGap
        For where floor and tips are.

    Returns
    -------
    Supposed or None
        None where no such cutter reaches that floor.
    """
    m, rack = cut.gear.module_mm, cut.gear.rack
    reference = gear.teeth * m / 2
    shift = (gap.floor - reference) / m + rack.dedendum
    if not SHIFTS[0] < shift < SHIFTS[1]:
        return None
    most = full_radius(rack.pressure_angle, rack.dedendum)
    known = {
        "rounding": Free(
            "rounding", min(rack.fillet_radius, 0.98 * most), rack.fillet_radius, ROUNDING,
            LEAST_ROUNDING, 0.999 * most,
        ),
        "angle": Free(
            "angle", rack.pressure_angle, rack.pressure_angle, radians(ANGLE_DEG), radians(11),
            radians(30),
        ),
        "widening": Free("widening", 0.01, 0.0, WIDENING, 0.0, 0.6, one_sided=True),
        "lean": Free("lean", 0.0, 0.0, radians(LEAN_DEG), -0.3, 0.3),
    }  # fmt: skip
    depth = Free("shift", shift, 0.0, DEPTH, *SHIFTS)
    names = ("shift", *cut.free)
    return Supposed(
        _outline_of(cut, names, reference, gap.tip + ABOVE_TIP * m),
        (depth, *(known[name] for name in cut.free)),
    )


def _outline_of(
    cut: Cut, names: tuple[str, ...], reference: float, top: float
) -> Callable[[Floats], GapOutline]:
    def outline(values: Floats) -> GapOutline:
        size = dict(zip(names, values, strict=True))
        rack = _ground(cut.gear.rack, size.get("rounding"), size.get("angle"))
        radius, angle = (_form_gap if cut.form else _generated_gap)(
            cut.gear, rack, size["shift"], reference, top
        )
        angle = angle + size.get("widening", 0.0) * cut.gear.module_mm / (2 * reference)
        whole = whole_gap(radius, angle, STEP_MODULES * cut.gear.module_mm)
        return _turned(whole, size.get("lean", 0.0), reference)

    return outline


def _ground(rack: BasicRack, rounding: float | None, angle: float | None) -> BasicRack:
    """Rack of a cutter with another rounding or angle, the rounding made to fit its tip."""
    angle = rack.pressure_angle if angle is None else angle
    rounding = rack.fillet_radius if rounding is None else rounding
    rounding = min(rounding, 0.999 * full_radius(angle, rack.dedendum))
    return BasicRack(rack.name, angle, rack.addendum, rack.dedendum, max(rounding, 0.001))


def _generated_gap(
    gear: Gear, rack: BasicRack, shift: float, reference: float, top: float
) -> tuple[Floats, Floats]:
    return half_gap(replace(gear, rack=rack, profile_shift=shift, tip_radius_mm=top))


def _form_gap(
    gear: Gear, rack: BasicRack, shift: float, reference: float, top: float
) -> tuple[Floats, Floats]:
    """Gap of the gear a form cutter was shaped for, sunk into another gear."""
    floor = reference - (rack.dedendum - shift) * gear.module_mm
    made_for = replace(gear, rack=rack)
    tall = replace(made_for, tip_radius_mm=made_for.root_radius + 1.02 * (top - floor))
    radius, angle = half_gap(tall)
    x, y = radius * np.sin(angle), radius * np.cos(angle) - made_for.root_radius + floor
    return np.hypot(x, y), np.arctan2(x, y)


def _turned(outline: GapOutline, lean: float, reference: float) -> GapOutline:
    """Gap turned about its middle on the reference circle."""
    if lean == 0:
        return outline
    x, y = outline.xy[:, 0], outline.xy[:, 1] - reference
    turned = np.stack([x * np.cos(lean) + y * np.sin(lean), y * np.cos(lean) - x * np.sin(lean)])
    return evenly(
        turned.T + np.array([0.0, reference]), float(outline.station[1] - outline.station[0])
    )


def rank_cuts(gap: MeanGap, gear: Gear, dp: bool, scale_known: bool = True) -> Ranking | None:
    """Rank the situations by how well each explains the mean gap.

    Parameters
    ----------
    gap : MeanGap
    gear : Gear
        As stated.
    dp : bool
        It was stated in diametral pitch.
    scale_known : bool
        False where the stated module itself set the scale: then no other module is thought of.

    Returns
    -------
    Ranking or None
        Likeliest first; each kind of situation has the same probability beforehand, shared by
        its rows. None where no cutter reaches the floor that was found.
    """
    comparison = Comparison(gap, gear.module_mm, None if scale_known else UNSCALED_U)
    table = [cut for cut in situations(gear, dp) if scale_known or cut.kind != "module"]
    cuts, fits, best_weight = [], [], -inf
    for cut in table:
        gap_of_it = supposed(cut, gear, gap)
        if gap_of_it is not None:
            cuts.append(cut)
            fits.append(comparison.fit(gap_of_it, best_weight))
            best_weight = max(best_weight, fits[-1].log_weight)
    if not cuts:
        return None
    rows = {cut.kind: sum(c.kind == cut.kind for c in table) for cut in cuts}
    weight = np.array(
        [
            fit.log_weight - np.log(rows[cut.kind]) + _spread_weight(cut, fit, gap, gear)
            for cut, fit in zip(cuts, fits, strict=True)
        ]
    )
    best = fits[int(np.argmax(weight))]
    strain = best.chi_square / best.count
    share = shares(weight, strain)
    ranked = tuple(
        Ranked(
            cuts[k], float(share[k]), fits[k].misfit, tuple(_sizes(cuts[k], fits[k], gear)),
            _seen(cuts[k], fits[k]),
        )
        for k in np.argsort(-share)
    )  # fmt: skip
    seen = [row for row in ranked if row.seen]
    alike = tuple(row for row in seen if row.share > seen[0].share / ALIKE)
    return Ranking(ranked, alike, float(np.sqrt(strain)))


def _seen(cut: Cut, fit: GapFit) -> bool:
    """Whether what makes the situation is larger than its U."""
    if cut.free[-1] == "rounding":
        return True
    nothing = cut.gear.rack.pressure_angle if cut.free[-1] == "angle" else 0.0
    return bool(abs(fit.values[-1] - nothing) > 2 * fit.u[-1])


def _spread_weight(cut: Cut, fit: GapFit, gap: MeanGap, gear: Gear) -> float:
    """Logarithm of how well a situation explains that the gaps' widths differ, or do not.

    Passes scattered by chance leave widths that differ in proportion to the mean widening; with
    any other cutter the widths have nothing to do with it. Averaged over what the spread can be.
    """
    other = OTHER_SPREAD * gear.module_mm * np.linspace(0.0, 3.0, 40)
    likely = np.exp(-0.5 * np.linspace(0.0, 3.0, 40) ** 2)
    ratio = np.linspace(*RANDOM_SPREAD, 30) if cut.kind == "scatter" else np.zeros(1)
    own = ratio[:, None] * fit.values[-1] * gear.module_mm
    variance = own**2 + other**2 + gap.u_width**2
    # Log density of a sample variance of so many normal values, up to what all rows share.
    terms = -0.5 * (gap.gaps - 1) * (np.log(variance) + gap.width_spread**2 / variance)
    peak = float(terms.max())
    return peak + float(np.log(np.mean(np.exp(terms - peak) @ likely / likely.sum())))


def _sizes(cut: Cut, fit: GapFit, gear: Gear) -> Iterator[Size]:
    """What was found, in a workshop's terms."""
    m, rack = cut.gear.module_mm, cut.gear.rack
    found = dict(zip(("shift", *cut.free), zip(fit.values, fit.u, strict=True), strict=True))
    shift, u_shift = found["shift"]
    yield Size("too deep by", -shift * m, u_shift * m, "mm")
    if not cut.form:
        yield Size("profile shift", shift, u_shift, "modules")
        thinner = -2 * shift * tan(rack.pressure_angle) * m
        yield Size("teeth thinner by", thinner, 2 * tan(rack.pressure_angle) * u_shift * m, "mm")
    if "rounding" in found:
        yield _size("corner rounding of the cutter", found["rounding"], m, "mm")
    if "angle" in found:
        yield _size("flank angle", found["angle"], degrees(1), "°")
    if "widening" in found:
        yield _size("gap wider by", found["widening"], m, "mm")
    if "lean" in found:
        # Off centre by c, a gap that is turned back to the middle leans the other way by c / r.
        yield _size("lean", found["lean"], degrees(1), "°")
        yield _size("or off centre by", found["lean"], -gear.reference_radius, "mm")


def _size(name: str, found: tuple[float, float], unit: float, called: str) -> Size:
    return Size(name, found[0] * unit, found[1] * abs(unit), called)
