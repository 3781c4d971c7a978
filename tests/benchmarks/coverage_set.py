"""Random gears, cameras and lenses for the study of coverage, with grids through the same lens."""

from dataclasses import dataclass, replace
from math import hypot, sqrt
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from tests.benchmarks.common import Case, make_case

from cogloupe.inputs.settings import GearSettings, make_settings
from cogloupe.inspection import inspect_photo
from cogloupe.reading.models import Reading
from cogloupe.simulation import Camera, Faults, GearSpec, Scene
from cogloupe.simulation.coverage import area_coverage
from cogloupe.simulation.lens import blurred, finer, pooled, to_level, to_pixels
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.calibration import Calibration, Picture, save_calibration
from cogloupe_calibration.errors import CalibrationError
from cogloupe_calibration.grid import measure_grid
from cogloupe_calibration.grid_scale import GridScale
from cogloupe_calibration.scale import CALIPER_U_MM, STATED_RELATIVE_U

DISTORTION_SD = 0.01
"""Standard deviation of the radial distortion at the frame's corner: "up to 2 %" as two of them."""
LEAN_SD_DEG = 1.0
"""Standard deviation of the lean in each of two directions."""
LEVEL_SD = 0.03
"""Standard deviation of the bend of the camera's grey values half way, as a share of the step."""
GRID_PITCH_PX = 40.0
MOST_BLUR_PX = 3.4
"""Blur that a copy may add, standard deviation; with the picture's own, up to 4 px."""
SMALLEST_DEPTH_PX = 22.0
"""Depth of the smallest teeth; the reading asks for 40 px, and warns below 25."""


@dataclass(frozen=True)
class Drawn:
    """One random case.

    Attributes
    ----------
    case : Case
        Picture, truth, and the settings of a person without a calibration.
    camera : Camera
        As drawn, for a grid through the same lens.
    level : float
        Bend of the grey values half way.
    """

    case: Case
    camera: Camera
    level: float


def draw(seed: int, *, straight: bool = False) -> Drawn:
    """Draw a case.

    Parameters
    ----------
    seed : int
    straight : bool, optional
        No distortion, no lean, no bend of the grey values.

    Returns
    -------
    Drawn
    """
    rng = np.random.default_rng([20, seed])
    scene = _scene(rng, seed, straight)
    level = 0.0 if straight else rng.normal(0, LEVEL_SD)
    case = make_case(scene)
    case = replace(case, photo=replace(case.photo, pixels=bent(case.photo.pixels, level)))
    return Drawn(replace(case, settings=_stated(case, rng)), scene.camera, level)


def _scene(rng: np.random.Generator, seed: int, straight: bool) -> Scene:
    height = int(rng.uniform(720, 1050))
    width = round(height * rng.choice([1.0, 4 / 3, 3 / 2]))
    tip_px = rng.uniform(0.55, 0.8) * height
    most = 2.25 * tip_px / SMALLEST_DEPTH_PX - 2
    teeth = round(float(np.exp(rng.uniform(np.log(10), np.log(most)))))
    module = round(float(np.exp(rng.uniform(np.log(0.3), np.log(2)))), 2)
    mm_per_px = (teeth + 2) * module / tip_px
    faults = {
        "pitch_scatter_um": rng.uniform(0.02, 0.3) * 1000 * mm_per_px,
        "flank_scatter_um": rng.uniform(0.02, 0.15) * 1000 * mm_per_px,
        "eccentricity_um": rng.uniform(0, 2) * 1000 * mm_per_px,
        "eccentricity_direction_deg": rng.uniform(-180, 180),
        "thinning_um": rng.uniform(0, 50) * module,
    }
    return Scene(
        gear=GearSpec(
            teeth=teeth, module_mm=module, bore_mm=rng.uniform(0.25, 0.5) * teeth * module
        ),
        faults=Faults.model_validate(faults),
        camera=_camera(rng, (width, height), tip_px, mm_per_px, teeth, straight),
        seed=seed,
        format=rng.choice(["png", "jpg"]),
    )


