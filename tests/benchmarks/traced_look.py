"""What a traced picture shows, drawn at random: gear, faults, body, finish, ground, lamps, camera.

A number gives one look, whatever else is drawn; grounds take turns, so that any dozen holds all.
"""

from dataclasses import dataclass
from math import pi

import numpy as np
from tests.benchmarks.traced_gear import CutGear

SEED = 17
"""Of the whole set. Change it, and all gears and looks are others."""

PARTS = {
    "development": range(32), "held": range(32, 64), "unseen": range(64, 96), "new": range(96, 128),
    "fresh": range(128, 160),
    "next": range(160, 192),
}  # fmt: skip
"""Numbers of the pictures: those to develop with, then parts of which each was drawn when all
before it had been seen."""

PICTURES = max(map(max, PARTS.values())) + 1
"""In the set."""

Colour = tuple[float, float, float]

GROUNDS = (
    "lamp", "white paper", "dark card", "wood", "squared paper", "cloth",
    "lamp", "paper", "metal plate", "coloured card", "printed paper", "cutting mat",
)  # fmt: skip

LIGHTS = ("ring", "side lamp", "window", "flash", "two lamps", "overcast")

METALS: dict[str, Colour] = {
    "brass": (0.80, 0.62, 0.31),
    "steel": (0.56, 0.55, 0.54),
    "bronze": (0.70, 0.47, 0.29),
    "aluminium": (0.86, 0.87, 0.88),
    "blued steel": (0.16, 0.17, 0.22),
}
"""Mirror colours, by eye."""

PLASTICS: dict[str, Colour] = {
    "black plastic": (0.025, 0.025, 0.027),
    "white plastic": (0.80, 0.80, 0.77),
    "grey plastic": (0.30, 0.31, 0.32),
    "red plastic": (0.55, 0.06, 0.05),
    "green plastic": (0.08, 0.35, 0.13),
    "yellow plastic": (0.75, 0.52, 0.06),
    "brown fibre": (0.24, 0.12, 0.05),
}

MARKS = {
    "metal": ("turned", "turned", "milled", "sanded", "blasted", "smooth"),
    "plastic": ("smooth", "smooth", "printed", "turned", "blasted"),
}

FAULTS = ("none", "none", "none", "eccentric", "wave", "step", "drift", "one gap", "scatter")


@dataclass(frozen=True, kw_only=True)
class Body:
    """The solid that carries the teeth.

    Attributes
    ----------
    thickness_mm, chamfer_mm : float
    rounded : bool
        Edges broken by an arc, not a flat.
    boss_mm, boss_high_mm : float
        Diameter and height of a boss on the upper face; 0 for none.
    recess_mm : float
        Depth of the web below the rim; 0 for a flat face.
    windows : int
        Openings between as many spokes, or holes; 0 for none.
    round_windows, keyway : bool
    """

    thickness_mm: float
    chamfer_mm: float
    rounded: bool
    boss_mm: float
    boss_high_mm: float
    recess_mm: float
    windows: int
    round_windows: bool
    keyway: bool


