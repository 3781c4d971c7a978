"""Which gear an unknown one is: the standard sizes and racks that its gaps and tips may be of.

The flanks alone tell the base circle, ``z m cos a / 2``: one number for module and pressure angle
together. What parts them is the rest of the tooth, which the rack sets in modules: floor, fillets,
tips. So every standard module and pitch is tried with every basic rack, the depth of cut and a
widening of the gaps left free, and each is weighed by the whole mean gap and by the tip circle.
Lengths mm, angles rad.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import cos, degrees, hypot, log, pi, sin, sqrt, tan

import numpy as np

from cogloupe.cutting.cut_ranking import ALIKE, Size
from cogloupe.cutting.cutters import Cut, supposed
from cogloupe.cutting.gap_fit import Comparison, GapFit, shares
from cogloupe.evaluation.mean_gap import MeanGap
from cogloupe.fits.measured_gear import Measured
from cogloupe.forms.basic_racks import RACK_NAMES, BasicRack, basic_rack, rack_for_angle
from cogloupe.forms.check_sizes import STANDARD_PIN, chord, over_pins, usable_spans
from cogloupe.forms.rack import Gear
from cogloupe.forms.standard_sizes import standard_sizes_near
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.robust import scatter

NEAR_BASE, NEAR_UNSCALED = 0.03, 0.12
"""How far, as a share, a candidate's base circle may lie from the one seen: the first, with four
standard uncertainties of the scale; the second where no scale is known."""
LOCAL_U = 0.02
"""What is left free of the scale once a candidate has been brought to the size that is seen."""
TIP_MODULES = 0.1
"""Spread of the tip radius about what the system asks for, in modules (our own judgement)."""
OTHER_ANGLES_DEG = (17.5, 22.5, 25.0)
"""Pressure angles without a basic rack of their own here (common practice, no source)."""
RARE = 0.1
"""Probability beforehand of such an angle against that of a rack in a standard (our own
judgement)."""


@dataclass(frozen=True, kw_only=True)
class Tried:
    """A candidate with how well it explains the gear.

    Attributes
    ----------
    size : str
        Its module or pitch by name.
    dp : bool
        It is stated in diametral pitch.
    module_mm : float
        Its module.
    gear : Gear
        At the profile shift that its tooth thickness shows, in the picture's unit: of another
        module where no scale is known.
    u_shift : float
        Standard uncertainty of that shift.
    share : float
        Share of the probability.
    misfit : float
        Root mean square distance of the mean gap from its gap, mm.
    """

    size: str
    dp: bool
    module_mm: float
    gear: Gear
    u_shift: float
    share: float
    misfit: float


@dataclass(frozen=True)
class Identified:
    """All candidates, likeliest first.

    Attributes
    ----------
    strain : float
        How far the best misses the gaps, in standard uncertainties (root mean square).
    scale_off : float
        How far the scale would have to be off for the best, in its standard uncertainties.
    """

    tried: tuple[Tried, ...]
    strain: float
    scale_off: float
    scale_known: bool

    def total(self, name: Callable[[Tried], str]) -> list[tuple[str, float]]:
        """Shares summed over all candidates with the same name, the largest first."""
        sums: dict[str, float] = {}
        for row in self.tried:
            sums[name(row)] = sums.get(name(row), 0.0) + row.share
        return sorted(sums.items(), key=lambda item: -item[1])

    def alike(self, name: Callable[[Tried], str]) -> list[str]:
        """Names that cannot be told apart from the likeliest, itself first."""
        totals = self.total(name)
        return [n for n, share in totals if share > totals[0][1] / ALIKE]


def size_of(row: Tried) -> str:
    """Name of a candidate's module or pitch."""
    return row.size


def angle_of(row: Tried) -> str:
    """Pressure angle of a candidate, as text."""
    return f"{degrees(row.gear.rack.pressure_angle):g}°"


def system_of(row: Tried) -> str:
    """Name of a candidate's rack."""
    return row.gear.rack.name


