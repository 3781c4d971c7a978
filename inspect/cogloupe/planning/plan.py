"""The figures needed before a gear is cut.

From what is wanted of the gear, and what is told of the machine, to blank, depth, passes, sizes to
check, mate, hob and indexing. Lengths mm, angles radians; nothing here prints or draws.
"""

from dataclasses import dataclass
from math import pi, sqrt, tan

from cogloupe.forms.check_sizes import (
    STANDARD_PIN,
    Chord,
    PinSize,
    SpanSize,
    chord,
    over_pins,
    shift_without_undercut,
    tip_width,
    usable_spans,
)
from cogloupe.forms.rack import Gear
from cogloupe.planning import meshing
from cogloupe.planning.dividing_plates import PlateSetting, plate_settings
from cogloupe.planning.hob_setting import HobSetting, form_cutter_number, hob_setting
from cogloupe.planning.indexing import Division, Rates, Spacing, undivided
from cogloupe.planning.machine import Machine
from cogloupe.planning.request import PlanRequest
from cogloupe.wording.cautions import CautionCode, cautions_for
from cogloupe_calibration.errors import UseError

LAST_PASS = 0.05
"""Share of the depth left for the last pass (common practice, no source)."""
USUAL_BACKLASH = 0.04
"""Backlash of a pair, modules (common practice, no source)."""


@dataclass(frozen=True)
class Pass:
    """One pass of the cutter.

    It goes in by `infeed_mm` beyond the one before, to `depth_mm` below the blank's surface.
    """

    number: int
    infeed_mm: float
    depth_mm: float


