"""Writes simulated pictures and their truth to files."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from cogloupe.inputs.settings import SETTINGS_FILE
from cogloupe.inputs.toml_file import read_toml, save_toml
from cogloupe.simulation.picture import Picture, render_scene
from cogloupe.simulation.scene import Scene, load_scene
from cogloupe_calibration.errors import UseError

_ORIENTATION_TAG = 0x0112
"""EXIF 2.3 (from memory)."""
# How an upright picture is turned so that its EXIF orientation turns it back.
_TURNED = {
    3: Image.Transpose.ROTATE_180,
    6: Image.Transpose.ROTATE_90,
    8: Image.Transpose.ROTATE_270,
}
OTHER_SCALES = ("calibration", "known_tip_diameter", "known_bore")
"""Settings that give a scale: beside one of them another is refused when the picture is read."""


def simulate(scenes: Sequence[tuple[str, Scene]], out_dir: Path) -> tuple[Path, ...]:
    """Render named scenes, and write each picture and its truth; gives the pictures.

    Parameters
    ----------
    scenes : sequence of (str, Scene)
        Name of the picture without its ending, and the scene.
    out_dir : Path
        Folder for ``NAME.jpg`` (or png, tiff) and ``truth/NAME.json``; made if not there. What is
        known of each gear goes into its ``gear.toml``, so that the pictures can be read at once.

    Raises
    ------
    UseError
        Where a gear cannot be made or a file cannot be written.
    """
    return tuple(_write_one(name, scene, out_dir) for name, scene in scenes)


def stated_fields(scene: Scene) -> dict[str, object]:
    """What a person would know of the gear and its picture, as gear.toml says it."""
    gear = scene.gear
    said: dict[str, object] = {"teeth": gear.teeth}
    if gear.form != "straight":
        said |= {"dp": gear.dp} if gear.dp is not None else {"module_mm": gear.module_mm}
    if gear.form == "involute":
        said["pressure_angle_deg"] = gear.pressure_angle_deg
        said |= {"rack": gear.rack} if gear.rack is not None else {}
    else:
        said["form"] = gear.form
    for name in ("generating_circle", "addendum_radius"):
        size = getattr(gear, f"{name}_mm")
        said |= {name: f"{size:g}mm"} if size is not None else {}
    return said | {"scale_um_per_px": round(1000 * scene.camera.mm_per_px, 6)}


def simulate_files(scene_files: Sequence[Path], out_dir: Path) -> tuple[Path, ...]:
    """Render scenes from their TOML files, each named as its file; gives the pictures.

    Raises
    ------
    UseError
        Where a scene cannot be read, a gear cannot be made or a file cannot be written.
    """
    return simulate([(path.stem, load_scene(path)) for path in scene_files], out_dir)


def _write_one(name: str, scene: Scene, out_dir: Path) -> Path:
    picture = out_dir / f"{name}.{scene.format}"
    made = render_scene(scene, picture.name)
    truth = out_dir / "truth" / f"{name}.json"
    try:
        truth.parent.mkdir(parents=True, exist_ok=True)
        write_picture(made.image, scene, picture)
        truth.write_text(made.truth.model_dump_json(indent=1) + "\n", encoding="utf-8")
        _state(out_dir / SETTINGS_FILE, stated_fields(scene), picture.name)
    except OSError as error:
        raise UseError(f"{out_dir} cannot be written to: {error}") from error
    return picture


def write_picture(image: Picture, scene: Scene, path: Path) -> None:
    """Write a picture as its scene asks.

    Raises
    ------
    UseError
        Where a colour picture of 16 bits is asked for.
    OSError
        Where the file cannot be written.
    """
    if image.dtype == np.uint16 and image.ndim == 3:
        raise UseError(
            "a colour picture of 16 bits cannot be written: use bits = 8, or a grey look"
        )
    turn = _TURNED.get(scene.camera.exif_orientation)
    picture = Image.fromarray(image)
    stored = picture if turn is None else picture.transpose(turn)
    exif = Image.Exif()
    if turn is not None:
        exif[_ORIENTATION_TAG] = scene.camera.exif_orientation
    stored.save(path, exif=exif, **_options(scene))


def _options(scene: Scene) -> dict[str, Any]:
    """How each format is compressed."""
    if scene.format == "jpg":
        return {"quality": scene.camera.jpeg_quality, "subsampling": 0, "optimize": True}
    return {"optimize": True} if scene.format == "png" else {"compression": "tiff_deflate"}


def _state(settings: Path, fields: dict[str, object], picture: str) -> None:
    """Put what is known of a picture into its folder's settings, which may have a scale of it."""
    told = read_toml(settings).get("photo", {}) if settings.exists() else {}
    if any(name in told.get(picture, {}) for name in OTHER_SCALES):
        fields.pop("scale_um_per_px")
    save_toml(settings, fields, picture)
