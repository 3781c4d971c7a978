"""How often pairs are called changed, and how often a change is found.

python -m tests.benchmarks.compare; with a number, so many pairs a row, and nothing is written.

Readings are made from known places of the flanks with the noise, lens errors and scale errors that
their uncertainties state; nothing is drawn or measured.
"""

import sys
import time
from collections import Counter

import numpy as np
from tests.benchmarks.common import report, table
from tests.helpers.compare_examples import (
    machine_places,
    measured_places,
    reading_of,
    unchanged_or_not,
)

from cogloupe.comparing.compare import Comparison, compare_pair
from cogloupe.reading.models import Reading

PAIRS = 250
NULL_PAIRS = 1999
UNCHANGED = (
    ("21 teeth, scatter 8 µm", 21, {}),
    ("30 teeth", 30, {}),
    ("60 teeth", 60, {}),
    ("12 teeth", 12, {}),
    ("30 teeth, each blank 20 µm off centre", 30, {"eccentric_um": 20.0}),
    ("30 teeth, drive wave of 10 µm, 5 a turn", 30, {"wave": ((5, 10.0),)}),
    ("30 teeth, flanks apart", 30, {"linked": 0.3}),
    ("30 teeth, heavy tails (Student, 4)", 30, {"heavy": True}),
)
QUIET = (("21 teeth, scatter 1 µm (noise 0.6, lens 2)", 21, 1.0),)
CHANGED = ((21, 8.0, 4.0), (30, 8.0, 4.0), (60, 8.0, 4.0), (21, 8.0, 2.7), (30, 8.0, 2.7))


def different(
    rng: np.random.Generator, teeth: int, before: float, after: float, **machine: object
) -> Comparison:
    """Compare two gears cut with the given scatter."""
    pair = unchanged_or_not(rng, teeth, before, after, **machine)
    return compare_pair(*pair, same_gear=False, rng=rng, null_pairs=NULL_PAIRS)


def one_gear(rng: np.random.Generator, teeth: int, moved_um: float) -> Comparison:
    """Compare two readings of one gear, one tooth of which was moved, turned by chance."""
    true = machine_places(rng, teeth, 8.0)
    later = true.copy()
    later[teeth // 2] += moved_um
    shift = int(rng.integers(teeth))
    pair: list[Reading] = [
        reading_of(measured_places(rng, place)) for place in (true, np.roll(later, shift, axis=0))
    ]
    return compare_pair(*pair, same_gear=True, rng=rng, null_pairs=NULL_PAIRS)


def rates(found: list[Comparison]) -> list[str]:
    """Shares of pairs with any verdict, and with one on the first figure and on f_p."""
    counts: Counter[str] = Counter()
    for comparison in found:
        resolved = {c.kind.key for c in comparison.resolved}
        counts["any"] += bool(resolved)
        counts["first"] += comparison.changes[0].kind.key in resolved
        counts["single"] += "single" in resolved
    return [f"{100 * counts[name] / len(found):.1f} %" for name in ("any", "first", "single")]


def main() -> None:
    """Run the study."""
    pairs = int(sys.argv[1]) if len(sys.argv) > 1 else PAIRS
    rng = np.random.default_rng(1)
    start = time.perf_counter()
    head = ("pair", "any figure", "spread less once a turn", "largest single pitch")
    level = [
        [name, *rates([different(rng, z, 8.0, 8.0, **machine) for _ in range(pairs)])]
        for name, z, machine in UNCHANGED
    ]
    level += [
        [name, *rates([different(rng, z, size, size) for _ in range(pairs)])]
        for name, z, size in QUIET
    ]
    power = [
        [f"{z} teeth, scatter {a:g} to {b:g} µm",
         *rates([different(rng, z, a, b) for _ in range(pairs)])]
        for z, a, b in CHANGED
    ]  # fmt: skip
    paired = [
        [f"{z} teeth, one tooth moved by {moved:g} µm",
         *rates([one_gear(rng, z, moved) for _ in range(pairs)])[:2]]
        for z, moved in ((24, 0.0), (60, 0.0), (24, 3.0), (24, 6.0), (60, 6.0))
    ]  # fmt: skip
    share = 100 * 1.96 * (0.05 * 0.95 / pairs) ** 0.5
    parts = [
        f"{pairs} pairs a row; a rate of 5 % is uncertain by {share:.1f} % (k = 2). Scatter of "
        "tooth places with nine tenths common to both flanks, noise 0.6 µm a flank, lens and lean "
        "2 µm over the turn, drawn anew for each picture; 16 figures are looked at.\n",
        "## Different gears, no change\n", table(head, level),
        "## Different gears, scatter reduced\n", table(head, power),
        "## One gear photographed twice, turned between\n",
        table(("pair", "any figure", "tooth by tooth"), paired),
        f"{(time.perf_counter() - start) / 60:.0f} minutes.\n",
    ]  # fmt: skip
    if len(sys.argv) > 1:
        print("\n".join(parts))
    else:
        report("compare", "Comparing readings", parts)


if __name__ == "__main__":
    main()
