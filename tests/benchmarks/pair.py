"""Pairs of gears through their pictures: how they run, and where to drill, against the truth.

Run: ``python -m tests.benchmarks.pair [PAIRS]`` (about half an hour on one core). With a number
only so many pairs are read each way, and nothing is written.
"""

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from math import pi

import numpy as np
from tests.benchmarks.common import report, rms, table
from tests.benchmarks.pair_set import MM_PER_PX, draw_pair
from tests.helpers.pair_gears import perfect_gear

from cogloupe.pairing.centre_distance import backlash_mm, distance_for, sweep, tight_mesh
from cogloupe.pairing.composite import composite
from cogloupe.pairing.contact import contacts
from cogloupe.pairing.pair import Asked, Pairing, pair_gears
from cogloupe.pairing.rolling import Mesh, fine_places, lead_of, mesh_at, roll
from cogloupe.pairing.running_gear import RunningGear
from cogloupe.planning.plan import USUAL_BACKLASH
from cogloupe_calibration.errors import CogloupeError

PAIRS = 100
START = (1, 1)


@dataclass(frozen=True)
class Compared:
    """A figure's error and its standard uncertainty, µm or pairs of teeth."""

    error: float
    u: float


def truth_of(a: RunningGear, b: RunningGear, distance: float) -> dict[str, float]:
    """Figures of the gears as made, at a centre distance.

    Parameters
    ----------
    a, b : RunningGear
    distance : float

    Returns
    -------
    dict
        µm by name, and contact ratio.
    """
    mesh = mesh_at(a, b, distance)
    rolled = roll(mesh, START, fine_places(mesh))
    free = 1000 * backlash_mm(mesh, rolled)
    arc = 1000 * b.wheel.reference_radius
    found = {"least backlash": free.min(), "mean backlash": free.mean()}
    for side, name in enumerate(("left", "right")):
        deviation = composite(rolled.lead[side])
        found[f"single-flank total, {name}"] = arc * deviation.total
        found[f"tooth to tooth, {name}"] = arc * deviation.tooth
    return found


def compared(pairing: Pairing, true: dict[str, float]) -> dict[str, Compared]:
    """Errors of a pairing's figures.

    Parameters
    ----------
    pairing : Pairing
    true : dict

    Returns
    -------
    dict
    """
    backlash = pairing.backlash
    found = {
        "least backlash": (1000 * backlash.least.value, 1000 * backlash.least.u),
        "mean backlash": (1000 * backlash.mean.value, 1000 * backlash.mean.u),
    }
    for way, name in zip(pairing.ways, ("left", "right"), strict=True):
        found[f"single-flank total, {name}"] = (way.total.value, way.total.u)
        found[f"tooth to tooth, {name}"] = (way.tooth.value, way.tooth.u)
    return {n: Compared(value - true[n], u) for n, (value, u) in found.items()}


def read_pair(seed: int, calibrated: bool) -> dict[str, Compared]:
    """Picture a pair, read it, and compare it with the truth.

    Parameters
    ----------
    seed : int
    calibrated : bool

    Returns
    -------
    dict
    """
    pair = draw_pair(seed, calibrated)
    wanted = USUAL_BACKLASH * pair.made[0].wheel.module_mm
    distance = _drilled(pair.made, wanted)
    seen = pair_gears(*pair.seen, Asked(distance_mm=distance, start=START))
    found = compared(seen, truth_of(*pair.made, distance))
    off = 1000 * (_drilled(pair.seen, wanted) - distance)
    found["drilling distance"] = Compared(off, 1000 * seen.backlash.least.u / seen.drilling.per_mm)
    return found


def _drilled(gears: tuple[RunningGear, RunningGear], wanted: float) -> float:
    """Centre distance that leaves a wanted backlash at the tightest spot."""
    return distance_for(*gears, START, wanted, sweep(*gears, START, tight_mesh(*gears)))


WAYS = {
    "perfect lens and exact scale, both known": True,
    "lens and lean not measured, scale as stated": False,
}


def accuracy(count: int) -> list[str]:
    """Read pairs both ways, and tell errors and how many lie within U.

    Parameters
    ----------
    count : int

    Returns
    -------
    list of str
    """
    parts = []
    for way, calibrated in WAYS.items():
        rows = []
        for seed in range(1, count + 1):
            try:
                rows.append(read_pair(seed, calibrated))
            except CogloupeError as error:
                print(f"{way}, pair {seed}: {error}", file=sys.stderr)
        parts += [heading(way, len(rows), count), _summed_up(rows)]
    return parts


def heading(way: str, read: int, count: int) -> str:
    """Head of one table."""
    return f"## {way[0].upper()}{way[1:]} ({read} of {count} pairs read)\n"


def _summed_up(rows: list[dict[str, Compared]]) -> str:
    head = ("figure", "within ± U, %", "error over u, RMS", "error, RMS µm", "largest, µm",
            "median U, µm")  # fmt: skip
    lines = []
    for name in rows[0]:
        error, u = (np.array([getattr(row[name], n) for row in rows]) for n in ("error", "u"))
        inside = 100 * float(np.mean(np.abs(error) <= 2 * u))
        largest = float(np.abs(error).max())
        lines.append(
            [name, f"{inside:.0f}", rms(error / u), rms(error), largest, float(np.median(2 * u))]
        )
    return table(head, lines)


def costs() -> str:
    """Seconds that the long period of 60 and 61 teeth takes.

    Returns
    -------
    str
    """
    a, b = perfect_gear(60), perfect_gear(61)
    distance = a.wheel.reference_radius + b.wheel.reference_radius + 0.05
    works: dict[str, Callable[[], object]] = {
        "contact functions of one side": lambda: contacts(a, b, 1, distance),
        "lead one way round, at every micrometre": lambda: _lead(a, b, distance),
        "everything about the pair": lambda: pair_gears(a, b),
    }
    rows = [[name, min(_seconds(work) for _ in range(3))] for name, work in works.items()]
    return table(("60 and 61 teeth of module 0.5", "least of 3, s of the processor"), rows)


def _lead(a: RunningGear, b: RunningGear, distance: float) -> object:
    """Contact of one side, and the lead at every micrometre of the whole period."""
    side = contacts(a, b, 1, distance)
    mesh = Mesh(a=a, b=b, centre_mm=distance, sides=(side, side))
    return lead_of(mesh, 1, START, round(1000 * pi * a.wheel.module_mm))


def _seconds(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


TITLE = "Pairs: how two gears run, and where to drill"
INTRODUCTION = (
    f"Random pairs of one module, 0.3 to 0.8 mm, 14 teeth and more, {1000 * MM_PER_PX:g} µm a "
    "pixel: pitches and flanks scattered by up to 6 and 3 µm, up to 30 µm off the bore, thinned, "
    "cut with flank angles up to 0.3° off, tips about the bore or the teeth. Both gears are "
    "rendered, read, and run at the centre distance that gives the gears as made a least backlash "
    "of 0.04 modules; the truth is that of the made flanks by the same rolling, which the tests "
    "hold against polygons. Lenses, leans, grey curves and stated scales are drawn as in the study "
    "of coverage; both pictures of a pair share scale and grey curve. With lens and scale known "
    "nothing of the edges' own doubt (grey values) is drawn either, which is most of U of backlash "
    "and distance there.\n"
)


def main() -> None:
    """Read all pairs and write the tables."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else PAIRS
    parts = [INTRODUCTION, *accuracy(count), "## Time\n", costs()]
    if len(sys.argv) > 1:
        print("\n".join(parts))
        return
    report("pair", TITLE, parts)


if __name__ == "__main__":
    main()
