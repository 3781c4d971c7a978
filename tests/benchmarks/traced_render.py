"""Render looks with Mitsuba 3 and write each picture beside its truth.

Mitsuba is an optional extra (``pip install 'cogloupe[traced]'``). Its scalar variant runs anywhere;
the one that compiles for the processor wants LLVM's library, the fastest an NVIDIA GPU.
"""

import json
from dataclasses import asdict
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon
from tests.benchmarks import traced_sensor
from tests.benchmarks.traced_gear import Flanks, flanks_about, outline, thickness_mm
from tests.benchmarks.traced_look import PARTS, PICTURES, Look, look
from tests.benchmarks.traced_scene import build
from tests.benchmarks.traced_view import View

Floats = NDArray[np.float64]

VARIANTS = ("cuda_ad_rgb", "llvm_ad_rgb", "scalar_rgb")
"""The fastest first."""

PASSES = 8
"""Independent passes a picture: what one of them alone shows is a stray path."""

STRAY = 3.0
"""Times the others' mean that the brightest pass of a pixel may show."""


def start_mitsuba(variant: str | None = None) -> Any:
    """Import Mitsuba and set the fastest variant that works here.

    Parameters
    ----------
    variant : str, optional

    Returns
    -------
    module
    """
    import mitsuba as mi

    for name in [variant] if variant else VARIANTS:
        try:
            mi.set_variant(name)
            mi.render(mi.load_dict(mi.cornell_box()), spp=1).numpy()
        except (ImportError, RuntimeError):
            continue
        return mi
    raise SystemExit(f"Mitsuba has no variant that works here; tried {variant or VARIANTS}")


