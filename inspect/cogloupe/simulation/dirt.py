"""Dust and chips of swarf, and which flanks they hide."""

from itertools import pairwise

import numpy as np
import shapely

from cogloupe.simulation.cutting import CutGear, flank_lines, flank_place
from cogloupe.simulation.scene import Camera, Swarf
from cogloupe.simulation.truth import Covered
from cogloupe_calibration.arrays import Floats


def swarf_chip(gear: CutGear, swarf: Swarf, rng: np.random.Generator) -> shapely.Polygon:
    """Curled chip lying against a flank, mm about the bore."""
    point, normal = flank_place(gear, gear.number(swarf.tooth), swarf.side, swarf.height)
    along = np.array([-normal[1], normal[0]])
    share = np.linspace(-0.5, 1, 80)
    curl = rng.uniform(1.6, 2.6)
    out = np.sin(curl * share) / curl * swarf.length_mm * 0.6
    side = (1 - np.cos(curl * share)) / curl * swarf.length_mm
    line = point + out[:, None] * normal + side[:, None] * along
    # A chip tapers towards its end.
    width = swarf.width_mm / 2 * np.linspace(1, 0.45, len(share))
    discs = shapely.buffer(shapely.points(line), width, quad_segs=12)
    hulls = [shapely.convex_hull(shapely.union(a, b)) for a, b in pairwise(discs)]
    return shapely.union_all(hulls)


def dust(camera: Camera, rng: np.random.Generator) -> list[shapely.Polygon]:
    """Specks and short fibres scattered over the frame.

    Millimetres about the bore (lens distortion not undone: dust has no true place).
    """
    frame = np.array([camera.width_px, camera.height_px]) * camera.mm_per_px
    return [_speck(frame, camera.dust_mm, rng) for _ in range(camera.dust)]


def _speck(frame: Floats, size_mm: float, rng: np.random.Generator) -> shapely.Polygon:
    place = (rng.uniform(0, 1, 2) - 0.5) * frame
    size = size_mm * rng.lognormal(-0.4, 0.5)
    if rng.uniform() < 0.25:
        share = np.linspace(0, 1, 24)[:, None]
        turn = rng.uniform(0, 2 * np.pi) + np.cumsum(rng.normal(0, 0.12, (24, 1)), axis=0)
        steps = np.concatenate([np.cos(turn), np.sin(turn)], axis=1) * size * 0.25
        return shapely.LineString(place + np.cumsum(steps * (share + 0.5), axis=0)).buffer(
            size * 0.07
        )
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    wobble = sum(
        rng.normal(0, 0.25 / k) * np.cos(k * angle + rng.uniform(0, 6)) for k in range(2, 6)
    )
    radius = size / 2 * np.exp(wobble)
    rim = np.stack([radius * np.cos(angle), rng.uniform(0.5, 1) * radius * np.sin(angle)], axis=1)
    return shapely.Polygon(place + rim).buffer(0)


def covered_flanks(
    gear: CutGear, shape: shapely.Geometry, reach_mm: float, what: str
) -> list[Covered]:
    """Flanks that a shape touches or comes near, in order of sides and teeth.

    The shape is in mm about the bore; within `reach_mm`, a few blurs, an edge's picture is
    disturbed.
    """
    lines = shapely.linestrings(flank_lines(gear).reshape(-1, 24, 2))
    hit = np.flatnonzero(shapely.dwithin(lines, shape, reach_mm))
    z = gear.wheel.teeth
    return [Covered(tooth=int(i % z) + 1, side=("left", "right")[i // z], what=what) for i in hit]
