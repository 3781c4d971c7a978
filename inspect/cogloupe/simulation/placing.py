"""Where the cutter stands, cut by cut, relative to each gap.

In the plane of the photographed face each cutting edge of a hob is a tooth of a rack, placed by
the turn of the work and the travel of the rack; the hob's axial feed lifts it off the depth of the
pass by the rise of its circle. A form cutter is placed once at every setting, for each of its
edges. Lengths are millimetres, angles radians.
"""

from dataclasses import dataclass
from math import ceil, cos, pi, sin, sqrt

import numpy as np

from cogloupe.forms.rack import Gear
from cogloupe.simulation.drive import Moments, work_error
from cogloupe.simulation.process import Process
from cogloupe_calibration.arrays import Floats, Ints
from cogloupe_calibration.errors import UseError


@dataclass(frozen=True)
class Cuts:
    """Every placing of the cutter in a gap; shape (n,) each.

    `gap` is counted from the one that is cut first; `turn` is the angle of the normal to the
    cutter's pitch line from the gap's nominal middle, rad, `along` where the cutter's middle stands
    along that line and `height` the distance of its tip from the work's axis, mm.
    """

    gap: Ints
    turn: Floats
    along: Floats
    height: Floats

    @property
    def places(self) -> tuple[Floats, Floats, Floats]:
        """Turn, along and height."""
        return self.turn, self.along, self.height

    def take(self, index: Ints) -> "Cuts":
        """Some of the cuts, by their indices."""
        return Cuts(self.gap[index], self.turn[index], self.along[index], self.height[index])


def whole_depth(gear: Gear) -> float:
    """Depth of cut the drawing asks for, from the blank's outside, mm."""
    return gear.tip_radius - gear.root_radius


def pass_depths(gear: Gear, process: Process) -> Floats:
    """Depth of each pass from touching the blank, as really cut, mm.

    Raises
    ------
    UseError
        Where a pass would not reach the blank, or reach its middle.
    """
    depths = np.array(process.depths_mm or (whole_depth(gear),)) + process.depth_um / 1000
    if depths.min() <= 0 or depths.max() >= gear.root_radius:
        raise UseError(
            f"passes {depths.min():.3f} to {depths.max():.3f} mm deep cannot be cut into a blank "
            f"of radius {gear.tip_radius:.3f} mm: check depths_mm and depth_um"
        )
    return np.asarray(depths)


def form_cuts(gear: Gear, process: Process, blank_radius: float, rng: np.random.Generator) -> Cuts:
    """Places of a form cutter: every gap in each pass, for every edge of the cutter, each once."""
    depths = pass_depths(gear, process)
    settings = np.arange(len(depths) * gear.teeth)
    turns = np.asarray(settings / gear.teeth, np.float64)
    load = np.repeat(_bites(depths, whole_depth(gear)), gear.teeth)
    error = work_error(process, gear.teeth, Moments(turns * gear.teeth, turns, load), rng)
    edge = np.arange(process.gashes) / process.gashes
    along, rise = _running(process, edge)
    height = np.repeat(blank_radius - depths, gear.teeth)
    places = np.stack(
        [
            np.repeat(settings % gear.teeth, len(edge)),
            np.repeat(error, len(edge)),
            np.tile(along, len(settings)) + process.offset_mm,
            np.repeat(height, len(edge)) + np.tile(rise, len(settings)),
        ]
    )
    gap, turn, along, height = np.unique(places.round(7), axis=1)
    return Cuts(gap.astype(np.int64), turn, along, height)


def _running(process: Process, cutter_turns: Floats) -> tuple[Floats, Floats]:
    """Movement of the cutting edges along the pitch line and away from the work, mm."""
    turn = 2 * pi * cutter_turns
    wobble, runout = process.wobble_um / 2000, process.runout_um / 2000
    return wobble * np.sin(turn), -runout * np.cos(turn)


