"""The two traced pictures among the samples: small ones of looks beyond the set."""

import json
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tests.benchmarks import traced_sensor
from tests.benchmarks.traced_gear import Flanks, flanks_about, outline, thickness_mm
from tests.benchmarks.traced_look import Camera, Look, look
from tests.benchmarks.traced_render import light_of, seen_of, start_mitsuba

Floats = NDArray[np.float64]

SAMPLES = {"saturn-wheel-m07-45-on-paper": 103, "uranus-wheel-m06-41-on-wood": 87}
"""Names of the orrery, and the numbers of their looks."""

SIDE_PX = 1000
"""Of a sample, so that it stays small."""


def samples() -> list[Look]:
    """The samples' looks: small, and with no profile shift to be told.

    Returns
    -------
    list of Look
    """
    return [_sample(name, look(number)) for name, number in SAMPLES.items()]


def _sample(name: str, drawn: Look) -> Look:
    plain = replace(drawn.gear, profile_shift=0.0, corner=0.38)
    smaller = (plain.tip_radius_mm / drawn.gear.tip_radius_mm) * drawn.camera.height_px / SIDE_PX
    return replace(
        drawn,
        name=name,
        gear=plain,
        camera=_shrunk(drawn.camera, smaller),
        sensor=replace(drawn.sensor, jpeg_quality=90),
    )


def _shrunk(camera: Camera, times: float) -> Camera:
    return replace(
        camera,
        width_px=SIDE_PX,
        height_px=SIDE_PX,
        um_per_px=round(camera.um_per_px * times * 1.02, 2),
        gear_px=(SIDE_PX / 2 + 3.3, SIDE_PX / 2 - 2.6),
        foot_px=(int(camera.foot_px[0] / times), int(camera.foot_px[1] / times)),
    )


def sample_truth(wanted: Look) -> dict[str, Any]:
    """Truth of a sample by the names and definitions of a reading.

    Parameters
    ----------
    wanted : Look

    Returns
    -------
    dict
    """
    gear, camera = wanted.gear, wanted.camera
    body, radius = outline(gear), gear.reference_radius_mm
    axes = {"about_bore": (0.0, 0.0), "about_teeth": gear.teeth_axis_mm}
    tables = {name: flanks_about(body, axis, radius) for name, axis in axes.items()}
    return {
        "about": f"Path-traced: {wanted.finish.material} on {wanted.place.ground}, "
        f"{wanted.place.light}; gap shifts and widenings as listed.",
        "picture": {
            "file": f"{wanted.name}.jpg",
            "width_px": camera.width_px,
            "height_px": camera.height_px,
            "mm_per_px": camera.um_per_px / 1000,
            **seen_of(wanted, tables["about_teeth"]),
        },
        "gear": {
            "teeth": gear.teeth,
            "module_mm": gear.module_mm,
            "pressure_angle_deg": gear.pressure_angle_deg,
            "bore_diameter_mm": gear.bore_mm,
            "tip_diameter_mm": round(2 * gear.tip_radius_mm, 6),
            "thickness_mm": wanted.body.thickness_mm,
            "chamfer_mm": wanted.body.chamfer_mm,
            "lean_deg": camera.lean_deg,
        },
        "made_eccentricity_um": round(gear.offset_um, 3),
        "made_eccentricity_direction_deg": round(gear.offset_deg, 3),
        "gap_shift_um": np.round(gear.gap_shift_um, 3).tolist(),
        "gap_widening_um": np.round(gear.gap_widening_um, 3).tolist(),
        **{name: _table(flanks, radius) for name, flanks in tables.items()},
    }


def _table(flanks: Flanks, radius: float) -> dict[str, Any]:
    """Teeth in their order from twelve o'clock, with pitches and thickness."""
    left = flanks.left_deg
    right = np.array([flanks.right_deg[np.argmin((flanks.right_deg - a) % 360)] for a in left])
    centre = (left + (right - left) % 360 / 2 + 90) % 360 - 90
    first = np.argsort((centre + 90) % 360)
    sides = [list(_pitches(side[first], radius)) for side in (left, right)]
    thick = np.radians((right - left) % 360)[first] * radius
    teeth = [
        {
            "number": k + 1,
            "centre_deg": round(float(centre[first][k]), 6),
            "left": sides[0][k],
            "right": sides[1][k],
            "thickness_mm": round(float(thick[k]), 6),
        }
        for k in range(len(left))
    ]
    return {"teeth": teeth, "thickness_mean_mm": round(thickness_mm(flanks, radius), 6)}


def _pitches(angle: Floats, radius: float) -> Iterable[dict[str, float]]:
    step = (angle - np.roll(angle, 1) + 180) % 360 - 180 - 360 / len(angle)
    single = np.radians(step) * radius * 1000
    whole = np.cumsum(single) - single[0]
    for a, f, s in zip(angle, single, whole, strict=True):
        yield {
            "position_deg": round(float((a + 180) % 360 - 180), 7),
            "single_pitch_um": round(float(f), 4),
            "cumulative_pitch_um": round(float(s), 4),
        }


def make_samples(folder: Path, paths: int, variant: str | None = None) -> None:
    """Render the samples and write their truth.

    Parameters
    ----------
    folder : Path
        The samples'.
    paths : int
        For a pixel.
    variant : str, optional
        Of Mitsuba.
    """
    mi = start_mitsuba(variant)
    (folder / "truth").mkdir(parents=True, exist_ok=True)
    for one in samples():
        traced_sensor.save(light_of(mi, one, paths), one, folder / f"{one.name}.jpg")
        text = json.dumps(sample_truth(one), indent=1) + "\n"
        (folder / "truth" / f"{one.name}.json").write_text(text, encoding="utf-8")
