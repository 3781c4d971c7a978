"""The gear of a scene, drawn or generated, ready to be pictured and measured."""

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from math import gcd, pi, radians

import numpy as np

from cogloupe.forms.rack import Gear
from cogloupe.simulation.body import tooth_outline
from cogloupe.simulation.cutter import as_ground
from cogloupe.simulation.cutting import CutGear, cut_gear, renumbered
from cogloupe.simulation.hobbing import Blank, Generated, generate
from cogloupe.simulation.outline_truth import fit_flanks, gap_details, gap_pieces
from cogloupe.simulation.placing import pass_depths, whole_depth
from cogloupe.simulation.process import Process
from cogloupe.simulation.scene import Faults, GearSpec, polar_vector
from cogloupe.simulation.true_sizes import Details, drawn_details
from cogloupe.simulation.truth import TrueCause
from cogloupe_calibration.arrays import Floats

# Field of `Process` that holds a size, name of the cause, unit.
_SIZES = (
    ("blank_oversize_um", "blank_too_large", "um on diameter"),
    ("depth_um", "depth_of_cut", "um"),
    ("ratio_error", "wrong_ratio", "turns per turn"),
    ("false_pulses", "false_pulses", "pulses per hob turn"),
    ("missing_pulses", "missing_pulses", "pulses per hob turn"),
    ("jitter_arcmin", "unsteady_running", "arcmin"),
    ("backlash_arcmin", "backlash", "arcmin"),
    ("lag_steps", "rotor_lag", "steps"),
    ("runout_um", "cutter_runout", "um on the dial"),
    ("wobble_um", "cutter_wobble", "um end to end"),
    ("offset_mm", "cutter_off_centre", "mm"),
    ("cutter_angle_error_deg", "cutter_angle", "degrees"),
)


@dataclass(frozen=True)
class Made:
    """A made gear.

    `gear` has flanks fitted where it was generated; `outline` (n, 2) is in mm about the bore,
    clockwise on the picture; `causes` are empty for a drawn gear.
    """

    gear: CutGear
    outline: Floats
    details: Details
    causes: tuple[TrueCause, ...] = ()


def make(
    spec: GearSpec,
    faults: Faults,
    process: Process | None,
    rotation_deg: float,
    rng: np.random.Generator,
    chord_error_mm: float,
) -> Made:
    """Make the gear of a scene.

    Parameters
    ----------
    faults : Faults
        Deviations of a drawn gear; not used where there is a process.
    rotation_deg : float
        How far the tooth before the gap that is cut first stands clockwise of twelve o'clock.
    chord_error_mm : float
        Largest chord error of a drawn outline, mm.

    Raises
    ------
    UseError
        Where the gear cannot be made.
    """
    if process is not None:
        return make_by_cutting(spec, process, rotation_deg, rng)
    gear = cut_gear(spec, faults, rotation_deg, rng)
    return Made(gear, tooth_outline(gear, chord_error_mm), drawn_details(gear))


def make_by_cutting(
    spec: GearSpec, process: Process, rotation_deg: float, rng: np.random.Generator
) -> Made:
    """Cut a gear by the generating model, and measure what is left.

    The tooth before the gap that is cut first stands by the rotation clockwise of twelve o'clock.

    Raises
    ------
    UseError
        Where the gear cannot be cut, or too little of its teeth is left to be measured.
    """
    aim = _aimed(spec, process, rotation_deg)
    blank = Blank(aim.cut.tip_radius, aim.tip_axis - aim.axis)
    first_gap = aim.first_centre + pi / spec.teeth
    left = generate(aim.design, process, blank, first_gap, rng)
    pieces = gap_pieces(left.outline, _tooth_centres(left))
    fitted = fit_flanks(aim, pieces)
    details = gap_details(aim, pieces, fitted.form)
    gear = renumbered(
        replace(
            aim,
            left_offset=fitted.offset[0],
            right_offset=fitted.offset[1],
            left_lean=fitted.lean[0],
            right_lean=fitted.lean[1],
        )
    )
    causes = tuple(stated_causes(process, aim.design))
    return Made(gear, left.outline + aim.axis, _rolled(details, gear.turned), causes)


