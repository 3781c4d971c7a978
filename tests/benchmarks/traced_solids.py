"""The gear as a solid, and other solids, as triangles for a renderer.

Millimetres; x to the right, y up, z towards the camera, the upper face at 0.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from math import cos, pi, sin
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.affinity import rotate, translate
from tests.benchmarks.traced_gear import CutGear, bore_of
from tests.benchmarks.traced_look import Body, Look

Floats = NDArray[np.float64]

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
        boss = disc(body.boss_mm / 2).difference(hole)
        return [(whole, 0.0, low), (boss, body.boss_high_mm, -0.5)]
    if body.recess_mm:
        return _recessed(whole, gear, body)
    return [(whole, 0.0, low)]


def _recessed(whole: Polygon, gear: CutGear, body: Body) -> list[tuple[Polygon, float, float]]:
    outer, hub = _web(gear)
    rim, web = whole.difference(disc(outer)), whole.intersection(disc(outer + 0.02))
    low = -body.thickness_mm
    middle = [(whole.intersection(disc(hub)), 0.0, low)]
    return [(rim, 0.0, low), (web, -body.recess_mm, low + body.recess_mm / 2), *middle]


def _web(gear: CutGear) -> tuple[float, float]:
    """Radii between which the web lies."""
    hub = gear.bore_mm / 2 + max(1.5 * gear.module_mm, 0.6)
    return gear.floor_radius_mm - 2 * gear.module_mm, hub


def disc(radius: float) -> Polygon:
    """A circle's area.

    Parameters
    ----------
    radius : float

    Returns
    -------
    shapely.Polygon
    """
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
            one = translate(disc(room), middle, 0)
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
    rings = [
        (shape if not inset else shape.buffer(-inset, join_style="mitre"), deep)
        for inset, deep in steps
    ]
    face = flat(rings[0][0], top)
    walls = [flat(rings[0][0], bottom)[:, ::-1]]
    for (inner, high), (outer, low) in pairwise(rings):
        walls.append(_slope(inner, outer, top - high, top - low))
        walls.append(_slope(inner, outer, bottom + high, bottom + low)[:, ::-1])
    walls.append(_upright(shape, bottom + rings[-1][1], top - rings[-1][1]))
    return Triangles(face, np.concatenate(walls))


def flat(shape: Any, height: float) -> Floats:
    """Triangles of a flat face, anticlockwise from above.

    Parameters
    ----------
    shape : shapely.Polygon or MultiPolygon
    height : float

    Returns
    -------
    ndarray, shape (n, 3, 3)
    """
    parts = shapely.get_parts(shapely.constrained_delaunay_triangles(shape))
    corners = shapely.get_coordinates(shapely.orient_polygons(parts)).reshape(-1, 4, 2)[:, :3]
    return np.dstack([corners, np.full(corners.shape[:2], height)])


def _slope(inner: Any, outer: Any, high: float, low: float) -> Floats:
    """Band between an outline and the one inside it, which lies at another height."""
    inside = {tuple(p) for p in shapely.get_coordinates(inner)}
    band = flat(outer.difference(inner), low)
    level = [[high if tuple(p[:2]) in inside else low for p in corners] for corners in band]
    band[..., 2] = level
    return band


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
    head += [
        f"element face {len(points) // 3}",
        "property list uchar int vertex_index",
        "end_header\n",
    ]
    faces = np.zeros(len(points) // 3, dtype=[("n", "u1"), ("v", "<i4", 3)])
    faces["n"], faces["v"] = 3, np.arange(len(points)).reshape(-1, 3)
    vertices = np.hstack([points, uv]).astype("<f4")
    path.write_bytes("\n".join(head).encode() + vertices.tobytes() + faces.tobytes())
    return str(path)
