"""From a look to a scene for Mitsuba 3: solids, materials, grounds, lamps, the camera.

The world's origin is on the picture's middle at the height of the gear's upper face; x to the right,
y up, z towards the camera; millimetres.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import atan, cos, degrees, hypot, pi, radians, sin
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.affinity import rotate, translate

from tests.benchmarks import traced_textures as textures
from tests.benchmarks.traced_gear import CutGear, bore_of, outline
from tests.benchmarks.traced_look import METALS, Body, Camera, Finish, Look

Floats = NDArray[np.float64]

PARALLEL_MM = 400.0
"""Height of a camera that sees in parallel: anything above the lamps does."""

ROUND_STEPS = 5
"""Flats that a rounded edge is made of."""


def gear_solids(look: Look, toothed: Polygon) -> list[tuple[Polygon, float, float]]:
    """What the gear is made of: outlines about its bore, with the heights of top and bottom.

    Parameters
    ----------
    look : Look
    toothed : shapely.Polygon

    Returns
    -------
    list of (Polygon, float, float)
    """
    body, gear = look.body, look.gear
    hole, low = _hole(gear, body), -body.thickness_mm
    whole = toothed.difference(hole)
    if body.windows:
        whole = whole.difference(shapely.union_all(list(_windows(gear, body))))
    if body.boss_mm:
        boss = _disc(body.boss_mm / 2).difference(hole)
        return [(whole, 0.0, low), (boss, body.boss_high_mm, -0.5)]
    if body.recess_mm:
        return _recessed(whole, gear, body)
    return [(whole, 0.0, low)]


def _recessed(whole: Polygon, gear: CutGear, body: Body) -> list[tuple[Polygon, float, float]]:
    outer, hub = _web(gear)
    rim, web = whole.difference(_disc(outer)), whole.intersection(_disc(outer + 0.02))
    low = -body.thickness_mm
    middle = [(whole.intersection(_disc(hub)), 0.0, low)]
    return [(rim, 0.0, low), (web, -body.recess_mm, low + body.recess_mm / 2), *middle]


def _web(gear: CutGear) -> tuple[float, float]:
    """Radii between which the web lies."""
    hub = gear.bore_mm / 2 + max(1.5 * gear.module_mm, 0.6)
    return gear.floor_radius_mm - 2 * gear.module_mm, hub


def _disc(radius: float) -> Polygon:
    return shapely.Point(0, 0).buffer(radius, quad_segs=128)


def _hole(gear: CutGear, body: Body) -> Polygon:
    bore = bore_of(gear)
    if not body.keyway:
        return bore
    wide = gear.bore_mm / 8
    key = shapely.box(-wide, 0, wide, gear.bore_mm / 2 * 1.3)
    return bore.union(rotate(key, gear.first_gap_deg * 7, origin=(0, 0)))


def _windows(gear: CutGear, body: Body) -> Iterable[Polygon]:
    outer, hub = _web(gear)
    middle, wide = (outer + hub) / 2, (outer - hub)
    for k in range(body.windows):
        turn = gear.first_gap_deg + 360 * k / body.windows
        if body.round_windows:
            room = min(0.38 * wide, 0.75 * middle * sin(pi / body.windows))
            one = translate(_disc(room), middle, 0)
        else:
            spoke = 1.2 * gear.module_mm + 0.12 * wide
            one = _sector(hub, outer, pi / body.windows).buffer(-spoke / 2).buffer(spoke / 4)
        yield rotate(one, turn, origin=(0, 0))


def _sector(inner: float, outer: float, half: float) -> Polygon:
    angle = np.linspace(-half, half, 90)
    arcs = [(r * np.cos(a), r * np.sin(a)) for r, a in ((outer, angle), (inner, angle[::-1]))]
    return Polygon(np.concatenate([np.column_stack(arc) for arc in arcs]))


def edge_steps(chamfer: float, rounded: bool) -> list[tuple[float, float]]:
    """Inset and depth of the rings that an edge is made of, from the face down.

    Parameters
    ----------
    chamfer : float
    rounded : bool

    Returns
    -------
    list of (float, float)
    """
    if chamfer == 0:
        return [(0.0, 0.0)]
    if not rounded:
        return [(chamfer, 0.0), (0.0, chamfer)]
    turns = np.linspace(0, pi / 2, ROUND_STEPS + 1)
    return [(chamfer * (1 - sin(t)), chamfer * (1 - cos(t))) for t in turns]


@dataclass(frozen=True)
class Triangles:
    """Corners of triangles, shape (n, 3, 3), apart for what is finished apart."""

    face: Floats
    wall: Floats


def solid(shape: Polygon, top: float, bottom: float, steps: list[tuple[float, float]]) -> Triangles:
    """Close a solid: faces, broken edges and walls.

    Parameters
    ----------
    shape : shapely.Polygon
        The outermost outline, below the upper edge's break.
    top, bottom : float
    steps : list of (float, float)
        See ``edge_steps``.

    Returns
    -------
    Triangles
    """
    rings = [(shape if not inset else shape.buffer(-inset, join_style="mitre"), deep) for inset, deep in steps]
    face = _flat(rings[0][0], top)
    walls = [_flat(rings[0][0], bottom)[:, ::-1]]
    for (inner, high), (outer, low) in zip(rings[:-1], rings[1:], strict=True):
        walls.append(_slope(inner, outer, top - high, top - low))
        walls.append(_slope(inner, outer, bottom + high, bottom + low)[:, ::-1])
    walls.append(_upright(shape, bottom + rings[-1][1], top - rings[-1][1]))
    return Triangles(face, np.concatenate(walls))


def _flat(shape: Any, height: float) -> Floats:
    """Triangles of a flat face, seen anticlockwise from above."""
    parts = shapely.get_parts(shapely.constrained_delaunay_triangles(shape))
    corners = shapely.get_coordinates(shapely.orient_polygons(parts)).reshape(-1, 4, 2)[:, :3]
    return np.dstack([corners, np.full(corners.shape[:2], height)])


def _slope(inner: Any, outer: Any, high: float, low: float) -> Floats:
    """Band between an outline and the one inside it, which lies at another height."""
    inside = {tuple(p) for p in shapely.get_coordinates(inner)}
    flat = _flat(outer.difference(inner), low)
    level = [[high if tuple(p[:2]) in inside else low for p in corners] for corners in flat]
    flat[..., 2] = level
    return flat


def _upright(shape: Any, bottom: float, top: float) -> Floats:
    """Walls round an outline and its holes."""
    walls = []
    for part in shapely.get_parts(shapely.orient_polygons(shape)):
        for ring in (part.exterior, *part.interiors):
            a, b = np.array(ring.coords)[:-1], np.array(ring.coords)[1:]
            low, high = np.full((len(a), 1), bottom), np.full((len(a), 1), top)
            a0, b0, a1, b1 = (np.hstack(p) for p in ((a, low), (b, low), (a, high), (b, high)))
            walls += [np.stack([a0, b0, b1], axis=1), np.stack([a0, b1, a1], axis=1)]
    return np.concatenate(walls)


def write_mesh(path: Path, corners: Floats, side: float, middle: tuple[float, float]) -> str:
    """Write triangles as a PLY file whose texture covers a square.

    Parameters
    ----------
    path : Path
    corners : ndarray, shape (n, 3, 3)
    side : float
        Of the square.
    middle : tuple of float

    Returns
    -------
    str
        The path.
    """
    points = corners.reshape(-1, 3)
    uv = (points[:, :2] - middle) / side + 0.5
    names = ("x", "y", "z", "u", "v")
    head = ["ply", "format binary_little_endian 1.0", f"element vertex {len(points)}"]
    head += [f"property float {name}" for name in names]
    head += [f"element face {len(points) // 3}", "property list uchar int vertex_index", "end_header\n"]
    faces = np.zeros(len(points) // 3, dtype=[("n", "u1"), ("v", "<i4", 3)])
    faces["n"], faces["v"] = 3, np.arange(len(points)).reshape(-1, 3)
    vertices = np.hstack([points, uv]).astype("<f4")
    path.write_bytes("\n".join(head).encode() + vertices.tobytes() + faces.tobytes())
    return str(path)


class View:
    """The camera as numbers: where a point of the world falls on the picture.

    Parameters
    ----------
    camera : Camera
    """

    def __init__(self, camera: Camera):
        self.camera = camera
        self.scale = camera.um_per_px / 1000
        self.height = camera.distance_mm or PARALLEL_MM
        lean, towards = radians(camera.lean_deg), -radians(camera.lean_towards_deg)
        axis = np.array([-sin(towards), cos(towards), 0.0])
        cross = np.cross(np.eye(3), axis)
        self.turn = np.eye(3) - sin(lean) * cross + (1 - cos(lean)) * cross @ cross
        x, y = camera.gear_px
        self.foot = np.array(
            [camera.width_px / 2 + camera.foot_px[0], camera.height_px / 2 + camera.foot_px[1]]
        )
        self.gear = np.array([(x - self.foot[0]) * self.scale, (self.foot[1] - y) * self.scale, 0.0])
        self.eye = self.turn @ (np.array([0, 0, self.height]) - self.gear) + self.gear

    def to_px(self, points: Floats) -> Floats:
        """Project points.

        Parameters
        ----------
        points : ndarray, shape (n, 3)

        Returns
        -------
        ndarray, shape (n, 2)
            Px, the first pixel's centre at (0, 0).
        """
        seen = (points - self.eye) @ self.turn
        deep = -seen[:, 2] / self.height if self.camera.distance_mm else np.ones(len(seen))
        flat = seen[:, :2] / deep[:, None] / self.scale
        return self.foot - 0.5 + flat * [1, -1]

    def sensor(self, mi: Any, samples: int, seed: int) -> dict[str, Any]:
        """The same for Mitsuba.

        Parameters
        ----------
        mi : module
        samples, seed : int

        Returns
        -------
        dict
        """
        camera = self.camera
        half = int(max(*self.foot, camera.width_px - self.foot[0], camera.height_px - self.foot[1])) + 1
        film = {
            "type": "hdrfilm", "width": 2 * half, "height": 2 * half, "pixel_format": "rgb",
            "component_format": "float32", "rfilter": {"type": "box"},
            "crop_offset_x": int(half - self.foot[0]), "crop_offset_y": int(half - self.foot[1]),
            "crop_width": camera.width_px, "crop_height": camera.height_px,
        }  # fmt: skip
        frame = mi.ScalarTransform4f().look_at(
            origin=list(self.eye),
            target=list(self.eye - self.turn[:, 2]),
            up=list(self.turn[:, 1]),
        )
        sampler = {"type": "independent", "sample_count": samples, "seed": seed}
        shared = {"film": film, "sampler": sampler, "near_clip": 1.0, "far_clip": 5000.0}
        if not camera.distance_mm:
            wide = mi.ScalarTransform4f().scale([half * self.scale, half * self.scale, 1])
            return {"type": "orthographic", "to_world": frame @ wide, **shared}
        return {
            "type": "thinlens", "to_world": frame, "fov_axis": "x",
            "fov": degrees(2 * atan(half * self.scale / self.height)),
            "aperture_radius": max(camera.aperture_mm / 2, 1e-4),
            "focus_distance": self.height - camera.focus_above_mm, **shared,
        }  # fmt: skip


def _texture(mi: Any, values: Floats) -> dict[str, Any]:
    """A texture of plain numbers, mirrored beyond its rim; the array's first row is its top."""
    values = (values if values.ndim == 3 else values[..., None])[::-1]
    bitmap = mi.Bitmap(np.ascontiguousarray(values, dtype=np.float32))
    return {"type": "bitmap", "bitmap": bitmap, "raw": True, "wrap_mode": "mirror"}


