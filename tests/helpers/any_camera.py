"""Discs as any camera might store them, drawn by plain formulas: what an edge's level may hide."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.special import ndtr

from cogloupe.finding.region import Region
from cogloupe.optics.edges import find_edges
from cogloupe.optics.outlines import edge_shift

SIDE, RADIUS = 360, 140.0
KINDS = ("linear", "srgb", "power", "blurred since", "burnt")
"""How light was stored: as it is, by the sRGB curve (IEC 61966-2-1), by a power of 1 to 1 / 2.4; by
that curve and then blurred by up to a pixel, as a copy that was scaled; or by either of the first
two, but the bright side, up to three times full scale, is cut off there."""
UNTOLD = KINDS[2:]
"""Those of which no picture tells how they were."""


@dataclass(frozen=True)
class EdgeOff:
    """How far out of the true circle an edge was read, and the uncertainties stated for it, px."""

    off: float
    u_level: float
    u_edge: float


def stored_by(kind, light, rng):
    """Values from 0 to 1 as a camera of that kind stores them."""
    if kind == "power":
        return light ** (1 / rng.uniform(1, 2.4))
    light = np.minimum(light, 1.0)
    if kind in ("srgb", "blurred since") or (kind == "burnt" and rng.random() < 0.5):
        light = np.where(light > 0.0031308, 1.055 * light ** (1 / 2.4) - 0.055, 12.92 * light)
    return gaussian_filter(light, rng.uniform(0.1, 1.0)) if kind == "blurred since" else light


def edges_off(kind, count):
    """Read the edges of so many discs of one of the `KINDS`."""
    rng = np.random.default_rng([20261130, KINDS.index(kind)])
    return [edge_off(kind, rng) for _ in range(count)]


def edge_off(kind, rng):
    """Read the edge of a disc at random: its light, place, blur and noise, dark or bright."""
    dark = rng.uniform(0.01, 0.3)
    bright = rng.uniform(1, 3) if kind == "burnt" else rng.uniform(0.4, 0.85)
    inside, ground = (dark, bright) if kind == "burnt" or rng.random() < 0.5 else (bright, dark)
    centre = SIDE / 2 + rng.uniform(-2, 2, 2)
    y, x = np.mgrid[:SIDE, :SIDE]
    out = np.hypot(x - centre[0], y - centre[1]) - RADIUS
    light = inside + (ground - inside) * ndtr(out / rng.uniform(0.7, 2.0))
    # What is cut off at full scale has no noise left.
    noise = rng.uniform(0.002, 0.015) * rng.standard_normal(light.shape) * (light < 1)
    image = np.clip(np.rint(255 * (stored_by(kind, light, rng) + noise)), 0, 255).astype(np.uint8)
    found = find_edges(image, _region(image, centre))
    radius = np.hypot(*(found.outer.straightened(1 / RADIUS) - centre).T)
    u_edge = edge_shift(found.blur_px, found.u_level_px)
    return EdgeOff(float(np.median(radius)) - RADIUS, found.u_level_px, u_edge)


def _region(image, centre):
    material, ground = float(image[SIDE // 2, SIDE // 2]), float(image[0, 0])
    level = np.full(image.shape, (material + ground) / 2, np.float32)
    return Region(
        weights=None, threshold=level, bright=material > ground, x=centre[0], y=centre[1],
        tip_radius=RADIUS, root_radius=RADIUS, teeth=0, share=1.0, cut_off=False,
    )  # fmt: skip