def base_radius_seen(measured: Measured) -> tuple[float, float]:
    """Base radius that the flanks' curve shows.

    Returns
    -------
    radius, u : float
        Mm; the standard uncertainty is that of noise and form, without scale and lens.

    Notes
    -----
    A line of unwound angle against roll length, rising by a share of ``1 / r_b``, is an involute
    of a base circle larger by that share.
    """
    base = measured.gear.base_radius
    in_px = base / measured.scale.mm_per_px
    slope = (np.array([-1.0, 1.0]) * measured.fits.slope * in_px).ravel()
    slope = slope[np.isfinite(slope)]
    middle = float(np.median(slope))
    spread = scatter(slope - middle)
    return base * (1 + middle), base * 1.25 * spread / sqrt(len(slope))


def candidates(teeth: int, base_radius: float, within: float) -> Iterator[tuple[Cut, bool]]:
    """Standard gears with about a base circle.

    Parameters
    ----------
    base_radius : float
        As seen, mm.
    within : float
        Largest relative difference.

    Yields
    ------
    Cut
        Its label is the name of the size.
    bool
        The size is stated in diametral pitch.
    """
    middle = 2 * base_radius / teeth / cos(0.35)
    for module, name, dp in standard_sizes_near(middle, 0.12 + within):
        for rack in _racks(module, dp):
            gear = Gear(teeth, module, rack)
            if abs(gear.base_radius / base_radius - 1) < within:
                yield Cut(kind="system", label=name, gear=gear, free=("rounding", "widening")), dp


def _racks(module_mm: float, dp: bool) -> Iterator[BasicRack]:
    """Racks that a cutter of a module may follow, each shape once."""
    seen = set()
    for name in RACK_NAMES:
        rack = basic_rack(name, module_mm)
        shape = (rack.pressure_angle, rack.addendum, rack.dedendum, rack.fillet_radius)
        if shape not in seen and not name.startswith("iso53" if dp else "dp-"):
            seen.add(shape)
            yield rack
    for angle in OTHER_ANGLES_DEG:
        yield rack_for_angle(angle, module_mm, dp)


def identify(
    gap: MeanGap, teeth: int, base_radius: float, relative_u: float | None
) -> Identified | None:
    """Weigh the standard gears against a mean gap and its tips.

    None where no standard gear comes near.

    Parameters
    ----------
    base_radius : float
        As seen, mm.
    relative_u : float or None
        Relative standard uncertainty of the scale; None where it was not told by itself.

    Notes
    -----
    Every size has the same probability beforehand, shared by its racks, those of rare angles less.
    Each candidate is brought to the base circle that is seen, which it thereby explains, and is
    charged with how far the scale would have to be off: its logarithm in standard uncertainties,
    squared and halved.
    """
    within = NEAR_BASE + 4 * relative_u if relative_u is not None else NEAR_UNSCALED
    module = 2 * base_radius / teeth / cos(0.35)
    spread = hypot(TIP_MODULES * module, gap.u_tip)
    comparison = Comparison(gap, module, LOCAL_U, tip_spread=spread)
    rows = list(_fitted(comparison, candidates(teeth, base_radius, within), base_radius))
    if not rows:
        return None
    off = np.array([log(base_radius / cut.gear.base_radius) for cut, _, _ in rows])
    off = off / relative_u if relative_u is not None else np.zeros(len(rows))
    names = [cut.label for cut, _, _ in rows]
    weight = np.array([fit.log_weight for _, _, fit in rows]) - off**2 / 2
    weight -= np.log([names.count(name) for name in names])
    rare = np.array([cut.gear.rack.name not in RACK_NAMES for cut, _, _ in rows])
    weight += np.where(rare, log(RARE), 0.0)
    best = rows[int(np.argmax(weight))][2]
    strain = best.chi_square / best.count
    share = shares(weight, strain)
    order = np.argsort(-share)
    seen = None if relative_u is not None else base_radius
    tried = tuple(
        Tried(
            size=rows[k][0].label,
            dp=rows[k][1],
            module_mm=rows[k][0].gear.module_mm,
            gear=_at_shift(rows[k], seen, gap.tip),
            u_shift=_shift_shown(rows[k])[1],
            share=float(share[k]),
            misfit=rows[k][2].misfit,
        )
        for k in order
    )
    return Identified(tried, sqrt(strain), float(off[order[0]]), relative_u is not None)


def _at_shift(row: tuple[Cut, bool, GapFit], base_radius: float | None, tip: float) -> Gear:
    """Candidate as it was found, brought to a base radius where one is given."""
    cut = row[0]
    gear = replace(cut.gear, profile_shift=_shift_shown(row)[0])
    if base_radius is not None:
        gear = gear.scaled(base_radius / gear.base_radius)
    return replace(gear, tip_radius_mm=tip)