def _rgb(colour: Iterable[float]) -> dict[str, Any]:
    return {"type": "rgb", "value": [float(c) for c in colour]}


def _base(finish: Finish, colour: Any) -> dict[str, Any]:
    if finish.metal:
        return {"type": "roughconductor", "material": "none", "distribution": "ggx",
                "alpha": finish.roughness, "specular_reflectance": colour}  # fmt: skip
    return {"type": "roughplastic", "distribution": "ggx", "alpha": finish.roughness,
            "diffuse_reflectance": colour, "nonlinear": True}  # fmt: skip


def _materials(mi: Any, look: Look, side: float) -> tuple[dict[str, Any], dict[str, Any]]:
    """Of the upper face, with the tool's marks and tarnish, and of walls and edges."""
    finish, rng = look.finish, np.random.default_rng([look.number, 1])
    per_mm = textures.SIDE / side
    stain = textures.stains(rng, finish.stain)[..., None] * np.array(finish.colour)
    face = _base(finish, _texture(mi, stain))
    height = textures.marks(rng, finish.marks, finish.marks_pitch_mm * per_mm, finish.marks_slope)
    if height is not None:
        face = {"type": "bumpmap", "marks": _texture(mi, height / per_mm), "bsdf": face}
    wall = _base(finish, _rgb(finish.colour))
    return {"type": "twosided", "bsdf": face}, {"type": "twosided", "bsdf": wall}


