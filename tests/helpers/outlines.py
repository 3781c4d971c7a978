"""Outlines of gears as edge points, exact or with noise, for the steps after the edges."""

from dataclasses import dataclass

import numpy as np

from cogloupe.finding.tooth_map import map_teeth
from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.rack import Gear, gear_outline
from cogloupe.optics.sampling import EdgePoints

PX_PER_MM = 25.0
CENTRE = np.array([402.3, 388.7])


@dataclass(frozen=True)
class Traced:
    """A gear's outline in px, its points about a pixel apart, with normals out of the material."""

    gear: Gear
    edges: EdgePoints
    centre: np.ndarray

    @property
    def rough(self):
        return self.gear.root_radius * PX_PER_MM, self.gear.tip_radius * PX_PER_MM

    def teeth(self, number=None):
        return map_teeth(self.edges.xy, self.centre, self.rough, number)


def traced(
    teeth=24, rack="iso53-a", left=0.0, right=0.0, rotation_deg=5.0, noise=0.0, seed=0, step=1.0
):
    """Exact outline of a gear of module 1, points so many px apart.

    `left` and `right` are angles by which the flanks are out of place, rad.
    """
    gear = Gear(teeth, 1.0, basic_rack(rack, 1.0))
    first = np.radians(rotation_deg) - np.pi / 2
    dense = gear_outline(gear, first, left, right, flank_points=160) * PX_PER_MM
    xy = evenly(dense, step)
    along = np.roll(xy, -1, axis=0) - np.roll(xy, 1, axis=0)
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.hypot(*along.T)[:, None]
    off = np.random.default_rng(seed).normal(0, 1, len(xy)) * noise
    flat = np.zeros(len(xy))
    points = xy + CENTRE + normal * off[:, None]
    edges = EdgePoints(
        xy=points, normal=normal, u=flat + max(noise, 1e-6), blur=flat, good=np.ones(len(xy), bool)
    )
    return Traced(gear, edges, CENTRE)


def evenly(closed, step):
    """Points about so far apart along a closed outline, on its sides."""
    ring = np.vstack([closed, closed[:1]])
    length = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    at = np.linspace(0, length[-1], int(length[-1] / step), endpoint=False)
    return np.stack([np.interp(at, length, ring[:, i]) for i in (0, 1)], axis=1)
