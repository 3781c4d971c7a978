"""Two gears as a pair: how they run at a centre distance, and where to drill for them.

From two readings, or one and a theoretical mate, to every figure a person is shown. Lengths mm,
angles rad, deviations µm on B's reference circle where the name says so.
"""

from dataclasses import dataclass, replace

import numpy as np

from cogloupe.forms.rack import Gear
from cogloupe.pairing.backlash import Backlash, find_backlash
from cogloupe.pairing.centre_distance import (
    Sweep,
    Window,
    distance_for,
    sweep,
    tight_mesh,
    window,
)
from cogloupe.pairing.clearance import Room, room
from cogloupe.pairing.composite import (
    Composite,
    Line,
    Parts,
    composite,
    double_flank,
    lead_um,
    parted,
    parts,
    spectrum,
)
from cogloupe.pairing.known import Known
from cogloupe.pairing.mates import check_pair
from cogloupe.pairing.monte_carlo import drawn_figures
from cogloupe.pairing.rolling import Mesh, Rolled, Start, fine_places, mesh_at, roll
from cogloupe.pairing.running_gear import RunningGear
from cogloupe.pairing.starts import Starts, try_starts
from cogloupe.pairing.verdict import VerdictKind, verdict_of
from cogloupe.planning.plan import USUAL_BACKLASH
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import UseError

STARTS_PHASES, ROLLING_PHASES = 12, 24
"""Places in a pitch for comparing starts, and for double-flank rolling."""
OVERLAP_MODULES = 0.3
"""Backlash so far below zero everywhere is no tight spot but gears that do not fit in."""


@dataclass(frozen=True, kw_only=True)
class Way:
    """How B is driven one way round.

    Attributes
    ----------
    curve : ndarray, shape (steps, phases)
        How far B runs ahead, µm.
    total, tooth : Known
        Single-flank total and tooth-to-tooth composite deviation, µm.
    """

    curve: Floats
    total: Known
    tooth: Known
    parts: Parts
    spectrum: tuple[Line, ...]


@dataclass(frozen=True, kw_only=True)
class DoubleFlank:
    """Rolling in tight mesh.

    Attributes
    ----------
    curve : ndarray, shape (steps, phases)
        Centre distance.
    mean : Known
        Of it.
    total, tooth : Known
        Total and tooth-to-tooth radial composite deviation, µm.
    """

    curve: Floats
    mean: Known
    total: Known
    tooth: Known


@dataclass(frozen=True, kw_only=True)
class Drilling:
    """Where to put the second hole.

    Attributes
    ----------
    distance : Known
        Centre distance; without an uncertainty where it was given.
    wanted : float
        Least backlash that it was worked out for; NaN where the distance was given.
    per_mm : float
        Backlash for each mm of centre distance.
    tolerance : float
        How far off the distance may come out to either side: the least backlash stays within half
        and one and a half of what it is, and the distance within the window.
    """

    distance: Known
    wanted: float
    per_mm: float
    tolerance: float