def _bites(depths: Floats, whole: float) -> Floats:
    """What each pass takes beyond those before, as a share of the whole depth."""
    before = np.maximum.accumulate(np.concatenate([[0.0], depths[:-1]]))
    return np.asarray(np.maximum(depths - before, 0.0) / whole)


def hob_cuts(gear: Gear, process: Process, blank_radius: float, rng: np.random.Generator) -> Cuts:
    """Places of the hob's teeth in every gap that they can touch; the blank's radius is in mm."""
    moments, height = _hob_moments(gear, process, blank_radius)
    error = work_error(process, gear.teeth, moments, rng)
    sway, rise = _running(process, moments.hob_turns)
    pitch = 2 * pi / gear.teeth
    reach = _reach(gear, blank_radius, float(height.min()), float(np.ptp(error)))
    beside = np.arange(-ceil(reach / pitch), ceil(reach / pitch) + 1)
    place = moments.work_turns * gear.teeth
    gap = np.floor(place + 0.5).astype(np.int64)[:, None] + beside
    behind = (place[:, None] - gap) * pitch
    along = -behind * gear.reference_radius + sway[:, None]
    thread = np.inf if process.hob_length_mm is None else process.hob_length_mm / 2
    meets = (np.abs(behind) <= reach) & (np.abs(along - process.offset_mm) <= thread)
    turn = behind + error[:, None]
    lift = np.broadcast_to((height + rise)[:, None], turn.shape)
    return Cuts(gap[meets] % gear.teeth, turn[meets], along[meets], lift[meets])


def _hob_moments(gear: Gear, process: Process, blank_radius: float) -> tuple[Moments, Floats]:
    """When each gash cuts, and how far its tip then stays from the work's axis, mm.

    Load is the pass's share of the whole depth. It rises from nothing, where the hob touches the
    blank's edge, in proportion to the feed, to all of that where its axis has come to the face;
    a hob that is only fed inwards finds little to cut after the first turn of the work.
    """
    depths = pass_depths(gear, process)
    per_turn = gear.teeth * process.gashes / process.hob_starts
    edges = ceil(process.turns * per_turn)
    count = np.arange(edges * len(depths))
    work_turns = np.asarray((count + process.first_gash) / per_turn, np.float64)
    face_turn = process.turns / 2 if process.face_turn is None else process.face_turn
    in_pass = np.tile(np.arange(edges) / per_turn, len(depths))
    axial = (in_pass - face_turn) * process.feed_mm
    depth = np.repeat(depths, edges)
    radius = process.cutter_diameter_mm / 2
    rise = radius - np.sqrt(np.maximum(radius**2 - axial**2, 0.0))
    approach = np.sqrt(np.maximum(depth * (2 * radius - depth), 1e-6))
    bite = np.repeat(_bites(depths, whole_depth(gear)), edges)
    enters = np.clip(1 + axial / approach, 0, 1) if process.feed_mm else in_pass < 1
    load = bite * enters
    hob_turns = work_turns * gear.teeth / process.hob_starts
    return Moments(hob_turns, work_turns, load), blank_radius - depth + rise


def _reach(gear: Gear, blank_radius: float, lowest: float, scatter: float) -> float:
    """Turn of the work on either side of a gap's middle within which a tooth can touch it, rad.

    Generation ends where the line of action leaves the blank, or the hob's tip line. Beyond, a
    flank draws away from the finished gap by u^2 / (2 rho) for a roll u, so a displaced cut can
    touch for so much longer.
    """
    a = gear.rack.pressure_angle
    r, base = gear.reference_radius, gear.base_radius
    rho = sqrt(blank_radius**2 - base**2)
    leaving = max(rho - r * sin(a), (r - lowest) / sin(a)) / cos(a)
    longer = sqrt(2 * rho * (scatter * r + 0.01 * gear.module_mm)) / cos(a)
    travel = leaving + pi / 4 * gear.module_mm + longer
    whole = sqrt(max((blank_radius + gear.module_mm) ** 2 - lowest**2, 0.0)) + gear.module_mm
    return min(travel, whole) / r