def light_of(mi: Any, wanted: Look, samples: int) -> Floats:
    """Light on the sensor.

    Parameters
    ----------
    mi : module
    wanted : Look
    samples : int
        Paths for a pixel.

    Returns
    -------
    ndarray, shape (h, w, 3)
    """
    each = max(samples // PASSES, 1)
    with TemporaryDirectory() as folder:
        scene = mi.load_dict(build(mi, wanted, Path(folder), each))
        passes = [np.array(mi.render(scene, spp=each, seed=k), np.float32) for k in range(PASSES)]
    ordered = np.sort(np.stack(passes), axis=0)
    rest = ordered[:-1].mean(axis=0)
    top = np.minimum(ordered[-1], STRAY * rest + 1e-4)
    return np.asarray((rest * (PASSES - 1) + top) / PASSES, float)


def truth_of(wanted: Look, toothed: Polygon) -> dict[str, Any]:
    """What is true of the gear, and where it is seen.

    Parameters
    ----------
    wanted : Look
    toothed : shapely.Polygon

    Returns
    -------
    dict
    """
    gear = wanted.gear
    radius = gear.reference_radius_mm
    about_bore = flanks_about(toothed, (0, 0), radius)
    about_teeth = flanks_about(toothed, gear.teeth_axis_mm, radius)
    return {
        "reference_radius_mm": radius,
        "thickness_mean_mm": round(thickness_mm(about_teeth, radius), 6),
        "about_bore": _angles(about_bore),
        "about_teeth": _angles(about_teeth),
        "seen": seen_of(wanted, about_teeth),
        "look": asdict(wanted),
    }


def _angles(flanks: Flanks) -> dict[str, list[float]]:
    return {
        "right_flanks_deg": np.round(flanks.right_deg, 7).tolist(),
        "left_flanks_deg": np.round(flanks.left_deg, 7).tolist(),
    }


def seen_of(wanted: Look, flanks: Flanks) -> dict[str, Any]:
    """Pixels where the outermost edge's crossings and both rims' centres appear.

    Parameters
    ----------
    wanted : Look
    flanks : Flanks

    Returns
    -------
    dict
    """
    view = View(wanted.camera)

    def px(points: Floats, height: float) -> list[list[float]]:
        world = np.column_stack([points, np.full(len(points), height)]) + view.gear
        return np.round(view.to_px(world), 4).tolist()

    low, body = -wanted.body.chamfer_mm, wanted.body
    middle, axis = np.zeros((1, 2)), np.array([wanted.gear.teeth_axis_mm])
    return {
        "left_flanks_px": px(flanks.left_mm, low),
        "right_flanks_px": px(flanks.right_mm, low),
        "teeth_axis_px": px(axis, low)[0],
        "bore_upper_px": px(middle, 0.0)[0],
        "bore_lower_px": px(middle, -body.thickness_mm)[0],
        "left_rear_out_px": _rear_out(wanted, flanks.left_mm, -1).tolist(),
        "right_rear_out_px": _rear_out(wanted, flanks.right_mm, 1).tolist(),
    }


def _rear_out(wanted: Look, points: Floats, clockwise: int) -> Floats:
    """How far the rear edge stands out beyond the upper one along each flank's normal, px.

    Above 0 the flank's wall is in sight; where it is as dark as the face, no picture tells the two
    edges apart.
    """
    view, deep = View(wanted.camera), wanted.body.thickness_mm - wanted.body.chamfer_mm
    upper, rear = (
        view.to_px(np.column_stack([points, np.full(len(points), -z)]) + view.gear)
        for z in (wanted.body.chamfer_mm, deep)
    )
    outward = points * [1, -1] / np.hypot(*points.T)[:, None]
    along = clockwise * outward[:, ::-1] * [-1, 1]
    slope = np.radians(wanted.gear.pressure_angle_deg)
    normal = np.cos(slope) * along + np.sin(slope) * outward
    return np.round(np.sum((rear - upper) * normal, axis=1), 3)


def known(wanted: Look) -> dict[str, Any]:
    """What a user would say of a picture, and how it was taken.

    Parameters
    ----------
    wanted : Look

    Returns
    -------
    dict
    """
    gear, body, place, camera = wanted.gear, wanted.body, wanted.place, wanted.camera
    return {
        "part": next(name for name, those in PARTS.items() if wanted.number in those),
        "teeth": gear.teeth,
        "module_mm": gear.module_mm,
        "pressure_angle_deg": gear.pressure_angle_deg,
        "profile_shift": gear.profile_shift,
        "bore_mm": gear.bore_mm,
        "scale_um_per_px": camera.um_per_px,
        "light": place.light,
        "camera": f"{camera.distance_mm:g} mm above the face" if camera.distance_mm else "parallel",
        "lean_deg": camera.lean_deg,
        "thickness_mm": body.thickness_mm,
        "chamfer_mm": body.chamfer_mm,
        "material": wanted.finish.material,
        "ground": place.ground,
        "marks": wanted.finish.marks,
        "beside": place.beside,
        "fault": wanted.fault,
    }


def render(numbers: list[int], folder: Path, samples: int, variant: str | None = None) -> None:
    """Make the pictures that a folder lacks.

    Parameters
    ----------
    numbers : list of int
    folder : Path
    samples : int
    variant : str, optional
    """
    (folder / "truth").mkdir(parents=True, exist_ok=True)
    missing = [one for one in map(look, numbers) if not (folder / f"{one.name}.jpg").exists()]
    mi = start_mitsuba(variant) if missing else None
    for one in missing:
        truth = truth_of(one, outline(one.gear))
        traced_sensor.save(light_of(mi, one, samples), one, folder / f"{one.name}.jpg")
        (folder / "truth" / f"{one.name}.json").write_text(json.dumps(truth, indent=1))
        print(one.name, flush=True)
    write_manifest(folder)


def write_manifest(folder: Path) -> None:
    """List the pictures that the folder holds.

    Parameters
    ----------
    folder : Path
    """
    looks = [look(number) for number in range(PICTURES)]
    there = {one.name: known(one) for one in looks if (folder / f"{one.name}.jpg").exists()}
    (folder / "manifest.json").write_text(json.dumps(there, indent=1))
