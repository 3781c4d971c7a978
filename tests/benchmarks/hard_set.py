"""Accuracy on pictures as they really are: each spoiler alone, and all of them together.

Run: ``python -m tests.benchmarks.hard_set [ROW ...]`` (about four minutes on one core). With row
names only those are read, and nothing is written.
"""

import datetime
import sys
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from tests.benchmarks.common import Case, Errors, errors_of, make_case, report, rms, table
from tests.benchmarks.coverage_set import photograph_grid, picture_of, read_calibrated

from cogloupe.inspection import inspect_photo
from cogloupe.reading.models import Reading
from cogloupe.simulation import Camera, Faults, GearSpec, Scene
from cogloupe.simulation.scene import Nick, Swarf, ToothSide
from cogloupe_calibration.errors import CogloupeError
from cogloupe_calibration.summary import calibration_from

TEETH = (24, 20, 32)
"""One gear each; the rows differ only by their spoiler."""
SIDE_PX = 1600
TIP_PX = 1440
GROSS_PX = 0.3
EXACT = 1e-5
"""Relative uncertainty of a grid as good as exact (an engraved glass plate)."""

Change = dict[str, object]


@dataclass(frozen=True)
class Spoiler:
    """What one row does to the plain scene.

    Attributes
    ----------
    name : str
    camera, faults : callable
        From the module in mm and the number of teeth to the fields that change.
    file : str
        Format of the picture's file.
    grid : bool
        Whether a grid was pictured through the same lens, and undoes it.
    """

    name: str
    camera: Callable[[float, int], Change] = lambda module, teeth: {}
    faults: Callable[[float, int], Change] = lambda module, teeth: {}
    file: Literal["png", "jpg"] = "png"
    grid: bool = False


def swarf(module: float, teeth: int) -> Change:
    """Chips against five flanks, and dust over the frame."""
    places: list[tuple[int, ToothSide, float]] = [
        (2, "left", 0.5),
        (5, "right", 0.3),
        (9, "left", 0.8),
        (13, "right", 0.6),
    ]
    chips = [
        Swarf(tooth=t, side=s, length_mm=0.8 * module, width_mm=0.12 * module, height=h)
        for t, s, h in places
    ]
    return {"dust": 60, "dust_mm": 0.1 * module, "swarf": tuple(chips)}


def burrs(module: float, teeth: int) -> Change:
    """Burrs and nicks of a tenth to a fifth of the flank."""
    um = 1000 * module
    places: list[tuple[int, ToothSide, float]] = [
        (3, "left", 0.95),
        (7, "right", 0.6),
        (11, "left", 0.3),
        (16, "right", 0.9),
    ]
    stand = [
        Nick(tooth=t, side=s, depth_um=0.06 * um, width_um=0.3 * um, height=h) for t, s, h in places
    ]
    cut = [Nick(tooth=18, side="left", depth_um=0.08 * um, width_um=0.4 * um, height=0.6)]
    return {"burrs": tuple(stand), "nicks": tuple(cut)}