def _camera(
    rng: np.random.Generator,
    frame: tuple[int, int],
    tip_px: float,
    mm_per_px: float,
    teeth: int,
    straight: bool,
) -> Camera:
    """Camera with a gear anywhere in the frame; the lens some ten half diagonals away."""
    room = np.maximum((np.array(frame) - 1.06 * tip_px) / 2 - 12, 0)
    bore = (np.array(frame) - 1) / 2 + rng.uniform(-1, 1, 2) * room
    lean = rng.normal(0, LEAN_SD_DEG, 2)
    distance = hypot(*frame) / 2 * mm_per_px * 10 * np.exp(rng.uniform(-0.35, 0.35))
    view = {
        "distortion": float(np.clip(rng.normal(0, DISTORTION_SD), -0.04, 0.04)),
        "tilt_deg": hypot(*lean),
        "tilt_direction_deg": float(np.degrees(np.arctan2(lean[1], lean[0]))),
        "distance_mm": float(distance),
    }
    plain: dict[str, Any] = {
        "mm_per_px": mm_per_px,
        "width_px": frame[0],
        "height_px": frame[1],
        "bore_x_px": bore[0],
        "bore_y_px": bore[1],
        "rotation_deg": rng.uniform(0.2, 0.8) * 360 / teeth,
        "blur_px": rng.uniform(0.8, 2.0),
        "noise": rng.uniform(0.004, 0.02),
        "gamma": rng.choice(["linear", "srgb"]),
        "jpeg_quality": 92,
        "oversample": 2,
    }
    return Camera.model_validate(plain if straight else plain | view)


def bent(pixels: NDArray[Any], level: float) -> NDArray[Any]:
    """Grey values as a camera whose curve rises by a share of the step half way gives them.

    Parameters
    ----------
    pixels : ndarray, shape (h, w), uint8
    level : float

    Returns
    -------
    ndarray, shape (h, w), uint8
    """
    if level == 0:
        return pixels
    # The step of a back-lit gear of the simulation: 40 to 200 of 255.
    share = (pixels.astype(np.float64) - 40) / 160
    bend = np.where((share > 0) & (share < 1), 4 * share * (1 - share), 0.0)
    spread = np.random.default_rng(0).uniform(-0.5, 0.5, pixels.shape)
    bent = pixels + 160 * level * bend + np.where(bend > 0, spread, 0.0)
    return np.clip(np.rint(bent), 0, 255).astype(np.uint8)


def _stated(case: Case, rng: np.random.Generator) -> GearSettings:
    """What a person says who has no calibration: a scale or a gauged diameter, with its error."""
    gear = case.truth.gear
    given: dict[str, object] = {"teeth": gear.teeth, "module_mm": gear.module_mm}
    caliper = rng.uniform(-1, 1) * sqrt(3) * CALIPER_U_MM
    stated = 1 + rng.uniform(-1, 1) * sqrt(3) * STATED_RELATIVE_U
    way = rng.integers(3)
    if way == 0:
        given["scale_um_per_px"] = 1000 * case.truth.picture.mm_per_px * stated
    elif way == 1:
        given["known_tip_diameter"] = f"{gear.tip_diameter_mm + caliper:.6f}mm"
    else:
        given["known_bore"] = f"{gear.bore_diameter_mm + caliper:.6f}mm"
    return make_settings(given)


def copied(case: Case, rng: np.random.Generator) -> Case:
    """A picture as it is handed on: blurred, one in two halved, and stored as JPEG once more.

    Parameters
    ----------
    case : Case
    rng : Generator

    Returns
    -------
    Case
        With the copy's scale in truth and settings.
    """
    photo, halved = case.photo, bool(rng.random() < 0.5)
    pixels = cv2.GaussianBlur(photo.pixels, (0, 0), float(rng.uniform(0.3, MOST_BLUR_PX)))
    if halved:
        pixels = cv2.resize(pixels, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    quality = int(rng.integers(50, 96))
    stored = cv2.imdecode(
        cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, quality])[1], cv2.IMREAD_UNCHANGED
    )
    if not halved:
        return replace(case, photo=replace(photo, pixels=stored))
    picture = case.truth.picture
    picture = picture.model_copy(update={"mm_per_px": 2 * picture.mm_per_px})
    settings = case.settings
    if settings.scale_um_per_px is not None:
        scale = 2 * settings.scale_um_per_px
        settings = settings.model_copy(update={"scale_um_per_px": scale})
    return replace(
        case, photo=replace(photo, pixels=stored), settings=settings,
        truth=case.truth.model_copy(update={"picture": picture}),
    )  # fmt: skip