@dataclass(frozen=True, kw_only=True)
class Finish:
    """Of what the gear is, and what the tool left on its face.

    Attributes
    ----------
    material : str
    metal : bool
    colour : tuple of float
    roughness : float
    marks : str
    marks_slope, marks_pitch_mm : float
        Root mean square of the marks' slope; their spacing.
    stain : float
        Share of light that patches of tarnish take.
    """

    material: str
    metal: bool
    colour: Colour
    roughness: float
    marks: str
    marks_slope: float
    marks_pitch_mm: float
    stain: float


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where it lies, and what lights it.

    Attributes
    ----------
    ground : str
    ground_colour : tuple of float
    raised_mm : float
        Free height below the gear.
    light : str
    lamp_colour : tuple of float
    lamp_elevation_deg, lamp_azimuth_deg, lamp_size : float
        Size as a share of its distance.
    room : float
        Light from all around, as a share of the lamp's.
    beside : str
        What else lies in sight.
    """

    ground: str
    ground_colour: Colour
    raised_mm: float
    light: str
    lamp_colour: Colour
    lamp_elevation_deg: float
    lamp_azimuth_deg: float
    lamp_size: float
    room: float
    beside: str


@dataclass(frozen=True, kw_only=True)
class Camera:
    """Where the camera is, and its lens.

    Attributes
    ----------
    width_px, height_px : int
    um_per_px : float
        Exact on the upper face.
    distance_mm : float
        Above the upper face; 0 for a parallel view.
    gear_px : tuple of float
        The bore's centre on the picture.
    foot_px : tuple of int
        Point below the camera, from the middle of the picture.
    lean_deg, lean_towards_deg : float
    aperture_mm, focus_above_mm : float
        Diameter of the lens's opening; sharpest plane above the upper face.
    """

    width_px: int
    height_px: int
    um_per_px: float
    distance_mm: float
    gear_px: tuple[float, float]
    foot_px: tuple[int, int]
    lean_deg: float
    lean_towards_deg: float
    aperture_mm: float
    focus_above_mm: float


@dataclass(frozen=True, kw_only=True)
class Sensor:
    """What becomes of the light.

    Attributes
    ----------
    blur_px : float
        Of lens and pixels, beside depth of focus.
    electrons : float
        At white.
    read_electrons : float
    white_at : float
        Value, 0 to 1, that the bright parts come to.
    sharpened, sharpening_px : float
        Amount of an unsharp mask, and its radius; 0 for none.
    jpeg_quality : int
    """

    blur_px: float
    electrons: float
    read_electrons: float
    white_at: float
    sharpened: float
    sharpening_px: float
    jpeg_quality: int


@dataclass(frozen=True, kw_only=True)
class Look:
    """One picture of the set.

    Attributes
    ----------
    number : int
    name : str
    fault : str
    gear : CutGear
    body : Body
    finish : Finish
    place : Place
    camera : Camera
    sensor : Sensor
    """

    number: int
    name: str
    fault: str
    gear: CutGear
    body: Body
    finish: Finish
    place: Place
    camera: Camera
    sensor: Sensor


def look(number: int) -> Look:
    """Draw the look of a number.

    Parameters
    ----------
    number : int

    Returns
    -------
    Look
    """
    rng = np.random.default_rng([SEED, number])
    finish = _finish(rng)
    ground = _ground(number, finish)
    gear, fault = _gear(rng)
    body = _body(rng, gear)
    camera = _camera(rng, gear)
    place = _place(rng, ground, finish)
    name = f"t{number:02d}_{ground}_{finish.material}".replace(" ", "_")
    return Look(
        number=number,
        name=name,
        fault=fault,
        gear=gear,
        body=body,
        finish=finish,
        place=place,
        camera=camera,
        sensor=_sensor(rng, ground),
    )


def _gear(rng: np.random.Generator) -> tuple[CutGear, str]:
    teeth = round(float(np.exp(rng.uniform(np.log(9), np.log(75)))))
    module = float(rng.choice([0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 1.0, 1.25, 25.4 / 48, 25.4 / 32]))
    module = max(module, 0.5) if teeth < 20 else module
    angle = float(rng.choice([20.0, 20.0, 20.0, 20.0, 14.5])) if teeth > 24 else 20.0
    shift = float(rng.uniform(0.3, 0.5)) if teeth < 14 else float(rng.choice([0, 0, 0, 0.2, -0.1]))
    depth, corner = (
        (1.157, 0.209) if angle < 20 else (1.25, float(rng.choice([0.38, 0.38, 0.2, 0.3])))
    )
    fault = str(rng.choice(FAULTS))
    shifts, offset = _faulty(rng, fault, teeth, module)
    floor = 2 * (teeth / 2 + shift - depth) * module
    gear = CutGear(
        teeth=teeth,
        module_mm=module,
        pressure_angle_deg=angle,
        profile_shift=round(shift, 3),
        depth=depth,
        corner=corner,
        bore_mm=round(float(np.clip(rng.uniform(0.12, 0.4) * floor, 1.5, 12.0)), 1),
        first_gap_deg=float(rng.uniform(0, 360 / teeth)),
        gap_shift_um=tuple(float(s) for s in shifts),
        gap_widening_um=tuple(float(s) for s in np.abs(rng.normal(0, 6 * module, teeth))),
        offset_um=offset,
        offset_deg=float(rng.uniform(0, 360)),
    )
    return gear, fault


def _faulty(
    rng: np.random.Generator, fault: str, teeth: int, module: float
) -> tuple[np.ndarray, float]:
    """Shift of every gap and offset of the teeth, um: the fault and what every set-up scatters."""
    k, size = np.arange(teeth), float(rng.uniform(15, 60)) * module
    ups = int(rng.integers(1, max(2, teeth // 5)))
    after, phase = rng.integers(teeth), rng.uniform(0, 2 * pi)
    shapes = {
        "wave": np.sin(2 * pi * ups * k / teeth + phase) * size,
        "step": np.where(k >= after, size * 1.5, 0.0),
        "drift": np.roll(k, after) / teeth * 2 * size,
        "one gap": np.where(k == after, size * 2, 0.0),
        "scatter": rng.normal(0, size / 2, teeth),
    }
    offset = size if fault == "eccentric" else float(rng.choice([0.0, 3.0 * module]))
    return shapes.get(fault, np.zeros(teeth)) + rng.normal(0, 5 * module, teeth), offset


def _body(rng: np.random.Generator, gear: CutGear) -> Body:
    module, floor = gear.module_mm, gear.floor_radius_mm
    room = floor - gear.bore_mm / 2
    boss = rng.random() < 0.15
    windows = int(rng.integers(3, 8)) if room > 8 * module and rng.random() < 0.3 else 0
    return Body(
        thickness_mm=round(float(np.clip(rng.uniform(3, 10) * module, 1.5, 9.0)), 1),
        chamfer_mm=round(float(rng.choice([0, 0, 0.03, 0.06, 0.1])) * module, 4),
        rounded=bool(rng.random() < 0.3),
        boss_mm=round(gear.bore_mm + float(rng.uniform(0.3, 0.8)) * room, 1) if boss else 0.0,
        boss_high_mm=round(float(rng.uniform(1, 4)), 1),
        recess_mm=round(float(rng.uniform(0.5, 1.5)) * module, 2)
        if room > 6 * module and not boss and rng.random() < 0.2
        else 0.0,
        windows=0 if boss else windows,
        round_windows=bool(rng.random() < 0.5),
        keyway=bool(rng.random() < 0.06),
    )


def _finish(rng: np.random.Generator) -> Finish:
    metal = bool(rng.random() < 0.6)
    names = METALS if metal else PLASTICS
    weights = np.array([4, 3, 1, 1, 1] if metal else [3, 3, 1, 1, 1, 1, 1], float)
    material = str(rng.choice(list(names), p=weights / weights.sum()))
    marks = str(rng.choice(MARKS["metal" if metal else "plastic"]))
    return Finish(
        material=material,
        metal=metal,
        colour=names[material],
        roughness=float(rng.uniform(0.15, 0.4)),
        marks=marks,
        marks_slope=float(np.exp(rng.uniform(np.log(0.02), np.log(0.2)))),
        marks_pitch_mm=float(rng.uniform(0.05, 0.25)),
        stain=float(rng.choice([0, 0, 0.1, 0.25])),
    )


def _place(rng: np.random.Generator, ground: str, finish: Finish) -> Place:
    light = "back" if ground == "lamp" else str(rng.choice(LIGHTS))
    warm = float(rng.uniform(-0.12, 0.12))
    raised = 0.0 if ground != "lamp" and rng.random() < 0.75 else float(rng.uniform(1, 8))
    return Place(
        ground=ground,
        ground_colour=_ground_colour(rng, ground, finish),
        raised_mm=round(raised, 1),
        light=light,
        lamp_colour=(1 + warm, 1.0, 1 - warm),
        lamp_elevation_deg=float(rng.uniform(20, 60)),
        lamp_azimuth_deg=float(rng.uniform(0, 360)),
        lamp_size=float(rng.uniform(0.05, 0.3)),
        room=float(rng.uniform(0.01, 0.06) if light == "back" else rng.uniform(0.1, 0.5)),
        beside=str(rng.choice(["nothing", "nothing", "nothing", "washer", "gear", "ruler"])),
    )


def _ground(number: int, finish: Finish) -> str:
    """The ground whose turn it is; coloured cards have a plastic gear's own colour."""
    ground = GROUNDS[number % len(GROUNDS)]
    alike = ground == "coloured card" and not finish.metal
    return "card like the gear" if alike else ground