def _aimed(spec: GearSpec, process: Process, rotation_deg: float) -> CutGear:
    """Gear that the deepest pass would leave without errors of the drive."""
    design = spec.gear()
    radius = design.tip_radius + process.blank_oversize_um / 2000
    root = radius - float(pass_depths(design, process).max())
    shift = (root - design.reference_radius) / design.module_mm + design.rack.dedendum
    rack = as_ground(design.rack, process.cutter_angle_error_deg)
    axis = polar_vector(process.eccentricity_um / 1000, process.eccentricity_direction_deg)
    outside = polar_vector(
        process.blank_eccentricity_um / 1000, process.blank_eccentricity_direction_deg
    )
    return CutGear(
        wheel=design,
        made=replace(design, rack=rack, profile_shift=shift, tip_radius_mm=radius),
        axis=np.array(axis),
        tip_axis=np.array(outside),
        first_centre=radians(rotation_deg) - pi / 2,
        left_offset=np.zeros(spec.teeth),
        right_offset=np.zeros(spec.teeth),
        turned=0,
    )


def _tooth_centres(left: Generated) -> Floats:
    """Polar angles half way between the middles of the gaps, from the tooth before the first."""
    middle = left.gap_middle
    before = np.roll(middle, 1)
    return np.asarray(before + np.mod(middle - before, 2 * pi) / 2)


def _rolled(details: Details, turned: int) -> Details:
    """Details in the numbering of the picture."""
    return Details(*(np.roll(getattr(details, f.name), -turned, axis=-1) for f in fields(details)))


def stated_causes(process: Process, design: Gear) -> Iterator[TrueCause]:
    """What is wrong with a process, in the machine's own units.

    One a fault; none for a process without faults.
    """
    yield from _off_centre(process)
    for field, name, unit in _SIZES:
        if size := getattr(process, field):
            yield TrueCause(name=name, size=size, unit=unit)
    for lost in process.lost_steps:
        where = f"after {lost.turn:g} turns of the work"
        yield TrueCause(name="lost_steps", size=lost.steps, unit="steps", where=where)
    for part in process.periodic:
        where = f"{part.part}, {part.per_turn:g} a turn, phase {part.phase_deg:g} degrees"
        size = part.amplitude_arcmin
        yield TrueCause(name="periodic_drive_error", size=size, unit="arcmin", where=where)
    yield from _division(process, design)


def _off_centre(process: Process) -> Iterator[TrueCause]:
    fields_of = {"eccentric_work": "eccentricity", "eccentric_blank": "blank_eccentricity"}
    for name, field in fields_of.items():
        if size := getattr(process, f"{field}_um"):
            where = f"towards {getattr(process, f'{field}_direction_deg'):g} degrees"
            yield TrueCause(name=name, size=size, unit="um", where=where)


def _division(process: Process, design: Gear) -> Iterator[TrueCause]:
    """Whole steps that do not divide the turn, wrong cutter, passes short of the depth."""
    steps, teeth = process.steps_per_turn, design.teeth
    if steps is not None and steps % teeth:
        part = teeth // gcd(steps, teeth)
        where = f"{steps} steps for {teeth} teeth: 1/{part} step left over"
        yield TrueCause(name="step_quantisation", size=1.0, unit="steps", where=where)
    if process.cutter_teeth not in (None, teeth):
        size = float(process.cutter_teeth or teeth)
        yield TrueCause(name="cutter_for_other_number", size=size, unit="teeth")
    if process.depths_mm:
        short = (max(process.depths_mm) - whole_depth(design)) * 1000
        if abs(short) > 0.5:
            yield TrueCause(name="last_pass_depth", size=round(short, 3), unit="um")