GAMMA: Change = {"gamma": "srgb"}
BRASS: Change = {"look": "front-lit", "gamma": "srgb"}
SHARPENED: Change = GAMMA | {"sharpening": 0.8, "sharpening_px": 1.5}
SPOILERS = (
    Spoiler("plain"),
    Spoiler("dust and swarf", camera=swarf),
    Spoiler("burrs and nicks", faults=burrs),
    Spoiler("light ±40 %", camera=lambda m, z: {"illumination": 0.4}),
    Spoiler("JPEG 60", camera=lambda m, z: {"jpeg_quality": 60}, file="jpg"),
    Spoiler("texture", camera=lambda m, z: {"tool_marks": 0.12, "ground_texture": 0.05}),
    Spoiler("gamma sRGB", camera=lambda m, z: GAMMA),
    Spoiler("sharpened", camera=lambda m, z: SHARPENED),
    Spoiler(
        "sharpened, halos clipped",
        camera=lambda m, z: SHARPENED | {"ground_level": 0.97, "gear_level": 0.04},
    ),
    Spoiler("bevel", camera=lambda m, z: {"bevel_mm": 0.06 * m}),
    Spoiler("defocus 1.0 to 3.5", camera=lambda m, z: {"blur_px": 1.0, "far_blur_px": 3.5}),
    Spoiler("dark on dark", camera=lambda m, z: {"ground_level": 0.16, "gear_level": 0.08} | GAMMA),
    Spoiler("front-lit brass", camera=lambda m, z: BRASS | {"tool_marks": 0.15}),
    Spoiler(
        "front-lit brass, bevel, shadow",
        camera=lambda m, z: (
            BRASS | {"tool_marks": 0.15, "bevel_mm": 0.06 * m, "shadow_mm": 0.08 * m}
        ),
    ),
    Spoiler(
        "front-lit brass, bevel, sharpened",
        camera=lambda m, z: BRASS | SHARPENED | {"tool_marks": 0.15, "bevel_mm": 0.06 * m},
    ),
    Spoiler("distortion 1 %, not corrected", camera=lambda m, z: {"distortion": 0.01}),
    Spoiler(
        "distortion 1 %, corrected by a grid", camera=lambda m, z: {"distortion": 0.01}, grid=True
    ),
    Spoiler(
        "all, back-lit",
        camera=lambda m, z: (
            swarf(m, z)
            | GAMMA
            | {
                "illumination": 0.4,
                "jpeg_quality": 60,
                "tool_marks": 0.12,
                "ground_texture": 0.05,
                "bevel_mm": 0.06 * m,
                "blur_px": 1.0,
                "far_blur_px": 3.0,
            }
        ),
        faults=burrs,
        file="jpg",
    ),
    Spoiler(
        "all, front-lit brass",
        camera=lambda m, z: (
            swarf(m, z)
            | BRASS
            | {
                "illumination": 0.4,
                "jpeg_quality": 60,
                "tool_marks": 0.15,
                "ground_texture": 0.05,
                "bevel_mm": 0.06 * m,
                "blur_px": 1.0,
                "far_blur_px": 3.0,
            }
        ),
        faults=burrs,
        file="jpg",
    ),
)


def scene_of(spoiler: Spoiler, teeth: int, seed: int) -> Scene:
    """Scene of one row and gear.

    Parameters
    ----------
    spoiler : Spoiler
    teeth : int
    seed : int

    Returns
    -------
    Scene
    """
    rng = np.random.default_rng([seed, teeth])
    module = 1.0
    mm_per_px = (teeth + 2) * module / TIP_PX
    off = rng.uniform(-20, 20, 2)
    faults: Change = {"pitch_scatter_um": 6, "flank_scatter_um": 3, "eccentricity_um": 20}
    camera: Change = {
        "mm_per_px": mm_per_px,
        "width_px": SIDE_PX,
        "height_px": SIDE_PX,
        "bore_x_px": SIDE_PX / 2 + off[0],
        "bore_y_px": SIDE_PX / 2 + off[1],
        "rotation_deg": rng.uniform(0.1, 0.9) * 360 / teeth,
        "blur_px": 1.2,
        "noise": 0.01,
        "gamma": "linear",
        "oversample": 2,
    }
    return Scene(
        gear=GearSpec(teeth=teeth, module_mm=module, bore_mm=0.35 * teeth * module),
        faults=Faults.model_validate(faults | spoiler.faults(module, teeth)),
        camera=Camera.model_validate(camera | spoiler.camera(module, teeth)),
        seed=seed,
        format=spoiler.file,
    )


HEAD = (
    "spoiler", "read", "single pitch RMS, px", "worst, px", "cumulative pitch RMS, px",
    "flank bias, px", "left, right", "flank RMS about bias, px", "worst unflagged flank, px",
    "gross unflagged", "within ±U", "covered", "flagged of them", "flagged others",
)  # fmt: skip


