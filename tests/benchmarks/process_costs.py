"""Seconds and memory of the whole command on pictures in their files."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter

from tests.benchmarks.clean_set import clean_scene
from tests.benchmarks.common import ROOT, settings_of

from cogloupe.simulation import Scene, render_scene
from cogloupe.simulation.truth import Truth
from cogloupe.simulation.write import write_picture

RUNS = 5

# The program as it is started from a terminal; at its end it tells its peak memory and that of
# the process which draws its charts, kB.
WHOLE = """
import sys
from pathlib import Path
try:
    from cogloupe.commands import main
    main()
finally:
    status = Path("/proc/self/status")
    lines = status.read_text().splitlines() if status.exists() else []
    own = [int(line.split()[1]) for line in lines if line.startswith("VmHWM")]
    if own:
        import resource
        print(*own, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss, file=sys.stderr)
"""

HEAD = (
    "picture", "whole process, median of 5", "least", "imports", "decode", "compute", "drawing",
    "memory at peak, both processes, MB",
)  # fmt: skip


@dataclass(frozen=True)
class Sample:
    """A picture to read: what it is, and its scene."""

    name: str
    scene: Scene


def samples() -> tuple[Sample, ...]:
    """Pictures of which the whole process is timed.

    Returns
    -------
    tuple of Sample
        A grey one, and colour photographs as cameras write them.
    """
    return (
        Sample("2048 x 2048 px, clean grey PNG", _clean((2048, 2048), "png")),
        Sample("4000 x 3000 px, clean grey JPEG", _clean((4000, 3000), "jpg")),
        Sample("4000 x 3000 px, brass, colour JPEG", _photograph((4000, 3000))),
        Sample("8000 x 6000 px, brass, colour JPEG", _photograph((8000, 6000))),
    )


def _clean(size: tuple[int, int], suffix: str) -> Scene:
    """Back-lit, evenly lit, with noise and nothing else."""
    scene = clean_scene(24, 1, 1.2, size)
    camera = scene.camera.model_copy(update={"noise": 0.01, "bits": 8, "oversample": 1})
    return scene.model_copy(update={"camera": camera, "format": suffix})


def _photograph(size: tuple[int, int]) -> Scene:
    """Brass on a dark ground."""
    scene = clean_scene(24, 1, 1.2, size)
    look = {"look": "front-lit", "gamma": "srgb", "tool_marks": 0.1, "noise": 0.01, "bits": 8}
    camera = scene.camera.model_copy(update=look)
    return scene.model_copy(update={"camera": camera, "format": "jpg"})


def process_rows() -> Iterator[list[object]]:
    """Time and memory of the command on every sample.

    Yields
    ------
    list
        Cells of a row.
    """
    for sample in samples():
        with TemporaryDirectory() as folder:
            photo = Path(folder) / f"gear.{sample.scene.format}"
            made = render_scene(sample.scene)
            write_picture(made.image, sample.scene, photo)
            truth = made.truth
            del made
            yield [sample.name, *_whole(photo, truth), *_peak_last(photo, truth)]


def _installed(folder: Path) -> dict[str, str]:
    """Environment in which modules are kept compiled, as they are where the program is installed.

    An installer compiles them; from a checkout, where nothing may be written, they would be
    compiled anew by every process.
    """
    kept = {name: text for name, text in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return kept | {"PYTHONPYCACHEPREFIX": str(folder / "compiled")}


def _whole(photo: Path, truth: Truth) -> list[object]:
    """Whole process and its steps, s."""
    _run_whole(photo, truth)  # compiles
    whole = [_run_whole(photo, truth)[0] for _ in range(RUNS)]
    settings = photo.with_suffix(".json")
    settings.write_text(settings_of(truth).model_dump_json(), "utf-8")
    steps = [_run_steps(photo, settings) for _ in range(RUNS)]
    split = [median(step[name] for step in steps) for name in steps[0]]
    return [f"{value:.2f}" for value in (median(whole), min(whole), *split)]


def _peak_last(photo: Path, truth: Truth) -> list[object]:
    return [round(_run_whole(photo, truth)[1])]


def _run_whole(photo: Path, truth: Truth) -> tuple[float, float]:
    """Seconds from start to end of the process, and its peak memory with its helper's, MB."""
    options = {
        "--out": photo.parent / "readings",
        "--teeth": truth.gear.teeth,
        "--module": truth.gear.module_mm,
        "--scale": 1000 * truth.picture.mm_per_px,
    }
    words = [str(word) for option in options.items() for word in option]
    start = perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", WHOLE, "inspect", str(photo), *words],
        capture_output=True, text=True, check=True, env=_installed(photo.parent),
    )  # fmt: skip
    seconds = perf_counter() - start
    peaks = [float(kb) / 1024 for kb in done.stderr.split()[-2:]]
    return seconds, sum(peaks) if peaks else float("nan")


def _run_steps(photo: Path, settings: Path) -> dict[str, float]:
    step = [sys.executable, "-m", "tests.benchmarks.one_reading"]
    words = [*step, str(photo), str(settings), str(photo.parent / "steps")]
    setting = _installed(photo.parent)
    done = subprocess.run(words, capture_output=True, text=True, check=True, env=setting, cwd=ROOT)
    steps: dict[str, float] = json.loads(done.stdout)
    return steps
