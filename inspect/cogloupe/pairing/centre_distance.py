"""How far apart to put two gears: tight mesh, a wanted backlash, and the window they can run in.

Lengths mm. Backlash is an arc on the working pitch circles.
"""

from dataclasses import dataclass

import numpy as np

from cogloupe.pairing.clearance import Room, room
from cogloupe.pairing.rolling import Mesh, Rolled, Start, fine_places, mesh_at, roll
from cogloupe.pairing.running_gear import RunningGear
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import UseError

COARSE, FEW = 12, 4
"""Places in a pitch at which distances are compared, and at which tight mesh is looked for: the
least and the mean of a period are then found to some micrometres."""
TRIALS = 12
"""Steps of that search; each leaves a hundredth of what was, as backlash is nearly straight..."""
STEP_MODULES = 0.3
"""... but of cycloidal teeth it is flat about the pitch circles, so that no step is longer."""
SETTLED_MM = 1e-4
"""A tenth of a micrometre: a hundredth of what a workshop can place holes to (common practice, no
source)."""
SWEPT = 11
"""Distances at which the window is drawn; between them all curves are nearly straight."""
SWEPT_MODULES = (-0.12, 0.9)
"""From and to, beyond tight mesh: contact ratios up to 1.8, those of 20 degrees, have fallen below
1 there; of smaller angles the last stretch is carried on."""


@dataclass(frozen=True, kw_only=True)
class Sweep:
    """What a pair would do at other centre distances; arrays over distances.

    Attributes
    ----------
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

    Returns
    -------
    ndarray, shape (steps, phases)
    """
    return rolled.free * mesh.working_radius


def tight_mesh(a: RunningGear, b: RunningGear) -> float:
    """Centre distance of tight mesh, on average.

    Where the mean backlash is zero, to some micrometres.

    Raises
    ------
    UseError
        Where there is none.
    """
    before = a.wheel.reference_radius + b.wheel.reference_radius
    here, off_before = before + 0.05 * a.wheel.module_mm, _mean_backlash(a, b, before)
    for _ in range(TRIALS):
        off = _mean_backlash(a, b, here)
        per_mm = (off - off_before) / (here - before)
        if not np.isfinite(per_mm) or per_mm <= 0:
            break
        before, off_before = here, off
        longest = STEP_MODULES * a.wheel.module_mm
        here = here - float(np.clip(off / per_mm, -longest, longest))
        if abs(here - before) < SETTLED_MM:
            return here
    raise UseError(
        f"no centre distance was found at which {a.name} and {b.name} are in tight mesh: check "
        "that their teeth belong together"
    )


def _mean_backlash(a: RunningGear, b: RunningGear, distance: float) -> float:
    mesh = mesh_at(a, b, distance, FEW)
    return float(np.nanmean(backlash_mm(mesh, roll(mesh))))


def distance_for(
    a: RunningGear, b: RunningGear, start: Start, wanted: float, swept: Sweep
) -> float:
    """Centre distance that leaves a wanted backlash at the tightest spot.

    As the sweep has it, mended by what all places of the period say there.

    Parameters
    ----------
    swept : Sweep
        Of that pair and start.

    Raises
    ------
    UseError
        Where the teeth would no longer carry.
    """
    near, furthest = _crossing(swept.distance, swept.least, wanted), float(swept.distance[-1])
    if near > furthest:
        raise UseError(
            f"a backlash of {wanted:.3g} mm would put the centres beyond {furthest:.3f} mm, where "
            f"these teeth no longer carry; there it is {swept.least[-1]:.3g} mm: use less"
        )
    mesh = mesh_at(a, b, near)
    least = float(np.nanmin(backlash_mm(mesh, roll(mesh, start, fine_places(mesh)))))
    return near + (wanted - least) / _slope(swept.distance, swept.least, near)


def sweep(a: RunningGear, b: RunningGear, start: Start, tight: float) -> Sweep:
    """Run a pair at distances about and beyond tight mesh.

    Parameters
    ----------
    tight : float
        Centre distance of tight mesh, on average.

    Raises
    ------
    UseError
        Where they cannot keep in contact at all.
    """
    module = a.wheel.module_mm
    furthest = min(tight + SWEPT_MODULES[1] * module, 0.999 * float(a.tip.min() + b.tip.min()))
    distances = np.linspace(tight + SWEPT_MODULES[0] * module, furthest, SWEPT)
    rows = [row for row in (_swept(a, b, start, float(d)) for d in distances) if row is not None]
    if len(rows) < 2:
        raise UseError(
            f"the teeth of {a.name} and {b.name} do not stay in contact at any centre distance: "
            "their tips are too low for each other"
        )
    distance, least, mean, most, ratio, clearance = np.array(rows).T
    return Sweep(
        distance=distance, least=least, mean=mean, most=most, ratio=ratio, clearance=clearance
    )


def _swept(
    a: RunningGear, b: RunningGear, start: Start, distance: float
) -> tuple[float, ...] | None:
    """One distance of a sweep; None where the teeth lose each other altogether."""
    mesh = mesh_at(a, b, distance, COARSE)
    free, found = backlash_mm(mesh, roll(mesh, start)), room(mesh, start)
    if np.isinf(free).any():
        return None
    tips = min(found.tips_a.value, found.tips_b.value)
    least, mean, most = (float(of(free)) for of in (np.nanmin, np.nanmean, np.nanmax))
    return distance, least, mean, most, found.ratio.value, tips


def window(swept: Sweep, found: Room, u_backlash: float) -> Window:
    """Centre distances between which a pair can run.

    From where no tooth is tight and no tip touches a floor, to where the contact ratio falls to
    one.

    Parameters
    ----------
    found : Room
        At any of the distances, for its uncertainties.
    u_backlash : float
        Standard uncertainty of the least backlash.
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