def _mesh(path: str, bsdf: dict[str, Any]) -> dict[str, Any]:
    return {"type": "ply", "filename": path, "face_normals": True, "bsdf": bsdf}


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
    return scene | _lamps(mi, look, view, folder)


def _gear(mi: Any, look: Look, view: View, folder: Path) -> dict[str, Any]:
    side = 2.02 * look.gear.tip_radius_mm
    on_face, on_wall = _materials(mi, look, side)
    steps = edge_steps(look.body.chamfer_mm, look.body.rounded)
    x, y = view.gear[:2]
    shapes = {}
    for k, (shape, top, bottom) in enumerate(gear_solids(look, outline(look.gear))):
        made = solid(translate(shape, x, y), top, bottom, steps)
        for name, corners, bsdf in (("face", made.face, on_face), ("wall", made.wall, on_wall)):
            path = write_mesh(folder / f"{name}{k}.ply", corners, side, (x, y))
            shapes[f"gear_{name}{k}"] = _mesh(path, bsdf)
    return shapes


def field_mm(camera: Camera) -> float:
    """Side of the textured square of ground: the frame with room to spare.

    Parameters
    ----------
    camera : Camera

    Returns
    -------
    float
    """
    return 1.5 * max(camera.width_px, camera.height_px) * camera.um_per_px / 1000


