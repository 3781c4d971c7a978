"""Random pairs of gears with their pictures, and the same gears as they really were made."""

import datetime
from dataclasses import dataclass, replace
from math import hypot, sqrt
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from tests.benchmarks.common import make_case
from tests.benchmarks.coverage_set import DISTORTION_SD, LEAN_SD_DEG, LEVEL_SD, bent
from tests.helpers.pair_gears import exact_reading, made_as_pictured

from cogloupe.inputs.settings import make_settings
from cogloupe.inspection import inspect_photo
from cogloupe.pairing.from_reading import gear_from_reading
from cogloupe.pairing.running_gear import RunningGear
from cogloupe.simulation import Camera, Faults, GearSpec, Scene
from cogloupe_calibration.calibration import Calibration, save_calibration
from cogloupe_calibration.lens import frame_middle, make_lens
from cogloupe_calibration.scale import STATED_RELATIVE_U

MM_PER_PX = 0.01
LARGEST_MM = 13.0
"""Tip diameter that is not passed, so that pictures stay small."""
MODULES = (0.3, 0.4, 0.5, 0.6, 0.8)
FEWEST = 14


@dataclass(frozen=True)
class Pair:
    """Two gears as read from their pictures, and as they were made."""

    seen: tuple[RunningGear, RunningGear]
    made: tuple[RunningGear, RunningGear]


def draw_pair(seed: int, calibrated: bool) -> Pair:
    """Draw two gears of one module, picture and read them.

    Parameters
    ----------
    seed : int
    calibrated : bool
        Through a perfect lens that is known to be perfect, at an exact scale; else through a lens
        and a lean that nobody measured, at a scale as a person states it.

    Returns
    -------
    Pair

    Raises
    ------
    CogloupeError
        Where a picture cannot be read.
    """
    rng = np.random.default_rng([31, seed])
    module = float(rng.choice(MODULES))
    most = int(LARGEST_MM / module - 2)
    stated = 1 + rng.uniform(-1, 1) * sqrt(3) * STATED_RELATIVE_U
    level = rng.normal(0, LEVEL_SD)
    both = []
    for k in range(2):
        scene = _scene(rng, module, int(rng.integers(FEWEST, most + 1)), 2 * seed + k, calibrated)
        both.append(_read(scene, stated, 0.0 if calibrated else level, calibrated))
    (seen_a, made_a), (seen_b, made_b) = both
    return Pair((seen_a, seen_b), (made_a, made_b))


def _scene(
    rng: np.random.Generator, module: float, teeth: int, seed: int, calibrated: bool
) -> Scene:
    tip_px = (teeth + 2) * module / MM_PER_PX
    side = round(tip_px / rng.uniform(0.7, 0.85))
    faults = {
        "pitch_scatter_um": rng.uniform(0.5, 6),
        "flank_scatter_um": rng.uniform(0.3, 3),
        "eccentricity_um": rng.uniform(0, 30),
        "eccentricity_direction_deg": rng.uniform(-180, 180),
        "thinning_um": rng.uniform(0, 50) * module,
        "pressure_angle_error_deg": rng.uniform(-0.3, 0.3),
        "tips_about": rng.choice(["bore", "teeth"]),
    }
    gear = GearSpec(teeth=teeth, module_mm=module, bore_mm=rng.uniform(0.3, 0.5) * teeth * module)
    camera = _camera(rng, side, tip_px, teeth, calibrated)
    return Scene(gear=gear, faults=Faults.model_validate(faults), camera=camera, seed=seed)


def _camera(
    rng: np.random.Generator, side: int, tip_px: float, teeth: int, calibrated: bool
) -> Camera:
    room = max((side - 1.06 * tip_px) / 2 - 12, 0)
    bore = (side - 1) / 2 + rng.uniform(-1, 1, 2) * room
    lean = rng.normal(0, LEAN_SD_DEG, 2)
    view = {
        "distortion": float(np.clip(rng.normal(0, DISTORTION_SD), -0.04, 0.04)),
        "tilt_deg": hypot(*lean),
        "tilt_direction_deg": float(np.degrees(np.arctan2(lean[1], lean[0]))),
        "distance_mm": float(7.1 * side * MM_PER_PX * np.exp(rng.uniform(-0.35, 0.35))),
    }
    plain: dict[str, Any] = {
        "mm_per_px": MM_PER_PX,
        "width_px": side,
        "height_px": side,
        "bore_x_px": bore[0],
        "bore_y_px": bore[1],
        "rotation_deg": rng.uniform(0.2, 0.8) * 360 / teeth,
        "blur_px": rng.uniform(0.8, 2.0),
        "noise": rng.uniform(0.004, 0.02),
        "gamma": rng.choice(["linear", "srgb"]),
        "oversample": 2,
    }
    return Camera.model_validate(plain if calibrated else plain | view)


def _read(
    scene: Scene, stated: float, level: float, calibrated: bool
) -> tuple[RunningGear, RunningGear]:
    """A gear as read from its picture, and as it was made."""
    case = make_case(scene)
    photo = replace(case.photo, pixels=bent(case.photo.pixels, level))
    given: dict[str, object] = {"teeth": scene.gear.teeth, "module_mm": scene.gear.module}
    with TemporaryDirectory() as folder:
        if calibrated:
            given["calibration"] = Path(folder) / "calibration.json"
            frame = frame_middle(photo.width, photo.height)
            known = Calibration(
                mm_per_px=MM_PER_PX, u_mm_per_px=0.0, method="grid", date=datetime.date.today(),
                verdict="good", lens=make_lens(*frame, np.zeros(8), np.zeros((8, 8))),
            )  # fmt: skip
            save_calibration(known, given["calibration"])  # type: ignore[arg-type]
        else:
            given["scale_um_per_px"] = 1000 * MM_PER_PX * stated
        reading = inspect_photo(photo, make_settings(given))[0]
    made = made_as_pictured(scene, 0.02 * MM_PER_PX)
    return gear_from_reading(reading), gear_from_reading(exact_reading(made))