@dataclass(frozen=True, kw_only=True)
class Pairing:
    """Everything about a pair.

    Attributes
    ----------
    mesh, rolled
        The pair at its centre distance, and its whole period.
    start : (int, int)
        Tooth of A in gap of B that it was rolled from.
    ways : (Way, Way)
        Driven by left flanks, and by right ones.
    """

    mesh: Mesh
    rolled: Rolled
    start: Start
    starts: Starts
    backlash: Backlash
    room: Room
    ways: tuple[Way, Way]
    double: DoubleFlank
    drilling: Drilling
    sweep: Sweep
    window: Window
    verdict: VerdictKind


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What a person asks of a pair; at most one of distance and backlash.

    Attributes
    ----------
    backlash_mm : float or None
        At the tightest spot; without either, the usual share of a module, and of cycloidal teeth
        the distance at which their pitch circles touch.
    start : (int, int) or None
        Without it the best one.
    """

    distance_mm: float | None = None
    backlash_mm: float | None = None
    start: Start | None = None


def pair_gears(a: RunningGear, b: RunningGear, asked: Asked | None = None) -> Pairing:
    """Run two gears together.

    Raises
    ------
    UseError
        Where the gears do not belong together, or not at that distance.

    Examples
    --------
    >>> from cogloupe import Gear, basic_rack, theoretical_gear
    >>> rack = basic_rack("iso53-a", 0.5)
    >>> wheel, pinion = (theoretical_gear(Gear(z, 0.5, rack)) for z in (30, 21))
    >>> found = pair_gears(wheel, pinion)
    >>> f"drill at {found.drilling.distance.value:.3f} mm: {found.verdict}"
    'drill at 12.777 mm: free'
    """
    check_pair(a, b)
    asked, b = _completed(a, b, asked or Asked()), _told_apart(a, b)
    _check_start(a, b, asked.start)
    tight = tight_mesh(a, b)
    _check_distance(a, b, asked.distance_mm, tight)
    wanted = _wanted(a, asked)
    starts = try_starts(mesh_at(a, b, asked.distance_mm or tight + wanted, STARTS_PHASES))
    start = asked.start or starts.best
    swept = sweep(a, b, start, tight)
    mesh = mesh_at(a, b, asked.distance_mm or distance_for(a, b, start, wanted, swept))
    rolled, distance = roll(mesh, start, fine_places(mesh)), mesh.centre_mm
    found = room(mesh, start)
    ends = _Uncertain.of(mesh, start)
    backlash = find_backlash(mesh, rolled, start, ends.free)
    usable = window(swept, found, backlash.least.u)
    per_mm = _per_mm(swept, distance)
    return Pairing(
        mesh=mesh,
        rolled=rolled,
        start=start,
        starts=starts,
        backlash=backlash,
        room=found,
        ways=(_way(mesh, rolled, 0, ends), _way(mesh, rolled, 1, ends)),
        double=_double(a, b, start, tight, swept, ends),
        drilling=Drilling(
            distance=Known(distance, 0.0 if asked.distance_mm else backlash.least.u / per_mm),
            wanted=float("nan") if asked.distance_mm else wanted,
            per_mm=per_mm,
            tolerance=_tolerance(backlash.least.value / per_mm / 2, distance, usable),
        ),
        sweep=swept,
        window=usable,
        verdict=verdict_of(a, b, backlash, found, usable),
    )


def _completed(a: RunningGear, b: RunningGear, asked: Asked) -> Asked:
    """What is asked, with the distance of the book for cycloidal teeth.

    They run evenly only where their pitch circles touch, and have their backlash cut in.
    """
    told = asked.distance_mm is not None or asked.backlash_mm is not None
    if told or isinstance(a.wheel, Gear):
        return asked
    return replace(asked, distance_mm=a.wheel.reference_radius + b.wheel.reference_radius)


def _told_apart(a: RunningGear, b: RunningGear) -> RunningGear:
    """The second gear, by another name than the first."""
    return replace(b, name=f"{b.name}-second") if a.name == b.name else b


def _wanted(a: RunningGear, asked: Asked) -> float:
    if asked.backlash_mm is not None:
        return asked.backlash_mm
    return USUAL_BACKLASH * a.wheel.module_mm


def _check_start(a: RunningGear, b: RunningGear, start: Start | None) -> None:
    if start is None:
        return
    for number, gear, what in zip(start, (a, b), ("tooth", "gap"), strict=True):
        if not 1 <= number <= gear.teeth:
            raise UseError(f"{gear.name} has no {what} {number}: it has 1 to {gear.teeth}")


def _check_distance(a: RunningGear, b: RunningGear, distance: float | None, tight: float) -> None:
    """Refuse a distance at which the teeth miss each other, or cannot get in."""
    if distance is None:
        return
    parted = float(a.tip.max() + b.tip.max())
    if distance >= parted:
        raise UseError(
            f"at {distance:.3f} mm the teeth miss each other by {distance - parted:.3f} mm: these "
            f"gears run from about {tight:.3f} mm on"
        )
    if distance < tight - OVERLAP_MODULES * a.wheel.module_mm:
        raise UseError(
            f"at {distance:.3f} mm the teeth overlap: these gears would have to come "
            f"{tight - distance:.3f} mm nearer than tight mesh, at {tight:.3f} mm"
        )


@dataclass(frozen=True, kw_only=True)
class _Uncertain:
    """Standard uncertainties of what a period gives; angles of B.

    Attributes
    ----------
    free : (float, float, float)
        Of the least, the mean and the most backlash.
    rolling : (float, float)
        Of the total and tooth-to-tooth change of the backlash.
    ways : ndarray, shape (2, 4)
        Driven by left and by right flanks, of the lead's total and tooth-to-tooth deviation, of
        what comes with every tooth, and of the rest.
    """

    free: tuple[float, float, float]
    rolling: tuple[float, float]
    ways: Floats

    @classmethod
    def of(cls, mesh: Mesh, start: Start) -> "_Uncertain":
        """By draws of gears that the readings leave plausible."""

        def figures(lead: Floats, free: Floats) -> Floats:
            found = [float(of(free)) for of in (np.nanmin, np.nanmean, np.nanmax)]
            rolling = composite(free)
            found += [rolling.total, rolling.tooth]
            for curve in lead:
                of_curve = composite(curve)
                tooth, rest, _ = parted(curve, mesh.a.teeth, mesh.b.teeth)
                found += [of_curve.total, of_curve.tooth, tooth, rest]
            return np.array(found)

        u = drawn_figures(mesh, start, figures)[1]
        least, mean, most, total, tooth = map(float, u[:5])
        return cls(free=(least, mean, most), rolling=(total, tooth), ways=u[5:].reshape(2, 4))


def _way(mesh: Mesh, rolled: Rolled, side: int, ends: _Uncertain) -> Way:
    curve = lead_um(mesh, rolled, side)
    found = composite(curve)
    u = 1000 * mesh.b.wheel.reference_radius * ends.ways[side]
    return Way(
        curve=curve,
        total=Known(found.total, float(u[0])),
        tooth=Known(found.tooth, float(u[1])),
        parts=parts(mesh, curve, side, (float(u[2]), float(u[3]))),
        spectrum=spectrum(curve),
    )


def _double(
    a: RunningGear, b: RunningGear, start: Start, tight: float, swept: Sweep, ends: _Uncertain
) -> DoubleFlank:
    """Roll in tight mesh: at three distances about the mean, as far apart as the curve is high."""
    per_mm = _per_mm(swept, tight)
    high = float(np.interp(tight, swept.distance, swept.most - swept.least)) / per_mm
    step = max(0.6 * high, 1e-3)
    distances = tight + step * np.array([-1.0, 0.0, 1.0])
    meshes = [mesh_at(a, b, float(distance), ROLLING_PHASES) for distance in distances]
    free = np.stack([roll(mesh, start, fine_places(mesh)).free for mesh in meshes])
    curve = double_flank(distances, free)
    found: Composite = composite(curve)
    radius = meshes[1].working_radius
    return DoubleFlank(
        curve=curve,
        mean=Known(float(np.nanmean(curve)), ends.free[1] * radius / per_mm),
        total=Known(1000 * found.total, 1000 * ends.rolling[0] * radius / per_mm),
        tooth=Known(1000 * found.tooth, 1000 * ends.rolling[1] * radius / per_mm),
    )


def _per_mm(swept: Sweep, distance: float) -> float:
    """Growth of the backlash with the centre distance, there."""
    return float(np.interp(distance, swept.distance, np.gradient(swept.mean, swept.distance)))


def _tolerance(half: float, distance: float, usable: Window) -> float:
    """How far off the distance may come out."""
    room_left = min(distance - usable.low.distance, usable.high.distance - distance)
    return max(min(half, room_left), 0.0)
