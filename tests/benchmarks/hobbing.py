"""Times the generating model: python -m tests.benchmarks.hobbing

Prints seconds of one core for each gear, the best of three, and the number of cuts compared.
"""

import time

import numpy as np

from cogloupe.simulation import Faults, GearSpec, Process, make
from cogloupe.simulation.placing import hob_cuts

NOISY_DRIVE = {
    "steps_per_turn": 2400,
    "encoder_pulses": 600,
    "false_pulses": 0.3,
    "missing_pulses": 0.3,
    "jitter_arcmin": 2.0,
}
SMALL = GearSpec(teeth=30, module_mm=0.5)
CASES = (
    ("30 teeth, one plunge, no fault", SMALL, {"feed_mm": 0.0, "turns": 1.2}),
    ("30 teeth, 6 turns, no fault", SMALL, {}),
    ("30 teeth, 6 turns, unsteady", SMALL, {"jitter_arcmin": 4.0}),
    ("30 teeth, 3 passes of 6 turns, all noise", SMALL,
     {"depths_mm": (0.6, 1.0, 1.125), **NOISY_DRIVE}),
    ("30 teeth, 3 passes of 12 turns, all noise", SMALL,
     {"depths_mm": (0.6, 1.0, 1.125), "turns": 12.0, **NOISY_DRIVE}),
    ("12 teeth, 6 turns, unsteady", GearSpec(teeth=12, module_mm=1.0), {"jitter_arcmin": 2.0}),
    ("96 teeth, 6 turns, unsteady", GearSpec(teeth=96, module_mm=0.4), {"jitter_arcmin": 2.0}),
    ("30 teeth, form cutter, unsteady", SMALL, {"kind": "form-cutter", "jitter_arcmin": 4.0}),
)  # fmt: skip


def best_time(spec: GearSpec, process: Process) -> float:
    """Shortest of three, s of one core."""
    times = []
    for _ in range(3):
        start = time.process_time()
        make(spec, Faults(), process, 0.0, np.random.default_rng(1), 1e-5)
        times.append(time.process_time() - start)
    return min(times)


def cut_count(spec: GearSpec, process: Process) -> int:
    """Placings of the hob's teeth that the model compares; 0 for a form cutter."""
    if process.kind != "hob":
        return 0
    gear = spec.gear()
    return len(hob_cuts(gear, process, gear.tip_radius, np.random.default_rng(1)).gap)


def main() -> None:
    """Print the table."""
    for name, spec, how in CASES:
        process = Process(**how)
        print(f"{name:44s} {cut_count(spec, process):7d} cuts {best_time(spec, process):6.2f} s")


if __name__ == "__main__":
    main()