def _ground_colour(rng: np.random.Generator, ground: str, finish: Finish) -> Colour:
    """A colour for grounds that have several."""
    if ground == "card like the gear":
        return finish.colour
    tones: dict[str, tuple[Colour, ...]] = {
        "white paper": ((0.85, 0.85, 0.84), (0.80, 0.81, 0.83)),
        "paper": ((0.75, 0.70, 0.60), (0.60, 0.60, 0.58), (0.40, 0.40, 0.41)),
        "squared paper": ((0.82, 0.83, 0.80),),
        "printed paper": ((0.78, 0.77, 0.73), (0.84, 0.84, 0.84)),
        "dark card": ((0.03, 0.03, 0.032), (0.06, 0.06, 0.06)),
        "coloured card": ((0.08, 0.12, 0.40), (0.45, 0.07, 0.06), (0.10, 0.32, 0.14)),
        "wood": ((0.42, 0.26, 0.13), (0.55, 0.40, 0.22), (0.20, 0.11, 0.06)),
        "cloth": ((0.35, 0.35, 0.38), (0.10, 0.12, 0.25), (0.60, 0.55, 0.45)),
        "metal plate": ((0.60, 0.60, 0.60),),
        "cutting mat": ((0.04, 0.16, 0.11), (0.07, 0.08, 0.09)),
        "lamp": ((1.0, 1.0, 0.98),),
    }
    choices = tones[ground]
    return choices[int(rng.integers(len(choices)))]


