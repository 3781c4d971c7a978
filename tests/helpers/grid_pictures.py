"""Exact pictures of checkerboards and dot grids seen through a given lens."""

import numpy as np

from cogloupe.simulation.coverage import area_coverage
from cogloupe.simulation.lens import blurred
from cogloupe_calibration.lens import TERMS, frame_middle, ideal_points, make_lens

DOT_CORNERS = 48


def lens_for(shape, **terms):
    centre, radius = frame_middle(shape[1], shape[0])
    return make_lens(centre, radius, [terms.get(name, 0.0) for name in TERMS], np.zeros((8, 8)))


def seen_through(lens):
    """Ideal places to places seen: a fixed point, since the model only goes the other way."""

    def seen(ideal):
        xy = ideal.copy()
        for _ in range(25):
            xy = xy - (ideal_points(lens, xy) - ideal)
        return xy

    return seen


def outlines(kind, size, share=0.25):
    """Dark squares or dots of a grid with its middle at 0, in pitches; each (k, 2)."""
    nx, ny = size
    if kind == "dots":
        angle = np.linspace(0, 2 * np.pi, DOT_CORNERS, endpoint=False)
        # A polygon of the circle's own area.
        radius = share * np.sqrt(2 * np.pi / DOT_CORNERS / np.sin(2 * np.pi / DOT_CORNERS))
        ring = radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
        return [
            ring + np.array([i, j]) - np.array([nx - 1, ny - 1]) / 2 for i, j in np.ndindex(nx, ny)
        ]
    side = np.arange(6) / 6
    zero, one = np.zeros(6), np.ones(6)
    square = np.concatenate(
        [
            np.stack(pair, axis=1)
            for pair in ((side, zero), (one, side), (1 - side, one), (zero, 1 - side))
        ]
    )
    return [
        square + np.array([i - nx / 2, j - ny / 2])
        for i, j in np.ndindex(nx, ny)
        if (i + j) % 2 == 0
    ]


def grid_picture(
    rng=None,
    kind="checkerboard",
    size=(24, 18),
    pitch=24.0,
    shape=(360, 480),
    angle_deg=0.0,
    offset=(0.3, -0.2),
    seen=None,
    blur=1.0,
    noise=0.02,
    gradient=0.0,
    gamma=1.0,
    dark=True,
):
    """Grey picture, 8 bits; `seen` maps ideal pixels to pixels seen."""
    rng = rng or np.random.default_rng(0)
    a = np.deg2rad(angle_deg)
    turn = pitch * np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    middle = (np.array(shape[::-1]) - 1) / 2 + offset
    rings = np.stack(outlines(kind, size)) @ turn + middle
    far = np.abs(rings - middle).max(axis=(1, 2)) < 0.8 * max(shape)
    rings = rings[far]
    if seen is not None:
        rings = seen(rings.reshape(-1, 2)).reshape(rings.shape)
    ground = np.array([[-9e3, -9e3], [9e3, -9e3], [9e3, 9e3], [-9e3, 9e3]])
    white = area_coverage(ground, shape, list(rings))
    white = blurred(white if dark else 1 - white, blur)
    y, x = np.indices(shape) / np.array(shape)[:, None, None] * 2 - 1
    light = (0.1 + 0.8 * white) * (1 + gradient * (0.6 * x + 0.4 * y)) / (1 + abs(gradient))
    light += rng.normal(0, 0.8 * noise, shape)
    return np.clip(np.round(255 * np.clip(light, 0, 1) ** (1 / gamma)), 0, 255).astype(np.uint8)
