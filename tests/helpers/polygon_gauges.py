"""Gauges for outlines: sizes taken off a polygon as a workshop takes them off a gear.

Outlines are (n, 2) arrays in the gear frame, in millimetres, running the way tooth numbers grow;
angles are radians. A polygon's corners lie on the curve and its sides inside the material, so
sizes taken off it come out too small by the sagitta of a side.
"""

import csv
import tomllib
from dataclasses import dataclass
from math import pi
from pathlib import Path

import numpy as np
import shapely
from scipy.optimize import brentq

REFERENCE = Path(__file__).parents[1] / "reference"


def reference_rows(name):
    """Rows of a table in tests/reference/, as dicts of text."""
    with (REFERENCE / f"{name}.csv").open(newline="") as file:
        return list(csv.DictReader(file))


def reference_facts(name):
    """Tables of a TOML file in tests/reference/."""
    return tomllib.loads((REFERENCE / f"{name}.toml").read_text())


def wedge(middle, half_angle, radius):
    """Triangle from the axis that holds a sector of less than half a turn."""
    reach = radius / np.cos(half_angle)
    angles = np.array([middle - half_angle, middle + half_angle])
    rim = reach * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    return shapely.Polygon([(0, 0), *rim])


def span_between_anvils(outline, pitch, first_centre, teeth_spanned, anvil_reach):
    """Width of teeth 1..k between parallel anvils that reach in to a radius."""
    half = teeth_spanned * pitch / 2
    middle = first_centre + half - pitch / 2
    far = 2 * np.hypot(*outline.T).max()
    held = shapely.intersection(shapely.Polygon(outline), wedge(middle, half, far))
    held = shapely.difference(held, shapely.Point(0, 0).buffer(anvil_reach, quad_segs=64))
    left, _, right, _ = shapely.affinity.rotate(
        held, pi / 2 - middle, origin=(0, 0), use_radians=True
    ).bounds
    return right - left


def seated_pin_centre(outline, direction, pin, innermost):
    """Centre of a pin pushed in along a direction until it touches the outline."""
    ring = shapely.LinearRing(outline)
    shapely.prepare(ring)
    along = np.array([np.cos(direction), np.sin(direction)])

    def clear(radius):
        return shapely.distance(shapely.Point(radius * along), ring) - pin / 2

    outermost = np.hypot(*outline.T).max() + pin
    return brentq(clear, innermost, outermost, xtol=1e-12) * along


def size_over_pins(outline, teeth, first_gap, pin, innermost):
    """Size over two pins in gaps as nearly opposite as there are."""
    opposite = first_gap + 2 * pi * (teeth // 2) / teeth
    one, other = (seated_pin_centre(outline, gap, pin, innermost) for gap in (first_gap, opposite))
    return np.hypot(*(one - other)) + pin


@dataclass(frozen=True)
class Crossings:
    """Polar angles where an outline crosses a circle, tooth by tooth from the first it enters."""

    left: np.ndarray
    right: np.ndarray


def crossings(outline, radius):
    """Angles of left flanks (outline leaves the circle) and of the right flanks after them."""
    start, end = outline, np.roll(outline, -1, axis=0)
    inside, inside_next = (np.hypot(*p.T) < radius for p in (start, end))
    cut = np.flatnonzero(inside != inside_next)
    p, d = start[cut], (end - start)[cut]
    # |p + t d| = radius, the root that lies on the side.
    a, b, c = (d**2).sum(1), (p * d).sum(1), (p**2).sum(1) - radius**2
    leaving = inside[cut]
    t = (-b + np.where(leaving, 1, -1) * np.sqrt(b**2 - a * c)) / a
    angles = np.arctan2(*(p + t[:, None] * d).T[::-1])
    if not leaving[0]:
        angles, leaving = np.roll(angles, -1), np.roll(leaving, -1)
    return Crossings(angles[leaving], angles[~leaving])


def tooth_angles(outline, radius):
    """Angle that each tooth fills on a circle, from the first tooth the outline enters."""
    found = crossings(outline, radius)
    return np.mod(found.right - found.left, 2 * pi)


def tooth_thicknesses(outline, radius):
    """Arc that each tooth fills on a circle."""
    return radius * tooth_angles(outline, radius)


def radius_of_equal_gap(outline, teeth, low, high):
    """Radius of the circle on which teeth are as thick as gaps are wide."""

    def excess(radius):
        return tooth_angles(outline, radius).mean() - pi / teeth

    return brentq(excess, low, high, xtol=1e-13)