def photograph_grid(camera: Camera, seed: int, u_pitch_rel: float, level: float = 0.0) -> GridScale:
    """Picture a checkerboard through a camera's lens, and measure it.

    Parameters
    ----------
    camera : Camera
    seed : int
    u_pitch_rel : float
        How far, relatively, the target's pitch, the ratio of its two directions and its right
        angle are off (standard deviation of a rectangular distribution), which the person states.
    level : float, optional
        Bend of the grey values half way.

    Returns
    -------
    GridScale

    Raises
    ------
    CalibrationError
        Where the grid cannot be measured.
    """
    rng = np.random.default_rng([21, seed])
    pitch_mm = GRID_PITCH_PX * camera.mm_per_px
    size, ratio, skew = rng.uniform(-1, 1, 3) * sqrt(3) * u_pitch_rel
    square = np.array([[1 + size + ratio / 2, skew / 2], [skew / 2, 1 + size - ratio / 2]])
    grey = _grid_picture(camera, pitch_mm * square, rng)
    grid = measure_grid(bent(grey, level), pitch_mm, u_pitch_rel=u_pitch_rel)
    if grid.summary.verdict == "take it again":
        raise CalibrationError("; ".join(grid.summary.reasons))
    return grid


def read_calibrated(case: Case, calibration: Calibration) -> Reading:
    """Read a case with a calibration file.

    Parameters
    ----------
    case : Case
    calibration : Calibration

    Returns
    -------
    Reading
    """
    gear = case.truth.gear
    with TemporaryDirectory() as folder:
        path = Path(folder) / "calibration.json"
        save_calibration(calibration, path)
        given = {"teeth": gear.teeth, "module_mm": gear.module_mm, "calibration": path}
        return inspect_photo(case.photo, make_settings(given))[0]


def picture_of(case: Case) -> Picture:
    """What a calibration file says of a picture of the case's frame.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Picture
    """
    photo = case.photo
    return Picture(
        file="grid.png", sha256=photo.sha256, width_px=photo.width, height_px=photo.height
    )


def _grid_picture(camera: Camera, square_mm: Floats, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Checkerboard that fills the frame, turned by some degrees."""
    fine = finer(camera)
    rings = [to_pixels(ring, fine) for ring in _squares(camera, square_mm, rng)]
    # Squares of the border run out of the frame; those wholly outside only cost time.
    size = np.array(fine.shape[::-1])
    seen = [r for r in rings if (r.max(axis=0) > 0).all() and (r.min(axis=0) < size).all()]
    ground = np.array([[-9e4, -9e4], [9e4, -9e4], [9e4, 9e4], [-9e4, 9e4]])
    white = area_coverage(ground, fine.shape, seen)
    white = pooled(blurred(white, fine.blur_px), camera.oversample)
    white = white + rng.normal(0, camera.noise, white.shape)
    dark, bright = 40 / 255, 200 / 255
    return np.rint(255 * to_level(dark + (bright - dark) * white, "linear")).astype(np.uint8)


def _squares(camera: Camera, square_mm: Floats, rng: np.random.Generator) -> list[Floats]:
    """Dark squares, mm about the bore, their sides in six parts so that they may bend."""
    angle = rng.uniform(-0.15, 0.15)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    bore = np.array([camera.bore_x_px, camera.bore_y_px], float)
    middle = ((np.array(camera.shape[::-1]) - 1) / 2 - bore) * camera.mm_per_px
    middle = middle + rng.uniform(-0.5, 0.5, 2) @ square_mm
    t, zero, one = np.arange(6) / 6, np.zeros(6), np.ones(6)
    sides = ((t, zero), (one, t), (1 - t, one), (zero, 1 - t))
    square = np.concatenate([np.stack(side, axis=1) for side in sides])
    half = int(np.ceil(0.6 * hypot(*camera.shape) / GRID_PITCH_PX)) + 1
    return [
        (square + np.array([i, j])) @ square_mm @ turn + middle
        for i in range(-half, half)
        for j in range(-half, half)
        if (i + j) % 2 == 0
    ]
