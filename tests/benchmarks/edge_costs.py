"""Seconds and memory of edge extraction at several sizes of picture."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from tests.benchmarks.clean_set import clean_scene, noisy
from tests.benchmarks.common import ROOT, settings_of
from tests.benchmarks.extractors import LIBRARY, OURS, READING

from cogloupe.simulation import render_scene

SIZES = ((1632, 1224), (4000, 3000), (8000, 6000))

COST = (
    "Mpx", "method", "seconds, median", "least", "first run", "parts, median",
    "memory at peak, MB", "with the picture loaded, MB",
)  # fmt: skip


def cost_rows() -> Iterator[list[object]]:
    """Time and memory of every method at every size, each in a process of its own.

    Yields
    ------
    list
        Cells of a row.
    """
    rng = np.random.default_rng(12)
    with TemporaryDirectory() as folder:
        for size in SIZES:
            picture = Path(folder) / f"{size[0]}.npy"
            made = render_scene(clean_scene(24, 1, 1.2, size))
            np.save(picture, noisy(made.image, 0.01, rng))
            settings = settings_of(made.truth).model_dump_json()
            picture.with_suffix(".json").write_text(settings, "utf-8")
            for method in (OURS, *LIBRARY, READING):
                yield [f"{size[0] * size[1] / 1e6:.0f}", method, *_cost_of(method, picture)]


def _cost_of(method: str, picture: Path) -> list[object]:
    # One thread for small matrices, as the command line has it.
    setting = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
    words = [sys.executable, "-m", "tests.benchmarks.extractors", method, str(picture)]
    done = subprocess.run(words, capture_output=True, text=True, check=True, env=setting, cwd=ROOT)
    cost = json.loads(done.stdout)
    parts = ", ".join(f"{name} {seconds:.3f}" for name, seconds in cost["median"].items())
    total = {run: sum(cost[run].values()) for run in ("median", "least", "first")}
    return [
        f"{total['median']:.3f}", f"{total['least']:.3f}", f"{total['first']:.3f}",
        parts if len(cost["median"]) > 1 else "", round(cost["peak_mb"]), round(cost["loaded_mb"]),
    ]  # fmt: skip