@dataclass(frozen=True, kw_only=True)
class MatePlan:
    """Running with a mate.

    Attributes
    ----------
    tight_mm, centre_mm : float
        Centre distance without and with the backlash, mm.
    backlash_mm, normal_backlash_mm : float
        Along the working pitch circle and square to the flanks, mm.
    usual : bool
        The backlash was not given; the usual share of a module was taken.
    depth_each_mm : float
        Depth to be added to both gears for that backlash at the tight centre distance, mm.
    contact_ratio : float
        At the centre distance with backlash.
    clearances_mm : tuple of float
        Room over the gear's own floor and over the mate's, mm.
    """

    gear: Gear
    tight_mm: float
    centre_mm: float
    backlash_mm: float
    normal_backlash_mm: float
    usual: bool
    depth_each_mm: float
    contact_ratio: float
    clearances_mm: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class IndexingPlan:
    """How the set-up divides this gear.

    Attributes
    ----------
    division : Division or None
        Of the motor's drive; None where the work is divided by hand.
    spacing : Spacing or None
        Error that whole steps leave, tooth by tooth.
    rates : Rates or None
        At the spindle speed; None without encoder or speed.
    undivided : tuple of Division
        Counts in the range that do not come out exactly.
    plates : tuple of PlateSetting
        Ways to divide by hand.
    wheels : tuple of int
        Dividing wheels whose count is a multiple of the teeth.
    """

    division: Division | None = None
    spacing: Spacing | None = None
    rates: Rates | None = None
    undivided: tuple[Division, ...] = ()
    plates: tuple[PlateSetting, ...] = ()
    wheels: tuple[int, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Plan:
    """All figures for one gear.

    Attributes
    ----------
    depth_mm : float
        Whole depth of cut, from the blank's surface to the root circle, mm.
    passes : tuple of Pass
        A proposal.
    pins : tuple of PinSize
        Over the standard pin, and over the one the person has.
    chord : Chord
        For a gear tooth vernier.
    tip_width_mm : float
        Width of a tooth's tip, mm.
    shift_without_undercut : float
        Least profile shift free of undercut, modules.
    hob : HobSetting or None
        Setting of the hob; None for a form cutter.
    cutter_number : int or None
        Form cutter of a set of eight; None for a hob, and below 12 teeth.
    indexing : IndexingPlan or None
        Dividing; None without a machine.
    cautions : tuple of str
        What a hand at the machine must heed.
    """

    request: PlanRequest
    machine: Machine | None
    gear: Gear
    depth_mm: float
    passes: tuple[Pass, ...]
    spans: tuple[SpanSize, ...]
    pins: tuple[PinSize, ...]
    chord: Chord
    tip_width_mm: float
    shift_without_undercut: float
    mate: MatePlan | None
    hob: HobSetting | None
    cutter_number: int | None
    indexing: IndexingPlan | None
    cautions: tuple[str, ...]


def pass_depths(
    depth_mm: float, passes: int, tip_width_mm: float, pressure_angle: float
) -> tuple[Pass, ...]:
    """Share the depth of cut out over passes of a cutter: mm, its tip's width mm, its slope rad.

    A proposal (common practice, no source): the passes before the last each take the same area out
    of a rack-shaped gap, so that infeeds decrease; the last is a light one.
    """
    # Half a mean infeed is less than any of the passes before, however many there are.
    light = min(LAST_PASS, 1 / (2 * passes)) if passes > 1 else 1.0
    slope = tan(pressure_angle)
    rough = depth_mm * (1 - light)
    whole = rough * (tip_width_mm + rough * slope)
    # Depth t takes the area t (w + t tan a); this solves it for t.
    areas = [whole * k / (passes - 1) for k in range(1, passes)]
    depths = [2 * a / (tip_width_mm + sqrt(tip_width_mm**2 + 4 * slope * a)) for a in areas]
    depths.append(depth_mm)
    befores = (0.0, *depths[:-1])
    return tuple(
        Pass(n, depth - before, depth)
        for n, (before, depth) in enumerate(zip(befores, depths, strict=True), start=1)
    )


def make_plan(request: PlanRequest, machine: Machine | None = None) -> Plan:
    """Work out everything that is needed before cutting; without a machine there is no indexing.

    Raises
    ------
    UseError
        Where the gear cannot be, or the machine cannot do what is asked.

    Examples
    --------
    >>> from cogloupe import make_plan, make_request
    >>> plan = make_plan(make_request({"teeth": 21, "dp": 48}))
    >>> f"blank {2 * plan.gear.tip_radius:.3f} mm, depth {plan.depth_mm:.3f} mm"
    'blank 12.171 mm, depth 1.215 mm'
    """
    gear = _gear(request)
    depth = gear.tip_radius - gear.root_radius
    hobbed = request.process == "hob"
    return Plan(
        request=request,
        machine=machine,
        gear=gear,
        depth_mm=depth,
        passes=pass_depths(depth, request.passes, _cutter_tip(gear), gear.rack.pressure_angle),
        spans=usable_spans(gear),
        pins=tuple(over_pins(gear, pin) for pin in _pins(request)),
        chord=chord(gear),
        tip_width_mm=tip_width(gear),
        shift_without_undercut=shift_without_undercut(gear),
        mate=_mate_plan(request, gear),
        hob=_hob_setting(request, gear, machine) if hobbed else None,
        cutter_number=None if hobbed else form_cutter_number(gear.teeth),
        indexing=None if machine is None else _indexing_plan(request, gear, machine),
        cautions=_cautions(machine),
    )


def _gear(request: PlanRequest) -> Gear:
    radius = None if request.blank_diameter is None else request.blank_diameter / 2
    gear = Gear(request.teeth, request.module, request.basic_rack, request.profile_shift, radius)
    if gear.root_radius <= 0:
        raise UseError(
            f"{request.teeth} teeth with profile shift {request.profile_shift:g} leave no core: "
            "use more teeth or a larger shift"
        )
    if gear.tip_radius <= max(gear.base_radius, gear.root_radius):
        raise UseError(
            f"a blank of {2 * gear.tip_radius:.3f} mm is too small for these teeth: "
            f"{2 * (gear.reference_radius + gear.module_mm):.3f} mm would be usual"
        )
    return gear


def _cutter_tip(gear: Gear) -> float:
    """Width of the cutting rack's tooth at its tip, before rounding, mm."""
    rack = gear.rack
    return max(gear.module_mm * (pi / 2 - 2 * rack.dedendum * tan(rack.pressure_angle)), 0.0)


def _pins(request: PlanRequest) -> tuple[float, ...]:
    standard = STANDARD_PIN * request.module
    return (standard,) if request.pin_diameter is None else (standard, request.pin_diameter)


def _hob_setting(request: PlanRequest, gear: Gear, machine: Machine | None) -> HobSetting:
    starts = machine.hob_starts if machine is not None else 1
    return hob_setting(
        gear, starts, request.hob_diameter, request.hob_gashes, request.feed_per_turn
    )


def _mate_plan(request: PlanRequest, gear: Gear) -> MatePlan | None:
    if request.mate_teeth is None:
        return None
    mate = Gear(request.mate_teeth, request.module, gear.rack, request.mate_profile_shift)
    usual = request.backlash is None
    backlash = request.backlash or USUAL_BACKLASH * request.module
    tight = meshing.centre_distance(gear, mate)
    centre = meshing.centre_for_backlash(gear, mate, backlash)
    return MatePlan(
        gear=mate,
        tight_mm=tight,
        centre_mm=centre,
        backlash_mm=backlash,
        normal_backlash_mm=meshing.normal_backlash(gear, mate, centre),
        usual=usual,
        depth_each_mm=meshing.depth_for_backlash(gear, backlash / 2),
        contact_ratio=meshing.contact_ratio(gear, mate, centre),
        clearances_mm=(
            meshing.tip_clearance(gear, mate, centre),
            meshing.tip_clearance(mate, gear, centre),
        ),
    )


def _indexing_plan(request: PlanRequest, gear: Gear, machine: Machine) -> IndexingPlan:
    hobbed, z = request.process == "hob", gear.teeth
    train = machine.hobbing_train() if hobbed else machine.dividing_train()
    plates: tuple[PlateSetting, ...] = ()
    if not hobbed:
        worm = machine.worm_turns_per_work_turn
        plates = plate_settings(worm, z, machine.dividing_plate_holes)
    wheels = () if hobbed else tuple(n for n in machine.dividing_wheel_counts if n % z == 0)
    if train is None:
        return IndexingPlan(plates=plates, wheels=wheels)
    division = Division(train, z, machine.step_rule)
    if division.kept == 0:
        raise UseError(f"{z} teeth leave less than half a motor step to a tooth: gear it down")
    speed = request.spindle_rpm
    return IndexingPlan(
        division=division,
        spacing=division.spacing(2 * gear.reference_radius),
        rates=division.rates(speed) if division.hobbed and speed else None,
        undivided=undivided(
            train, range(request.counts_from, request.counts_to + 1), machine.step_rule
        ),
        plates=plates,
        wheels=wheels,
    )


def _cautions(machine: Machine | None) -> tuple[str, ...]:
    """Cautions for cutting, and for wiring where motor or encoder are there."""
    codes: list[CautionCode] = ["isolate", "cutter", "eyes"]
    if machine is not None and machine.motor_steps_per_revolution is not None:
        codes += ["current", "mains"]
    return cautions_for(*codes)
