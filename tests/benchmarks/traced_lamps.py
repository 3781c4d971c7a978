"""The room and the lamps of a look, for Mitsuba 3."""

from math import cos, hypot, pi, radians, sin
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely.affinity import translate
from tests.benchmarks.traced_look import Look
from tests.benchmarks.traced_materials import rgb
from tests.benchmarks.traced_solids import disc, flat, write_mesh
from tests.benchmarks.traced_view import View, field_mm

Floats = NDArray[np.float64]


def lamps(mi: Any, look: Look, view: View, folder: Path) -> dict[str, Any]:
    """All that shines.

    Parameters
    ----------
    mi : module
        Mitsuba with its variant set.
    look : Look
    view : View
    folder : Path
        For meshes.

    Returns
    -------
    dict
        Parts of a scene.
    """
    place = look.place
    room = _room(mi, look)
    if place.light in {"back", "overcast"}:
        return {"room": room}
    made = {
        "ring": _ring,
        "side lamp": _side,
        "window": _window,
        "flash": _flash,
        "two lamps": _two,
    }
    return {"room": room} | made[place.light](mi, look, view, folder)


def _room(mi: Any, look: Look) -> dict[str, Any]:
    """Ceiling, walls with lighter and darker parts, floor; all that shines on a metal face."""
    rng = np.random.default_rng([look.number, 4])
    high = np.linspace(1, -1, 32)[:, None]
    base = np.where(high > 0, 0.5 + 0.5 * high, 0.25) * np.ones((32, 64))
    blobs = rng.uniform(0.5, 1.5, (6, 8)).repeat(6, axis=0).repeat(8, axis=1)[:32, :64]
    level = 1.0 if look.place.light == "overcast" else look.place.room
    values = (level * base * blobs)[..., None] * np.ones(3)
    bitmap = mi.Bitmap(np.ascontiguousarray(values, dtype=np.float32))
    upright = mi.ScalarTransform4f().rotate([1, 0, 0], 90)
    return {"type": "envmap", "bitmap": bitmap, "to_world": upright}


def _radiance(look: Look, area: float, distance: float, sine: float) -> dict[str, Any]:
    """Of a lamp turned to the gear, so that it lights the face as much as a white room would."""
    level = pi * distance**2 / (area * max(sine, 0.2))
    return {"type": "area", "radiance": rgb(level * np.array(look.place.lamp_colour))}


def _toward(look: Look, distance: float, turn_deg: float = 0.0) -> tuple[Floats, float]:
    high = radians(look.place.lamp_elevation_deg)
    about = -radians(look.place.lamp_azimuth_deg + turn_deg)
    way = np.array([cos(high) * cos(about), cos(high) * sin(about), sin(high)])
    return way * distance, float(sin(high))


def _side(mi: Any, look: Look, view: View, folder: Path, turn: float = 0.0) -> dict[str, Any]:
    """A bulb or a small shade at a hand's breadth or two."""
    distance = 140 + 6 * look.gear.tip_radius_mm
    at, sine = _toward(look, distance, turn)
    radius = max(look.place.lamp_size * distance / 2, 4.0)
    emitter = _radiance(look, pi * radius**2, distance, sine)
    return {f"lamp{turn:.0f}": _ball(view.gear + at, radius, emitter)}


def _ball(at: Floats, radius: float, emitter: dict[str, Any]) -> dict[str, Any]:
    centre = [float(c) for c in at]
    return {"type": "sphere", "center": centre, "radius": float(radius), "emitter": emitter}


def _two(mi: Any, look: Look, view: View, folder: Path) -> dict[str, Any]:
    return _side(mi, look, view, folder) | _side(mi, look, view, folder, 150.0)


def _window(mi: Any, look: Look, view: View, folder: Path) -> dict[str, Any]:
    distance, half = 900.0, 350.0
    at, sine = _toward(look, distance)
    frame = mi.ScalarTransform4f().look_at(
        origin=[float(c) for c in view.gear + at], target=list(view.gear), up=[0, 0, 1]
    )
    emitter = _radiance(look, 4 * half**2, distance, sine)
    wide = mi.ScalarTransform4f().scale([half, half, 1])
    return {"lamp": {"type": "rectangle", "to_world": frame @ wide, "emitter": emitter}}


def _flash(mi: Any, look: Look, view: View, folder: Path) -> dict[str, Any]:
    """A phone's own lamp, a finger's breadth beside its lens."""
    about, radius = radians(look.place.lamp_azimuth_deg), 2.5
    beside = 14.0 if look.camera.distance_mm else 0.6 * field_mm(look.camera)
    at = view.eye + beside * np.array([cos(about), sin(about), 0]) + [0, 0, -1]
    emitter = _radiance(look, pi * radius**2, view.height, 1.0)
    return {"lamp": _ball(at, radius, emitter)}


def _ring(mi: Any, look: Look, view: View, folder: Path) -> dict[str, Any]:
    """A ring of light round the lens, its dark middle as wide as what is in sight."""
    seen = 0.8 * max(look.camera.width_px, look.camera.height_px) * view.scale
    high = min(0.75 * view.height, 40 + 2.5 * look.gear.tip_radius_mm)
    inner, outer = seen + 4, seen + 4 + max(10.0, 60 * look.place.lamp_size)
    shape = translate(disc(outer).difference(disc(inner)), *view.gear[:2])
    distance = hypot(high, (inner + outer) / 2)
    emitter = _radiance(look, shape.area, distance, (high / distance) ** 2)
    path = write_mesh(folder / "ring.ply", flat(shape, high)[:, ::-1], 1.0, (0, 0))
    return {"lamp": {"type": "ply", "filename": path, "face_normals": True, "emitter": emitter}}