def row_of(spoiler: Spoiler) -> list[object]:
    """Read three gears under one spoiler.

    Parameters
    ----------
    spoiler : Spoiler

    Returns
    -------
    list
        Cells of the table's row.
    """
    found: list[Errors] = []
    for seed, teeth in enumerate(TEETH, start=1):
        scene = scene_of(spoiler, teeth, seed)
        case = make_case(scene)
        try:
            found.append(errors_of(case, _read(case, scene.camera if spoiler.grid else None)))
        except CogloupeError as error:
            print(f"{spoiler.name}, {teeth} teeth: {error}", file=sys.stderr)
    if not found:
        return [spoiler.name, f"0/{len(TEETH)}", *["-"] * (len(HEAD) - 2)]
    return [spoiler.name, f"{len(found)}/{len(TEETH)}", *_figures(found)]


def _read(case: Case, camera: Camera | None) -> Reading:
    """Read a case; with a camera, as a grid pictured through its lens calibrates it."""
    if camera is None:
        return inspect_photo(case.photo, case.settings)[0]
    grid = photograph_grid(camera, case.truth.seed, EXACT)
    today = datetime.date.today()
    return read_calibrated(case, calibration_from(grid.summary, picture_of(case), today))


def _figures(found: list[Errors]) -> list[object]:
    """Figures of a row over the flanks that are not flagged, and the pitches between them."""
    trusted = [~e.flagged & np.isfinite(e.flank) for e in found]
    pitch_trusted = [t & np.roll(t, 1, axis=0) for t in trusted]
    single = np.concatenate([e.single[t] for e, t in zip(found, pitch_trusted, strict=True)])
    u = np.concatenate([e.u_single[t] for e, t in zip(found, pitch_trusted, strict=True)])
    sides = [
        [e.flank[:, s][t[:, s]].mean() for s in (0, 1)] for e, t in zip(found, trusted, strict=True)
    ]
    bias = np.mean(sides, axis=1)
    about = np.concatenate([(e.flank - b)[t] for e, b, t in zip(found, bias, trusted, strict=True)])
    unflagged = np.concatenate([e.flank[t] for e, t in zip(found, trusted, strict=True)])
    whole = np.concatenate([e.cumulative[t] for e, t in zip(found, trusted, strict=True)])
    covered = sum(int(e.covered.sum()) for e in found)
    rightly = sum(int((e.covered & e.flagged).sum()) for e in found)
    wrongly = sum(int((~e.covered & e.flagged).sum()) for e in found)
    left, right = np.mean(sides, axis=0)
    return [
        rms(single), float(np.abs(single).max()), rms(whole),
        float(bias[np.argmax(np.abs(bias))]), f"{left:+.4f}, {right:+.4f}", rms(about),
        float(np.abs(unflagged).max()),
        int((np.abs(unflagged) > GROSS_PX).sum()),
        f"{100 * np.mean(np.abs(single) <= 2 * u):.0f} %", covered, rightly, wrongly,
    ]  # fmt: skip


def main() -> None:
    """Read every row and write the table."""
    wanted = sys.argv[1:]
    chosen = [s for s in SPOILERS if not wanted or s.name in wanted]
    rows = [row_of(spoiler) for spoiler in chosen]
    if wanted:
        print(table(HEAD, rows))
        return
    report(
        "hard_set",
        "The hard set",
        [
            f"{len(TEETH)} gears of {', '.join(map(str, TEETH))} teeth a row, {SIDE_PX} px square, "
            f"tip circle {TIP_PX} px, blur 1.2 px, noise 1 %. Targets: single pitch at most 0.03 "
            "px RMS, flank bias at most 0.02 px, no unflagged flank off by over 0.3 px. The bias "
            "is that of the worst gear, positive out of the material; a cumulative pitch is taken "
            "about the mean of its side.\n",
            table(HEAD, rows),
        ],
    )


if __name__ == "__main__":
    main()
