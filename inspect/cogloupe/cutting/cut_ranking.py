"""Which of the situations in `cutters` explains the mean gap how well, and with what sizes.

Lengths mm, angles rad; profile shifts in modules.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from math import degrees, inf, log, tan

import numpy as np

from cogloupe.cutting.cutters import Cut, situations, supposed
from cogloupe.cutting.gap_fit import Comparison, GapFit, shares
from cogloupe.cutting.hob_overrun import whole_reach
from cogloupe.evaluation.mean_gap import MeanGap
from cogloupe.forms.rack import Gear

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
    share : float
        Share of the probability, all kinds alike beforehand.
    misfit : float
        Root mean square distance of the mean gap from its best gap, mm.
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
    alike : tuple of Ranked
        Those that cannot be told apart from the likeliest, itself first.
    strain : float
        Misfit of the best, in standard uncertainties (root mean square).
    """

    ranked: tuple[Ranked, ...]
    alike: tuple[Ranked, ...]
    strain: float


def rank_cuts(gap: MeanGap, gear: Gear, dp: bool, scale_known: bool = True) -> Ranking | None:
    """Rank the situations by how well each explains the mean gap.

    Likeliest first; each kind of situation has the same probability beforehand, shared by its rows.
    None where no cutter reaches the floor that was found.

    Parameters
    ----------
    gear : Gear
        As stated.
    dp : bool
        It was stated in diametral pitch.
    scale_known : bool
        False where the stated module itself set the scale: then no other module is thought of.
    """
    comparison = Comparison(gap, gear.module_mm, None if scale_known else UNSCALED_U)
    table = [cut for cut in situations(gear, dp) if scale_known or cut.kind != "module"]
    found = list(_fitted(table, comparison, gear))
    if not found:
        return None
    cuts, fits = zip(*found, strict=True)
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
            _seen(cuts[k], fits[k], gap.tip),
        )
        for k in np.argsort(-weight)
    )  # fmt: skip
    # By logarithms: where nothing is seen of the likeliest, shares of the others may be nought.
    behind = np.sort(-weight) / max(strain, 1.0)
    seen = [(row, lag) for row, lag in zip(ranked, behind, strict=True) if row.seen]
    alike = tuple(row for row, lag in seen if lag - seen[0][1] < log(ALIKE))
    return Ranking(ranked, alike, float(np.sqrt(strain)))


def _fitted(
    table: Iterable[Cut], comparison: Comparison, gear: Gear
) -> Iterator[tuple[Cut, GapFit]]:
    """Fit the situations; those that leave the same gap share one fit."""
    fits: dict[Cut, GapFit] = {}
    best = -inf
    for cut in table:
        leaves = replace(cut, kind="", label="")
        if leaves not in fits:
            gap_of_it = supposed(cut, gear, comparison.gap)
            if gap_of_it is None:
                continue
            fits[leaves] = comparison.fit(gap_of_it, best)
            best = max(best, fits[leaves].log_weight)
        yield cut, fits[leaves]


def _seen(cut: Cut, fit: GapFit, tip: float) -> bool:
    """Whether what makes the situation is larger than its U."""
    if cut.kind == "end":
        cut_so = replace(cut.gear, profile_shift=float(fit.values[0]), tip_radius_mm=tip)
        whole = whole_reach(cut_so) / cut.gear.module_mm
        return bool(fit.values[-1] + 2 * fit.u[-1] < whole)
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
    if "end" in found:
        yield _size("reach of the hob on that side", found["end"], m, "mm")
    if "lean" in found:
        # Off centre by c, a gap that is turned back to the middle leans the other way by c / r.
        yield _size("lean", found["lean"], degrees(1), "°")
        yield _size("or off centre by", found["lean"], -gear.reference_radius, "mm")


def _size(name: str, found: tuple[float, float], unit: float, called: str) -> Size:
    return Size(name, found[0] * unit, found[1] * abs(unit), called)
