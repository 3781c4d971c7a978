"""Single pitch under one spoiler at a time, beside a general library call on the same pictures.

Run: ``python -m tests.benchmarks.spoilers`` (about four minutes on one core). With a number, so
many gears a row are read and nothing is written.
"""

import sys
from functools import partial
from math import sqrt

import numpy as np
from tests.benchmarks.clean_set import SIDE_PX, TEETH, TIP_PX, clean_scene
from tests.benchmarks.common import make_case, report, rms, table
from tests.benchmarks.edges import Found, compare, edges_by
from tests.benchmarks.extractors import OURS

from cogloupe.simulation import Scene
from cogloupe_calibration.arrays import Floats

LIBRARY = "find_contours, blurred 1 px"
BLUR_PX, NOISE = 1.2, 0.01
SHADOW_MM = 0.08
"""Offset of a shadow on the ground, on teeth of module 1."""

Change = dict[str, object]
SPOILERS: dict[str, Change] = {
    "none": {},
    "light ±10 %": {"illumination": 0.1},
    "light ±20 %": {"illumination": 0.2},
    "light ±30 %": {"illumination": 0.3},
    "JPEG 95": {"jpeg_quality": 95},
    "JPEG 90": {"jpeg_quality": 90},
    "JPEG 75": {"jpeg_quality": 75},
    "JPEG 60": {"jpeg_quality": 60},
    "shadow": {"shadow_mm": SHADOW_MM},
}


def spoilt_scene(teeth: int, seed: int, change: Change) -> Scene:
    """Scene of a back-lit gear under one spoiler, with noise.

    Parameters
    ----------
    teeth, seed : int
    change : dict
        Fields of the camera.

    Returns
    -------
    Scene
    """
    scene = clean_scene(teeth, seed, BLUR_PX)
    camera = scene.camera.model_copy(update={"noise": NOISE, "bits": 8} | change)
    kind = "jpg" if "jpeg_quality" in change else "png"
    return scene.model_copy(update={"camera": camera, "format": kind})


def read_row(change: Change, gears: int) -> dict[str, list[Found]]:
    """Read every gear under one spoiler by both methods.

    Parameters
    ----------
    change : dict
    gears : int

    Returns
    -------
    dict
        Method to what it found on each gear.
    """
    found: dict[str, list[Found]] = {OURS: [], LIBRARY: []}
    for seed, teeth in enumerate(TEETH[:gears], start=1):
        case = make_case(scene := spoilt_scene(teeth, seed, change))
        for method, row in found.items():
            edges = edges_by(method, case.photo.pixels, BLUR_PX)
            row.append(compare(edges, scene, case.truth, NOISE))
    return found


def single_pitch(found: list[Found]) -> Floats:
    """Errors of single pitch along the flanks' normals, px.

    Parameters
    ----------
    found : list of Found

    Returns
    -------
    ndarray
    """
    steps = [(f.flank - np.roll(f.flank, 1, axis=0)).ravel() for f in found]
    return np.concatenate(steps)


HEAD = (
    "spoiler", "ours, px", "find_contours, px", "ours / find_contours", "ours / bound",
    "find_contours / bound", "worst of ours, px", "our flanks' bias, px", "find_contours', px",
    "not seen",
)  # fmt: skip


def row_of(name: str, found: dict[str, list[Found]]) -> list[object]:
    """Cells of one row.

    Parameters
    ----------
    name : str
    found : dict
        As of `read_row`.

    Returns
    -------
    list
    """
    errors = {method: single_pitch(row) for method, row in found.items()}
    ours, library = (rms(errors[method]) for method in (OURS, LIBRARY))
    limit = sqrt(2 * np.mean([f.limit**2 for f in found[OURS]]))
    bias = [np.nanmean(np.concatenate([f.flank.ravel() for f in row])) for row in found.values()]
    return [
        name, f"{ours:.5f}", f"{library:.5f}", f"{ours / library:.3f}", f"{ours / limit:.3f}",
        f"{library / limit:.3f}", f"{np.nanmax(np.abs(errors[OURS])):.4f}",
        *(f"{b:+.4f}" for b in bias), int(np.isnan(errors[OURS]).sum()),
    ]  # fmt: skip


def main() -> None:
    """Read every row and write the table."""
    gears = int(sys.argv[1]) if sys.argv[1:] else len(TEETH)
    read = partial(read_row, gears=gears)
    rows = [row_of(name, read(change)) for name, change in SPOILERS.items()]
    flanks = 2 * sum(TEETH[:gears])
    parts = [
        f"{gears} back-lit gears a row, {SIDE_PX} px square, tip circle {TIP_PX} px, blur "
        f"{BLUR_PX} px, noise {100 * NOISE:.0f} %, {flanks} flanks: a ratio of both methods, which "
        f"see the same noise, is uncertain by some {100 / sqrt(4 * flanks):.0f} %. RMS of single "
        "pitch along the flanks' normals. The library call is `skimage.measure.find_contours` at "
        "mid level after a Gaussian blur of 1 px; both methods' points go through the same flank "
        "fit about the true axis. The bound is that of noise alone with levels known.\n",
        table(HEAD, rows),
    ]
    if gears < len(TEETH):
        print(*parts, sep="\n")
        return
    report("spoilers", "One spoiler at a time", parts)


if __name__ == "__main__":
    main()
