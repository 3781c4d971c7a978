"""What may have cut the gaps: the plausible situations, and the gap that each would leave.

One table of situations. Each supposes a cutter and leaves free what nobody knows beforehand: the
depth, the rounding of the cutter's corners, and what makes the situation (a widening, a lean, an
angle). Lengths mm, angles rad; profile shifts and roundings in modules.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import degrees, radians

import numpy as np

from cogloupe.cutting.gap_fit import Free, Supposed
from cogloupe.cutting.hob_overrun import ended_gap
from cogloupe.evaluation.mean_gap import MeanGap
from cogloupe.forms.basic_racks import (
    RACK_NAMES,
    BasicRack,
    basic_rack,
    full_radius,
    rack_for_angle,
)
from cogloupe.forms.gap_outline import GapOutline, evenly, whole_gap
from cogloupe.forms.gap_theory import FURTHEST_SHIFTS
from cogloupe.forms.rack import Gear, half_gap
from cogloupe.forms.standard_sizes import standard_sizes_near
from cogloupe_calibration.arrays import Floats

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
STEP_MODULES = 0.01
"""Distance of an outline's points: a chord so long leaves a rounding of 0.25 modules by 5e-5."""
ABOVE_TIP = 0.15
"""How far above the tips, in modules, supposed gaps are made, so that the blurred end of a real one
still lies beside theory."""
DEPTH = 0.3
"""Spread, beforehand, of the depth of cut in modules (workshop cuts; our own judgement)."""
ROUNDING, LEAST_ROUNDING = 0.08, 0.02
"""Spread of the rounding of the cutter's corners (wear, grinding; our own judgement)."""
END = (2.0, 1.0)
"""Reach of a hob that ends too near, in modules beyond the centre line, and its spread: flanks
need some four (our own judgement)."""
WIDENING, LEAN_DEG, ANGLE_DEG = 0.1, 2.0, 3.0
"""Spreads of a widening (modules), a lean and a flank angle (our own judgement)."""


@dataclass(frozen=True, kw_only=True)
class Cut:
    """A situation of the table.

    Attributes
    ----------
    kind : str
        'rack', 'system', 'angle', 'module', 'form', 'scatter', 'thick', 'lean' or 'end'.
    label : str
        What it is called in a sentence.
    gear : Gear
        Gear whose gap the cutter leaves at no shift.
    free : tuple of str
        Sizes left free beside the depth.
    form : bool
        The cutter has the gap's own shape, instead of generating it.
    side : int
        Where a hob ends too near the centre line: 1 on the clockwise side, -1 on the other.
    """

    kind: str
    label: str
    gear: Gear
    free: tuple[str, ...] = ("rounding",)
    form: bool = False
    side: int = 0


def situations(gear: Gear, dp: bool) -> Iterator[Cut]:
    """The table of situations for a gear.

    Parameters
    ----------
    gear : Gear
        As stated: teeth, module, rack.
    dp : bool
        It was stated in diametral pitch.
    """
    plain = replace(gear, profile_shift=0.0, tip_radius_mm=None)
    rack, m = gear.rack, gear.module_mm
    yield Cut(kind="rack", label=f"the {rack.name} rack", gear=plain)
    for other in other_systems(rack, m):
        yield Cut(kind="system", label=f"the {other.name} rack", gear=replace(plain, rack=other))
    for angle in ODD_ANGLES_DEG:
        if abs(angle - degrees(rack.pressure_angle)) > 0.2:
            other = rack_for_angle(angle, m, dp)
            yield Cut(kind="angle", label=f"a {angle:g}° cutter", gear=replace(plain, rack=other))
    yield Cut(
        kind="angle", label="a cutter of an odd angle", gear=plain, free=("rounding", "angle")
    )
    for size, name, in_dp in standard_sizes_near(m, NEIGHBOUR_MODULES):
        other = rack_for_angle(degrees(rack.pressure_angle), size, in_dp)
        yield Cut(
            kind="module", label=f"a {name} cutter", gear=replace(plain, module_mm=size, rack=other)
        )
    for number, lowest, highest in FORM_CUTTERS:
        own = lowest <= gear.teeth <= (highest or gear.teeth)
        span = f"{lowest} to {highest} teeth" if highest else f"{lowest} teeth and more"
        label = f"form cutter no. {number} for {span}{' as this one has' if own else ''}"
        yield Cut(kind="form", label=label, gear=replace(plain, teeth=lowest), form=True)
    yield Cut(
        kind="scatter", label="passes scattered in angle", gear=plain, free=("rounding", "widening")
    )
    yield Cut(
        kind="thick",
        label="a cutter too thick, or play in the drive",
        gear=plain,
        free=("rounding", "widening"),
    )
    yield Cut(
        kind="lean",
        label="a cutter that leans or stands off centre",
        gear=plain,
        free=("rounding", "lean"),
    )
    for side, way in ((1, "clockwise"), (-1, "anticlockwise")):
        label = f"a hob that ends too near the centre line on the {way} side"
        yield Cut(kind="end", label=label, gear=plain, free=("rounding", "end"), side=side)


def other_systems(rack: BasicRack, module_mm: float) -> Iterator[BasicRack]:
    """Racks of the same pressure angle and another depth or rounding."""
    seen = {(rack.dedendum, rack.fillet_radius)}
    for name in RACK_NAMES:
        other = basic_rack(name, module_mm)
        shape = (other.dedendum, other.fillet_radius)
        if abs(other.pressure_angle - rack.pressure_angle) < 1e-6 and shape not in seen:
            seen.add(shape)
            yield other


def supposed(cut: Cut, gear: Gear, gap: MeanGap) -> Supposed | None:
    """The gap that a situation leaves in a gear; None where no such cutter reaches that floor.

    Parameters
    ----------
    gear : Gear
        The gear, for its tooth number.
    gap : MeanGap
        For where floor and tips are.
    """
    m, rack = cut.gear.module_mm, cut.gear.rack
    reference = gear.teeth * m / 2
    shift = (gap.floor - reference) / m + rack.dedendum
    if not FURTHEST_SHIFTS[0] < shift < FURTHEST_SHIFTS[1]:
        return None
    most = full_radius(rack.pressure_angle, rack.dedendum)
    known = {
        "rounding": Free(
            name="rounding",
            start=min(rack.fillet_radius, 0.98 * most),
            mean=rack.fillet_radius,
            spread=ROUNDING,
            low=LEAST_ROUNDING,
            high=0.999 * most,
        ),
        "angle": Free(
            name="angle",
            start=rack.pressure_angle,
            mean=rack.pressure_angle,
            spread=radians(ANGLE_DEG),
            low=radians(11),
            high=radians(30),
        ),
        "widening": Free(
            name="widening",
            start=0.01,
            mean=0.0,
            spread=WIDENING,
            low=0.0,
            high=0.6,
            one_sided=True,
        ),
        "lean": Free(
            name="lean", start=0.0, mean=0.0, spread=radians(LEAN_DEG), low=-0.3, high=0.3
        ),
        "end": Free(name="end", start=END[0], mean=END[0], spread=END[1], low=0.3, high=6.0),
    }
    low, high = FURTHEST_SHIFTS
    depth = Free(name="shift", start=shift, mean=0.0, spread=DEPTH, low=low, high=high)
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
        if cut.side:
            made = replace(cut.gear, rack=rack, profile_shift=size["shift"], tip_radius_mm=top)
            step = STEP_MODULES * cut.gear.module_mm
            return evenly(ended_gap(made, size["end"] * cut.gear.module_mm, cut.side), step)
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