def _camera(rng: np.random.Generator, gear: CutGear) -> Camera:
    wide = bool(rng.random() < 0.2)
    width, height = (2000, 1500) if wide else (1400, 1400)
    margin = float(np.exp(rng.uniform(np.log(0.004), np.log(0.08))))
    scale = 1000 * gear.tip_radius_mm / (height * (0.5 - margin))
    slack = 0.8 * margin * height
    side = slack + (width - height) / 4
    parallel = rng.random() < 0.2
    distance = 0.0 if parallel else float(np.clip(rng.uniform(5, 14) * gear.tip_radius_mm, 70, 260))
    off_axis = 0.05 if rng.random() < 0.75 else 0.25
    foot = rng.uniform(-off_axis, off_axis, 2) * height
    return Camera(
        width_px=width,
        height_px=height,
        um_per_px=round(scale, 4),
        distance_mm=round(distance, 1),
        gear_px=(
            width / 2 + float(rng.uniform(-side, side)),
            height / 2 + float(rng.uniform(-slack, slack)),
        ),
        foot_px=(0, 0) if parallel else (int(foot[0]), int(foot[1])),
        lean_deg=round(float(rng.choice([0, rng.uniform(0.1, 1.0)])), 2),
        lean_towards_deg=float(rng.uniform(0, 360)),
        aperture_mm=0.0 if parallel else float(rng.uniform(0.4, 2.0)),
        focus_above_mm=float(rng.normal(0, 0.4)),
    )


def _sensor(rng: np.random.Generator, ground: str) -> Sensor:
    return Sensor(
        blur_px=float(rng.uniform(0.6, 1.4)),
        electrons=float(np.exp(rng.uniform(np.log(2000), np.log(25000)))),
        read_electrons=float(rng.uniform(2, 8)),
        white_at=float(rng.uniform(0.8, 0.93) if ground == "lamp" else rng.uniform(0.6, 0.95)),
        sharpened=float(rng.choice([0, 0, 0, rng.uniform(0.3, 1.0)])),
        sharpening_px=float(rng.uniform(0.8, 1.6)),
        jpeg_quality=int(rng.choice([97, 95, 92, 88, 80])),
    )