def _ground(mi: Any, look: Look, view: View) -> dict[str, Any]:
    place, side = look.place, field_mm(look.camera)
    level = -look.body.thickness_mm - place.raised_mm
    rng = np.random.default_rng([look.number, 2])
    seen = textures.ground(rng, place.ground, place.ground_colour, textures.SIDE / side)
    middle = _middle(view)
    lie = mi.ScalarTransform4f().translate([*middle, level]).scale([side / 2, side / 2, 1])
    sheet: dict[str, Any] = {"type": "rectangle", "to_world": lie}
    if place.ground == "lamp":
        sheet["lamp"] = {"type": "area", "radiance": _texture(mi, seen)}
        return {"ground": sheet}
    diffuse = {"type": "diffuse", "reflectance": _texture(mi, seen)}
    shiny = {"type": "roughconductor", "material": "none", "alpha": 0.35,
             "specular_reflectance": _texture(mi, seen)}  # fmt: skip
    sheet["bsdf"] = {"type": "twosided", "b": shiny if place.ground == "metal plate" else diffuse}
    table = mi.ScalarTransform4f().translate([*middle, level - 0.3]).scale([900, 900, 1])
    plain = {"type": "diffuse", "reflectance": _rgb(seen.mean(axis=(0, 1)))}
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
    bsdf = {"type": "twosided", "b": _base(finish, _rgb(finish.colour))}
    both = np.concatenate([made.face, made.wall])
    return {"beside": _mesh(write_mesh(folder / "beside.ply", both, 1.0, (0, 0)), bsdf)}


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
    steel = Finish(**{**vars(look.finish), "metal": True, "colour": METALS["steel"], "roughness": 0.25})
    if look.place.beside == "washer":
        size = rng.uniform(0.15, 0.4) * radius
        return _disc(size).difference(_disc(size * 0.5)), 0.15 * size, steel
    if look.place.beside == "gear":
        teeth = int(rng.integers(10, max(12, gear.teeth)))
        other = CutGear(**{**vars(gear), "teeth": teeth, "gap_shift_um": (0.0,) * teeth,
                           "gap_widening_um": (0.0,) * teeth, "offset_um": 0.0,
                           "profile_shift": 0.3, "bore_mm": gear.module_mm * 3})  # fmt: skip
        return outline(other).difference(bore_of(other)), look.body.thickness_mm, look.finish
    wide = 0.5 * radius
    return shapely.box(0, -4 * radius, wide, 4 * radius), 0.6, steel


