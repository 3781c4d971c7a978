"""How far apart to put two gears: tight mesh, a wanted backlash, and the window they can run in.

Lengths mm. Backlash is an arc on the working pitch circles.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from cogloupe.pairing.clearance import Room, room
from cogloupe.pairing.rolling import Mesh, Rolled, Start, mesh_at, roll
from cogloupe.pairing.running_gear import RunningGear
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import UseError

COARSE = 12
"""Places in a pitch while a distance is looked for: the least of a period is then found to about a
micrometre, which a last step at all places mends."""
TRIALS = 8
"""Steps of the search; each leaves a hundredth of what was, since backlash is nearly straight."""
SETTLED_MM = 1e-6
SWEPT = 9
"""Distances at which the window is drawn; between them all curves are nearly straight."""
SWEPT_MODULES = (-0.12, 0.65)
"""From and to, beyond tight mesh: contact ratios of 1.2 to 2 have fallen below 1 there."""


@dataclass(frozen=True, kw_only=True)
class Sweep:
    """What a pair would do at other centre distances; arrays over distances.

    Attributes
    ----------
    distance : ndarray
    least, mean, most : ndarray
        Backlash.
    ratio : ndarray
        Least contact ratio.
    clearance : ndarray
        Least room between tips and floors, of both gears.
    """

    distance: Floats
    least: Floats
    mean: Floats
    most: Floats
    ratio: Floats
    clearance: Floats


@dataclass(frozen=True)
class Limit:
    """A centre distance that limits the window, its standard uncertainty, and what sets it."""

    distance: float
    u: float
    why: str


@dataclass(frozen=True)
class Window:
    """Centre distances at which a pair can run."""

    low: Limit
    high: Limit

    @property
    def empty(self) -> bool:
        """True where the gears cannot run at any distance."""
        return self.low.distance >= self.high.distance


def backlash_mm(mesh: Mesh, rolled: Rolled) -> Floats:
    """Backlash at every mesh position, as an arc.

    Parameters
    ----------
    mesh : Mesh
    rolled : Rolled

    Returns
    -------
    ndarray, shape (steps, phases)
    """
    return rolled.free * mesh.working_radius


def distance_for(
    a: RunningGear, b: RunningGear, start: Start, wanted: float, of: Callable[[Floats], float]
) -> float:
    """Centre distance at which a figure of the backlash has a wanted value.

    Parameters
    ----------
    a, b : RunningGear
    start : (int, int)
    wanted : float
    of : callable
        From the backlash at every mesh position to one figure, such as the least.

    Returns
    -------
    float

    Raises
    ------
    UseError
        Where the teeth have parted before.
    """
    module = a.wheel.module_mm

    def left(distance: float) -> float:
        mesh = mesh_at(a, b, distance, COARSE)
        return of(backlash_mm(mesh, roll(mesh, start))) - wanted

    before = a.wheel.reference_radius + b.wheel.reference_radius
    here = before + 0.05 * module
    off_before = left(before)
    for _ in range(TRIALS):
        off = left(here)
        per_mm = (off - off_before) / (here - before)
        if not np.isfinite(per_mm) or per_mm <= 0:
            break
        before, off_before = here, off
        here = here - off / per_mm
        _check_reach(a, b, here, wanted)
        if abs(here - before) < SETTLED_MM:
            return here
    raise UseError(
        f"no centre distance was found that gives these gears a backlash of {wanted:.3g} mm: check "
        "that their teeth belong together"
    )


def _check_reach(a: RunningGear, b: RunningGear, distance: float, wanted: float) -> None:
    parted = float(a.tip.max() + b.tip.max())
    if distance >= parted:
        raise UseError(
            f"a backlash of {wanted:.3g} mm would part the teeth of these gears, whose tips clear "
            f"each other at {parted:.3f} mm: use less"
        )


def sweep(a: RunningGear, b: RunningGear, start: Start, tight: float) -> Sweep:
    """Run a pair at distances about and beyond tight mesh.

    Parameters
    ----------
    a, b : RunningGear
    start : (int, int)
    tight : float
        Centre distance of tight mesh, on average.

    Returns
    -------
    Sweep
    """
    module = a.wheel.module_mm
    furthest = min(tight + SWEPT_MODULES[1] * module, 0.999 * float(a.tip.min() + b.tip.min()))
    distances = np.linspace(tight + SWEPT_MODULES[0] * module, furthest, SWEPT)
    rows = []
    for distance in distances:
        mesh = mesh_at(a, b, float(distance), COARSE)
        free, found = backlash_mm(mesh, roll(mesh, start)), room(mesh, start)
        tips = min(found.tips_a.value, found.tips_b.value)
        rows.append((np.nanmin(free), np.nanmean(free), np.nanmax(free), found.ratio.value, tips))
    least, mean, most, ratio, clearance = np.array(rows).T
    return Sweep(
        distance=distances, least=least, mean=mean, most=most, ratio=ratio, clearance=clearance
    )


def window(swept: Sweep, found: Room, u_backlash: float) -> Window:
    """Centre distances between which a pair can run.

    Parameters
    ----------
    swept : Sweep
    found : Room
        At any of the distances, for its uncertainties.
    u_backlash : float
        Standard uncertainty of the least backlash.

    Returns
    -------
    Window
        From where no tooth is tight and no tip touches a floor, to where the contact ratio falls
        to one.
    """
    free = _crossing(swept.distance, swept.least, 0.0)
    clear = _crossing(swept.distance, swept.clearance, 0.0)
    carried = _crossing(swept.distance, -swept.ratio, -1.0)
    u_tips = max(found.tips_a.u, found.tips_b.u)
    per_mm = abs(_slope(swept.distance, swept.ratio, carried))
    low = max(
        Limit(free, u_backlash / _slope(swept.distance, swept.least, free), "teeth are tight"),
        Limit(clear, u_tips, "tips touch floors"),
        key=lambda limit: limit.distance,
    )
    return Window(low, Limit(carried, found.ratio.u / per_mm, "contact ratio falls to one"))


def _crossing(x: Floats, y: Floats, level: float) -> float:
    """Where a rising curve passes a level, carried on straight beyond its ends."""
    k = int(np.clip(np.searchsorted(y, level), 1, len(x) - 1))
    return float(x[k - 1] + (level - y[k - 1]) * (x[k] - x[k - 1]) / (y[k] - y[k - 1]))


def _slope(x: Floats, y: Floats, at: float) -> float:
    k = int(np.clip(np.searchsorted(x, at), 1, len(x) - 1))
    return float((y[k] - y[k - 1]) / (x[k] - x[k - 1]))


def least_known(free: Floats) -> float:
    """Least backlash at the mesh positions that are known.

    Parameters
    ----------
    free : ndarray

    Returns
    -------
    float
    """
    return float(np.nanmin(free))


def mean_known(free: Floats) -> float:
    """Mean backlash at the mesh positions that are known.

    Parameters
    ----------
    free : ndarray

    Returns
    -------
    float
    """
    return float(np.nanmean(free))
