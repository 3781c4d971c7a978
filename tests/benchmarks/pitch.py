"""Single pitch on the whole path, counts and numbers of every size of gear, and the whole command.

Run: ``python -m tests.benchmarks.pitch [accuracy] [counts] [process]`` (about eight minutes on two
cores in all). With parts named only those are run, and nothing is written.
"""

import os
from collections.abc import Callable
from math import cos, radians, sqrt

import numpy as np
from tests.benchmarks.clean_set import BLURS_PX, NOISES, SIDE_PX, TIP_PX, clean_scene, noisy
from tests.benchmarks.common import (
    Case,
    Errors,
    bound,
    errors_of,
    rms,
    run_parts,
    settings_of,
    table,
)
from tests.benchmarks.counting_set import Counted, Counting, count, counting_set
from tests.benchmarks.edges import true_involute
from tests.benchmarks.process_costs import HEAD as PROCESS
from tests.benchmarks.process_costs import process_rows

from cogloupe.inputs.photo import Photo
from cogloupe.inspection import inspect_photo
from cogloupe.simulation import render_scene

TEETH = (24, 21, 28, 20)
DRAWS = 4
"""Times that the noise of a picture is drawn."""
GROSS_PX = 0.3
"""A flank this far from its place is listed, though its number is right."""

ACCURACY = (
    "blur, px", "noise", "single pitch RMS, px", "worst, px", "RMS / bound", "error / u, RMS",
    "within ±U", "flanks flagged",
)  # fmt: skip


def accuracy() -> str:
    """Table of the error of single pitches on clean pictures.

    Returns
    -------
    str
    """
    rng = np.random.default_rng(13)
    found: dict[tuple[float, float], list[tuple[Errors, float]]] = {}
    for blur in BLURS_PX:
        for seed, teeth in enumerate(TEETH, start=21):
            scene = clean_scene(teeth, seed, blur)
            made = render_scene(scene)
            low, high = (curve := true_involute(scene, made.truth)).roll_range
            length = (high**2 - low**2) / (2 * curve.measuring_arm[0])
            lean = cos(radians(made.truth.gear.pressure_angle_deg))
            for noise in NOISES * DRAWS:
                pixels = noisy(made.image, noise, rng)
                case = Case(Photo("gear", "", pixels, {}), made.truth, settings_of(made.truth))
                errors = errors_of(case, inspect_photo(case.photo, case.settings)[0])
                limit = bound(noise, blur) / sqrt(length) * sqrt(2) / lean
                found.setdefault((blur, noise), []).append((errors, limit))
    rows = [
        [blur, f"{100 * noise:.0f} %", *_pitch_row(row)] for (blur, noise), row in found.items()
    ]
    return table(ACCURACY, rows)


def _pitch_row(found: list[tuple[Errors, float]]) -> list[object]:
    single = np.concatenate([e.single.ravel() for e, _ in found])
    u = np.concatenate([e.u_single.ravel() for e, _ in found])
    limit = sqrt(np.mean([limit**2 for _, limit in found]))
    return [
        f"{rms(single):.5f}", f"{np.nanmax(np.abs(single)):.4f}", f"{rms(single) / limit:.3f}",
        f"{rms(single / u):.2f}", f"{100 * np.mean(np.abs(single) <= 2 * u):.0f} %",
        int(sum(e.flagged.sum() for e, _ in found)),
    ]  # fmt: skip


COUNTS = (
    "group", "gears", "read", "count right", "module right", "numbers right",
    "flanks measured / wholly in the frame", "measured outside the frame", "worst place, px",
)  # fmt: skip

Outcome = tuple[Counting, Counted | str]


def counts() -> str:
    """Table of the counts and numbers, and what went wrong.

    Returns
    -------
    str
    """
    outcomes: list[Outcome] = [(counting, _tried(counting)) for counting in counting_set()]
    groups = list(dict.fromkeys(counting.group for counting, _ in outcomes))
    rows = [_group_row(group, [o for o in outcomes if o[0].group == group]) for group in groups]
    failed = [f"- {_named(c)}: {_fault(what)}" for c, what in outcomes if _fault(what)]
    return table(COUNTS, rows) + "\n" + ("\n".join(failed) or "Nothing went wrong.") + "\n"


def _tried(counting: Counting) -> Counted | str:
    try:
        return count(counting)
    except Exception as error:  # a benchmark lists what breaks, and goes on
        return f"{type(error).__name__}: {error}"


def _group_row(group: str, outcomes: list[Outcome]) -> list[object]:
    read = [what for _, what in outcomes if isinstance(what, Counted)]
    return [
        group, len(outcomes), len(read), sum(r.teeth for r in read), sum(r.module for r in read),
        sum(r.numbers for r in read), f"{sum(r.measured for r in read)} / "
        f"{sum(r.visible for r in read)}", sum(r.invented for r in read),
        max((r.worst_px for r in read), default=float("nan")),
    ]  # fmt: skip


def _fault(what: Counted | str) -> str:
    """Say what went wrong; nothing where all is right."""
    if isinstance(what, str):
        return what
    faults = {
        "count wrong": not what.teeth,
        "module wrong": not what.module,
        "numbers wrong": what.teeth and not what.numbers,
        f"{what.measured} of {what.visible} flanks measured": what.measured < 0.9 * what.visible,
        f"a flank off by {what.worst_px:.2f} px": what.worst_px > GROSS_PX,
        f"{what.invented} flanks measured outside the frame": what.invented > 0,
    }
    return ", ".join(fault for fault, true in faults.items() if true)


def _named(counting: Counting) -> str:
    gear = counting.scene.gear
    size = f"{gear.dp:g} DP" if gear.dp is not None else f"module {gear.module:g} mm"
    return f"{counting.group}: {gear.teeth} teeth, {size}, shift {gear.profile_shift:g}"


def process() -> str:
    """Table of the whole command's time and memory.

    Returns
    -------
    str
    """
    load = os.getloadavg()[0]
    return table(PROCESS, list(process_rows())) + f"\nLoad of the machine {load:.1f}.\n"


PARTS: dict[str, tuple[str, Callable[[], str]]] = {
    "process": (
        "## The whole command\n\nSeconds of `inspect` from start to end of its process, and of its "
        "steps run one after the other (in the command some overlap; starting Python comes on "
        "top). 24 teeth, tip circle 93 % of the frame's height.\n",
        process,
    ),
    "accuracy": (
        f"## Single pitch\n\n{len(TEETH)} gears of {', '.join(map(str, TEETH))} teeth a row, "
        f"clean, {SIDE_PX} px square, tip circle {TIP_PX} px, 8 bits; the whole path from pixels "
        f"to the reading, each with {DRAWS} drawings of noise. The bound is that of two flanks, "
        "sqrt 2 times one flank's, over the cosine of the pressure angle. A row's ratios are "
        "uncertain by 3 %.\n",
        accuracy,
    ),
    "counts": (
        "## Counts and numbers\n\nClean pictures, blur 1 px, noise 1 %, 1200 to 3000 px square. "
        "The number of teeth is not given, save with the arcs. A number "
        "is wrong where a flank lies a fourth of a pitch or more from the true flank of that "
        "number.\n",
        counts,
    ),
}


if __name__ == "__main__":
    run_parts("pitch", "Pitch, counts and the whole command", PARTS)