def _lamps(mi: Any, look: Look, view: View, folder: Path) -> dict[str, Any]:
    place = look.place
    room = _room(mi, look)
    if place.light in {"back", "overcast"}:
        return {"room": room}
    made = {"ring": _ring, "side lamp": _side, "window": _window, "flash": _flash, "two lamps": _two}
    return {"room": room} | made[place.light](mi, look, view, folder)


def _room(mi: Any, look: Look) -> dict[str, Any]:
    """Ceiling, walls with lighter and darker parts, floor; all that shines on a metal face."""
    rng = np.random.default_rng([look.number, 4])
    high = np.linspace(1, -1, 32)[:, None]
    base = np.where(high > 0, 0.5 + 0.5 * high, 0.25) * np.ones((32, 64))
    blobs = rng.uniform(0.5, 1.5, (6, 8)).repeat(6, axis=0).repeat(8, axis=1)[:32, :64]
    level = look.place.room if look.place.light not in {"overcast"} else 1.0
    values = (level * base * blobs)[..., None] * np.array([1.0, 1.0, 1.0])
    bitmap = mi.Bitmap(np.ascontiguousarray(values, dtype=np.float32))
    upright = mi.ScalarTransform4f().rotate([1, 0, 0], 90)
    return {"type": "envmap", "bitmap": bitmap, "to_world": upright}


def _radiance(look: Look, area: float, distance: float, sine: float) -> dict[str, Any]:
    """Of a lamp turned to the gear, so that it lights the face as much as a white room would."""
    level = pi * distance**2 / (area * max(sine, 0.2))
    return {"type": "area", "radiance": _rgb(level * np.array(look.place.lamp_colour))}


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
    centre = [float(c) for c in view.gear + at]
    return {f"lamp{turn:.0f}": {"type": "sphere", "center": centre, "radius": radius, "emitter": emitter}}


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
    return {"lamp": {"type": "sphere", "center": [float(c) for c in at], "radius": radius, "emitter": emitter}}


def _ring(mi: Any, look: Look, view: View, folder: Path) -> dict[str, Any]:
    """A ring of light round the lens, its dark middle as wide as what is in sight."""
    seen = 0.8 * max(look.camera.width_px, look.camera.height_px) * view.scale
    high = min(0.75 * view.height, 40 + 2.5 * look.gear.tip_radius_mm)
    inner, outer = seen + 4, seen + 4 + max(10.0, 60 * look.place.lamp_size)
    shape = translate(_disc(outer).difference(_disc(inner)), *view.gear[:2])
    distance = hypot(high, (inner + outer) / 2)
    emitter = _radiance(look, shape.area, distance, (high / distance) ** 2)
    path = write_mesh(folder / "ring.ply", _flat(shape, high)[:, ::-1], 1.0, (0, 0))
    return {"lamp": {"type": "ply", "filename": path, "face_normals": True, "emitter": emitter}}
