"""What noise there is in a picture, whoever reads it: odd against even rows of every flank.

A flank's mean profile, taken along the true edge, is the model; how far blocks of eight rows are
shifted from it is seen by least squares, with levels and contrast of their own. The mean of the odd
blocks and that of the even ones would agree in a picture without noise, whatever its light, blur
and bevel; what the same block of all flanks shows (a tip that is near) is taken out. Texture that
varies along a flank counts as noise, what a whole flank shows does not: a reader can do better only
by knowing more of the picture than one flank tells.
"""

from math import cos, radians, sqrt
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.ndimage import map_coordinates
from tests.benchmarks.traced_gear import flanks_about, outline
from tests.benchmarks.traced_look import Look
from tests.benchmarks.traced_view import View

Floats = NDArray[np.float64]

REACH_PX = 8
"""Of a profile to either side of the edge."""

NORMAL = 1.4826
"""Standard deviation of a normal spread, in medians of its size: flanks that show no edge, or that
something crosses, don't count."""

UP_AND_DOWN = 0.6
"""Modules along a flank to either side of the reference circle: clear of tip and fillet."""

ROWS = 8
"""In a block, a pixel apart along the flank."""


def own_noise_px(picture: Path, look: Look) -> float:
    """Standard deviation of a single pitch that the picture's noise leaves.

    Parameters
    ----------
    picture : Path
    look : Look

    Returns
    -------
    float
        Px along the reference circle.
    """
    light = stored_light(picture)
    shifts = np.array([_block_shifts(profiles_of(light, *row)) for row in flank_rows(look)])
    sides = shifts.reshape(2, look.gear.teeth, -1)
    own = sides - np.median(sides, axis=1, keepdims=True)
    halves = (own[..., 0::2].mean(axis=2) - own[..., 1::2].mean(axis=2)) / 2
    on_circle = 1 / cos(radians(look.gear.pressure_angle_deg))
    return float(sqrt(2) * NORMAL * np.median(np.abs(halves)) * on_circle)


def stored_light(picture: Path) -> Floats:
    """Linear light of a picture file, 1 for white.

    Parameters
    ----------
    picture : Path

    Returns
    -------
    ndarray, shape (h, w, 3)
    """
    value = np.asarray(Image.open(picture).convert("RGB"), float) / 255
    return np.where(value < 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def flank_rows(look: Look) -> list[tuple[Floats, Floats]]:
    """Points a pixel apart along every flank's true edge on the picture, and the normals there.

    Parameters
    ----------
    look : Look

    Returns
    -------
    list of (ndarray, ndarray), shapes (n, 2)
        Left flanks, then right ones; normals point into the material.
    """
    gear, view = look.gear, View(look.camera)
    body = outline(gear)
    ring = np.array(body.exterior.coords)[:-1]
    seen = view.to_px(
        np.column_stack([ring, np.full(len(ring), -look.body.chamfer_mm)]) + view.gear
    )
    flanks = flanks_about(body, gear.teeth_axis_mm, gear.reference_radius_mm)
    half = max(UP_AND_DOWN * gear.module_mm / view.scale, ROWS)
    return [_row(seen, ring, at, half) for at in np.vstack([flanks.left_mm, flanks.right_mm])]


def _row(seen: Floats, ring: Floats, at: Floats, half: float) -> tuple[Floats, Floats]:
    here = int(np.hypot(*(ring - at).T).argmin())
    part = np.roll(seen, len(seen) // 2 - here, axis=0)
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(part, axis=0).T))])
    places = along[len(seen) // 2] + np.arange(-int(half), int(half) + 1)
    points = np.column_stack([np.interp(places, along, part[:, k]) for k in (0, 1)])
    tangent = np.gradient(points, axis=0)
    normal = tangent[:, ::-1] * [1, -1] / np.hypot(*tangent.T)[:, None]
    return points, normal


def profiles_of(light: Floats, points: Floats, normals: Floats) -> Floats:
    """Light across an edge, from the ground into the material.

    Parameters
    ----------
    light : ndarray, shape (h, w, 3)
    points, normals : ndarray, shape (n, 2)

    Returns
    -------
    ndarray, shape (n, 2 REACH_PX + 1, 3)
    """
    away = np.arange(-REACH_PX, REACH_PX + 1)
    x, y = (points[:, None] + normals[:, None] * away[None, :, None]).transpose(2, 0, 1)
    planes = [map_coordinates(light[..., c], [y, x], order=1, mode="nearest") for c in range(3)]
    return np.stack(planes, axis=2)


def _block_shifts(profiles: Floats) -> Floats:
    """Shift of every block of rows against the flank's mean profile, px."""
    blocks = len(profiles) // ROWS
    whole = profiles[: blocks * ROWS].reshape(blocks, ROWS, *profiles.shape[1:]).mean(axis=1)
    return np.array([_shift(block, profiles.mean(axis=0)) for block in whole])


def _shift(block: Floats, model: Floats) -> float:
    """Least-squares shift of a profile; each colour has a level and a contrast of its own."""
    places, colours = model.shape
    slope = np.gradient(model, axis=0)
    noise = (block - model).std(axis=0) + 1e-4
    columns = np.zeros((colours, places, 2 * colours + 1))
    for c in range(colours):
        columns[c, :, 2 * c], columns[c, :, 2 * c + 1] = 1 / noise[c], model[:, c] / noise[c]
        columns[c, :, -1] = -slope[:, c] / noise[c]
    target = (block / noise).T.reshape(-1)
    fitted: Any = np.linalg.lstsq(columns.reshape(-1, 2 * colours + 1), target, rcond=None)[0]
    return float(fitted[-1])