def _shift_shown(row: tuple[Cut, bool, GapFit]) -> tuple[float, float]:
    """Profile shift of the tooth thickness, and its standard uncertainty.

    A gap that came out wider by w modules than its depth asks has teeth as thin as a shift lower by
    ``w / (2 tan a)`` gives (ISO 21771).
    """
    cut, _, fit = row
    share = np.array([1.0, 0.0, -1 / (2 * tan(cut.gear.rack.pressure_angle))])
    return float(share @ fit.values), float(np.sqrt(share @ fit.covariance @ share))


def _fitted(
    comparison: Comparison, tried: Iterator[tuple[Cut, bool]], base_radius: float
) -> Iterator[tuple[Cut, bool, GapFit]]:
    """Fit the candidates, each brought to the base radius first."""
    best = -np.inf
    for cut, dp in tried:
        gear = cut.gear.scaled(base_radius / cut.gear.base_radius)
        found = supposed(replace(cut, gear=gear), gear, comparison.gap)
        if found is None:
            continue
        fit = comparison.fit(replace(found, tip=_tip_of(gear)), best)
        best = max(best, fit.log_weight)
        yield cut, dp, fit


def _tip_of(gear: Gear) -> Callable[[Floats], float]:
    """Tip radius that the system asks for at a shift."""
    return lambda values: gear.reference_radius + (gear.rack.addendum + values[0]) * gear.module_mm


def measures(
    found: Tried, gap: MeanGap, base: tuple[float, float], relative_u: float
) -> Iterator[Size]:
    """Sizes by which a twin of the gear can be cut and checked.

    Base pitch, diameters and depth as measured, with all of the scale's uncertainty; spans, pins
    and chords of the candidate at the shift that was found, as sure as that shift.

    Parameters
    ----------
    found : Tried
        The candidate to state them for.
    base : (float, float)
        Base radius that the flanks show, and its standard uncertainty without the scale's.
    relative_u : float
        Relative standard uncertainty of the scale.

    Notes
    -----
    Tip and floor move the same way where edges lie wrongly, so that the depth is free of it. A
    shift of x modules makes a span longer by ``2 x m sin a`` and a tooth thicker by ``2 x m tan
    a`` (ISO 21771).
    """
    gear, m, edge = found.gear, found.gear.module_mm, gap.edge
    turn, u_shift, alpha = pi / gear.teeth * 2, found.u_shift, gear.rack.pressure_angle
    stretch = gap.stretch * sin(alpha) ** 2
    u_base = hypot(base[1], base[0] * hypot(relative_u, stretch))
    yield Size("base pitch", base[0] * turn, u_base * turn, "mm")
    yield Size("profile shift", gear.profile_shift, u_shift, "modules")
    u_tip = hypot(gap.u_tip, edge, gap.tip * relative_u)
    yield Size("tip diameter", 2 * gap.tip, 2 * u_tip, "mm")
    yield Size("addendum", (gap.tip - gear.reference_radius) / m, u_tip / m, "modules")
    u_floor = hypot(gap.u_floor, edge, gap.floor * relative_u)
    yield Size("root diameter", 2 * gap.floor, 2 * u_floor, "mm")
    yield Size("dedendum", (gear.reference_radius - gap.floor) / m, u_floor / m, "modules")
    depth = gap.tip - gap.floor
    yield Size("whole depth", depth, hypot(gap.u_tip, gap.u_floor, depth * relative_u), "mm")
    for span in usable_spans(gear):
        name = f"span over {span.teeth_spanned} teeth"
        yield Size(name, span.size_mm, 2 * u_shift * m * sin(alpha), "mm")
    pins = over_pins(gear, STANDARD_PIN * m)
    if not pins.fault:
        u_pins = u_shift * m / pins.depth_per_size
        yield Size(f"over two pins of {pins.pin_mm:.4g} mm", pins.size_mm, u_pins, "mm")
    across = chord(gear)
    yield Size("chordal thickness", across.thickness_mm, 2 * u_shift * m * tan(alpha), "mm")
    yield Size("chordal height", across.height_mm, u_tip, "mm")
