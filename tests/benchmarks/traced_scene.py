"""From a look to a scene for Mitsuba 3: the gear, the ground, what lies beside."""

from math import degrees, hypot
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.affinity import rotate, translate
from tests.benchmarks import traced_textures as textures
from tests.benchmarks.traced_gear import CutGear, bore_of, outline
from tests.benchmarks.traced_lamps import lamps
from tests.benchmarks.traced_look import METALS, Finish, Look
from tests.benchmarks.traced_materials import base, materials, mesh, rgb, texture
from tests.benchmarks.traced_solids import disc, edge_steps, gear_solids, solid, write_mesh
from tests.benchmarks.traced_view import View, field_mm

Floats = NDArray[np.float64]


def build(mi: Any, look: Look, folder: Path, samples: int, seed: int = 0) -> dict[str, Any]:
    """The scene of a look.

    Parameters
    ----------
    mi : module
        Mitsuba with its variant set.
    look : Look
    folder : Path
        For the meshes.
    samples, seed : int

    Returns
    -------
    dict
        For ``mi.load_dict``.
    """
    view = View(look.camera)
    scene: dict[str, Any] = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": 6, "hide_emitters": False},
        "sensor": view.sensor(mi, samples, seed),
    }
    scene |= _gear(mi, look, view, folder)
    scene |= _ground(mi, look, view)
    scene |= _beside(look, view, folder)
    return scene | lamps(mi, look, view, folder)


def _gear(mi: Any, look: Look, view: View, folder: Path) -> dict[str, Any]:
    side = 2.02 * look.gear.tip_radius_mm
    on_face, on_wall = materials(mi, look, side)
    steps = edge_steps(look.body.chamfer_mm, look.body.rounded)
    x, y = view.gear[:2]
    shapes = {}
    for k, (shape, top, bottom) in enumerate(gear_solids(look, outline(look.gear))):
        made = solid(translate(shape, x, y), top, bottom, steps)
        for name, corners, bsdf in (("face", made.face, on_face), ("wall", made.wall, on_wall)):
            path = write_mesh(folder / f"{name}{k}.ply", corners, side, (x, y))
            shapes[f"gear_{name}{k}"] = mesh(path, bsdf)
    return shapes


def _ground(mi: Any, look: Look, view: View) -> dict[str, Any]:
    place, side = look.place, field_mm(look.camera)
    level = -look.body.thickness_mm - place.raised_mm
    rng = np.random.default_rng([look.number, 2])
    seen = textures.ground(rng, place.ground, place.ground_colour, textures.SIDE / side)
    middle = _middle(view)
    lie = mi.ScalarTransform4f().translate([*middle, level]).scale([side / 2, side / 2, 1])
    sheet: dict[str, Any] = {"type": "rectangle", "to_world": lie}
    if place.ground == "lamp":
        sheet["lamp"] = {"type": "area", "radiance": texture(mi, seen)}
        return {"ground": sheet}
    diffuse = {"type": "diffuse", "reflectance": texture(mi, seen)}
    shiny = {"type": "roughconductor", "material": "none", "alpha": 0.35,
             "specular_reflectance": texture(mi, seen)}  # fmt: skip
    sheet["bsdf"] = {"type": "twosided", "b": shiny if place.ground == "metal plate" else diffuse}
    table = mi.ScalarTransform4f().translate([*middle, level - 0.3]).scale([900, 900, 1])
    plain = {"type": "diffuse", "reflectance": rgb(seen.mean(axis=(0, 1)))}
    return {"ground": sheet, "table": {"type": "rectangle", "to_world": table, "bsdf": plain}}


def _middle(view: View) -> list[float]:
    """Point of the upper face's plane at the frame's middle."""
    camera = view.camera
    return [-camera.foot_px[0] * view.scale, camera.foot_px[1] * view.scale]


def _beside(look: Look, view: View, folder: Path) -> dict[str, Any]:
    """Something else of the workshop, in the frame's corner that has most room."""
    if look.place.beside == "nothing":
        return {}
    rng = np.random.default_rng([look.number, 3])
    shape, thick, finish = _thing(rng, look)
    towards = _emptiest(view)
    level = -look.body.thickness_mm - look.place.raised_mm
    farther = (view.height - level) / view.height if look.camera.distance_mm else 1.0
    reach = (look.gear.tip_radius_mm + 0.04 * look.camera.height_px * view.scale) * farther
    size = np.hypot(*np.array(shape.exterior.coords).T).max()
    if look.place.beside == "ruler":
        size = 0.0
        shape = rotate(shape, degrees(np.arctan2(towards[1], towards[0])), origin=(0, 0))
    at = view.gear[:2] * farther + towards * (reach + size)
    made = solid(translate(shape, *at), level + thick, level + 0.01, edge_steps(0.1, False))
    bsdf = {"type": "twosided", "b": base(finish, rgb(finish.colour))}
    both = np.concatenate([made.face, made.wall])
    return {"beside": mesh(write_mesh(folder / "beside.ply", both, 1.0, (0, 0)), bsdf)}


def _emptiest(view: View) -> Floats:
    """Direction to the frame's corner farthest from the gear."""
    camera = view.camera
    wide, high = camera.width_px - 1, camera.height_px - 1
    corners = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], float)
    far = corners - camera.gear_px
    best = far[np.hypot(*far.T).argmax()] * [1, -1]
    return np.asarray(best / hypot(*best))


def _thing(rng: np.random.Generator, look: Look) -> tuple[Polygon, float, Finish]:
    radius, gear = look.gear.tip_radius_mm, look.gear
    steel = Finish(
        **{**vars(look.finish), "metal": True, "colour": METALS["steel"], "roughness": 0.25}
    )
    if look.place.beside == "washer":
        size = rng.uniform(0.15, 0.4) * radius
        return disc(size).difference(disc(size * 0.5)), 0.15 * size, steel
    if look.place.beside == "gear":
        teeth = int(rng.integers(10, max(12, gear.teeth)))
        other = CutGear(**{**vars(gear), "teeth": teeth, "gap_shift_um": (0.0,) * teeth,
                           "gap_widening_um": (0.0,) * teeth, "offset_um": 0.0,
                           "profile_shift": 0.3, "bore_mm": gear.module_mm * 3})  # fmt: skip
        return outline(other).difference(bore_of(other)), look.body.thickness_mm, look.finish
    wide = 0.5 * radius
    return shapely.box(0, -4 * radius, wide, 4 * radius), 0.6, steel
