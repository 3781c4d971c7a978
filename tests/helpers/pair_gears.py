"""Gears for the tests of pairing: exact readings of made gears, and contact of their polygons."""

from dataclasses import replace

import numpy as np
import shapely

from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.rack import Gear
from cogloupe.pairing.mates import theoretical_gear
from cogloupe.pairing.running_gear import Doubts
from cogloupe.reading.flank_models import FlankCurves
from cogloupe.reading.models import Profile
from cogloupe.simulation import Faults
from cogloupe.simulation.making import make
from cogloupe.simulation.true_sizes import evaluation_range

from .stated_figures import MeasuringErrors
from .stated_reading import stated_reading

CHORD_ERROR_MM = 4e-6


def made_gear(spec, faults=None, rotation_deg=3.0, seed=1):
    """A gear as cut, its outline within a hundredth of a µm."""
    rng = np.random.default_rng(seed)
    return make(spec, faults or Faults(), None, rotation_deg, rng, CHORD_ERROR_MM)


def made_as_pictured(scene, chord_mm=CHORD_ERROR_MM):
    """The gear of a scene, with the scatter that its picture has."""
    rng = np.random.default_rng(scene.seed).spawn(4)[0]  # the first: cutting
    return make(scene.gear, scene.faults, None, scene.camera.rotation_deg, rng, chord_mm)


def exact_reading(made):
    """What a picture without any error would tell of a made gear."""
    gear, z = made.gear, made.gear.wheel.teeth
    reading = stated_reading(made, MeasuringErrors().times(0.0), None)
    start, end = evaluation_range(gear)
    along = np.linspace(start, end, 12)
    left, right = _forms(gear, reading, along)
    nothing = (0.0,) * z
    curves = FlankCurves(
        axis_from_datum_mm=tuple(gear.axis), along_mm=tuple(along), left_form_um=left,
        right_form_um=right, u_point_um=0.0, u_place_left_um=nothing, u_place_right_um=nothing,
        u_slope_left_um=nothing, u_slope_right_um=nothing, u_slope_common_um=0.0, u_edge_um=0.0,
        u_scale=0.0, u_stretch=0.0, edge_on_scale=0.0, sources=(),
    )  # fmt: skip
    profile = Profile(
        roll_length_mm=(start, end), left_um=(0.0, 0.0), right_um=(0.0, 0.0), start_roll_mm=start,
        end_roll_mm=end,
    )  # fmt: skip
    return reading.model_copy(update={"flank_curves": curves, "profile": profile})


def _forms(gear, reading, along):
    """What place and slope leave of every flank, µm: two tables, of left and of right flanks."""
    wheel, base = gear.wheel, gear.wheel.base_radius
    at_circle = float(wheel.flank.along(wheel.reference_radius))
    places = np.append(along, at_circle)
    radius = np.hypot(base, places)
    angles = gear.flank_angle(np.repeat(radius[:, None], wheel.teeth, axis=1))
    tables = []
    for side, way in (("left", -1), ("right", 1)):
        out = (way * angles[way > 0].T + wheel.flank.turn(radius)) * base * 1000
        out = out - out[:, -1:]
        slope = np.array([getattr(t, side).profile_slope_um for t in reading.teeth])
        line = slope[:, None] * (along - at_circle) / (along[-1] - along[0])
        tables.append(tuple(map(tuple, (out[:, :-1] - line).tolist())))
    return tables


class PolygonPair:
    """Two outlines in mesh; contact is found by turning one until it just cuts the other."""

    def __init__(self, outline_a, outline_b, centre_mm):
        self.a, self.b = shapely.Polygon(outline_a), shapely.Polygon(outline_b)
        self.centre = np.array([centre_mm, 0.0])
        reach = [float(np.hypot(*outline.T).max()) for outline in (outline_a, outline_b)]
        a, b = (
            shapely.Point(0, 0).buffer(reach[0], 64),
            shapely.Point(centre_mm, 0).buffer(reach[1], 64),
        )
        self.zone = a.intersection(b).buffer(0.1)

    def limit(self, turn_a, turn_b, way, most=0.05):
        """Turn of B, from a clear one on clockwise (way 1) or back (-1), at which it touches A."""
        fixed = shapely.intersection(turned(self.a, turn_a), self.zone)
        shapely.prepare(fixed)
        zone = shapely.transform(self.zone, lambda xy: turned_points(xy - self.centre, -turn_b))
        part = shapely.intersection(self.b, zone.buffer(most * self.centre[0]))

        def cuts(turn):
            moved = shapely.transform(part, lambda xy: turned_points(xy, turn) + self.centre)
            return shapely.intersects(fixed, moved)

        low, high = turn_b, turn_b + way * most
        if cuts(low) or not cuts(high):
            raise AssertionError(f"no contact between {low} and {high}")
        for _ in range(30):
            middle = (low + high) / 2
            low, high = (low, middle) if cuts(middle) else (middle, high)
        return high


def turned_points(xy, angle):
    """Points turned about the origin, clockwise on the picture (x right, y down)."""
    c, s = np.cos(angle), np.sin(angle)
    return xy @ np.array([[c, s], [-s, c]])


def turned(shape, angle):
    return shapely.transform(shape, lambda xy: turned_points(xy, angle))


def perfect_gear(teeth, module_mm=0.5, rack="iso53-a"):
    """A gear of theory that turns about its axis."""
    return theoretical_gear(Gear(teeth, module_mm, basic_rack(rack, module_mm)))


def random_faults(rng):
    """Faults as large as a home-made wheel has them."""
    return Faults(
        pitch_scatter_um=6, flank_scatter_um=4, eccentricity_um=rng.uniform(0, 50),
        eccentricity_direction_deg=rng.uniform(0, 360), thinning_um=rng.uniform(0, 60),
        pressure_angle_error_deg=rng.uniform(-0.4, 0.4), tips_about=rng.choice(["bore", "teeth"]),
    )  # fmt: skip


def turns_at(mesh, rolled, start, step, phase):
    """Turn of A, even turn of B, and how far B may be turned from it either way."""
    a, b = mesh.a, mesh.b
    pitches = step + (phase + 0.5) / rolled.lead.shape[2] - 0.5
    turn_a = (pitches - start[0] + 1) * a.pitch - a.start
    even_b = np.pi - b.start - (start[1] - 0.5 + pitches) * b.pitch
    left, right = (mesh.sides[side].play - rolled.lead[side, step, phase] for side in (0, 1))
    return turn_a, even_b, -left, right


def doubted(gear, set_up="", **sizes):
    """The same gear with some of its doubts, all others nought; places and slopes alike for all."""
    z = gear.teeth
    each = {n: np.full((z, 2), sizes.pop(n, 0.0)) for n in ("place", "slope")}
    nothing = dict.fromkeys(
        ("slope_common", "edge", "edge_on_scale", "scale", "stretch", "tip", "root"), 0.0
    )
    none = np.zeros((0, z, 2))
    doubts = Doubts(
        **each, **(nothing | sizes), places=none, slopes=none, sizes=np.zeros(0), set_up=set_up
    )
    return replace(gear, doubts=doubts)
