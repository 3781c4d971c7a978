"""Gears of every size, for the count of their teeth and the numbers these are given."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from math import cos, pi, radians, sin

import numpy as np
from numpy.typing import NDArray
from tests.benchmarks.common import Case, make_case, settings_of

from cogloupe.inspection import inspect_photo
from cogloupe.reading.models import Reading
from cogloupe.simulation import Camera, Faults, GearSpec, Scene
from cogloupe_calibration.arrays import Floats

TEETH = (6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 17, 18, 20, 22, 24, 27, 30, 34, 38, 45, 52, 60, 75, 90,
         100, 120, 127, 144, 180, 200, 250, 300, 360, 400)  # fmt: skip
MODULES_MM = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1, 1.25, 1.5, 2, 3, 5, 8, 10, 20)
DPS = (8, 12, 16, 20, 24, 32, 40, 48, 64, 72, 96, 120, 200)
SHIFTS = {6: (0.3,), 8: (0.3, 0.5), 12: (-0.1, 0.2, 0.4), 17: (-0.2, 0.3, 0.6),
          24: (-0.4, 0.3, 0.6), 40: (-0.5, 0.5, 0.8), 80: (-0.6, 0.7)}  # fmt: skip
TURNS = (0.03, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.97)
ARCS = ((30, 90, 0.55), (40, 0, 0.6), (60, -90, 0.7), (60, 180, 0.8), (90, 135, 0.9),
        (120, 90, 1.2), (200, -45, 1.5), (300, 90, 2.0), (400, 0, 2.5))  # fmt: skip
"""Teeth, direction of the centre from the frame's middle in degrees, tip radius in frame sides."""


@dataclass(frozen=True)
class Counting:
    """A gear to count.

    Attributes
    ----------
    group : str
    scene : Scene
    given : dict
        Settings that displace the stated ones; None drops one.
    """

    group: str
    scene: Scene
    given: dict[str, object] = field(default_factory=dict)


def counting_set() -> Iterator[Counting]:
    """All gears to count.

    Yields
    ------
    Counting
    """
    for k, teeth in enumerate(TEETH):
        size = GearSpec(teeth=teeth, module_mm=MODULES_MM[k % len(MODULES_MM)])
        yield Counting("6 to 400 teeth", whole_scene(size, k), {"teeth": None})
        nothing: dict[str, object] = {"teeth": None, "module_mm": None, "rack": None}
        yield Counting("the same, only the scale given", whole_scene(size, k), nothing)
    for k, module in enumerate(MODULES_MM):
        spec = GearSpec(teeth=21, module_mm=module)
        yield Counting("module 0.1 to 20 mm", whole_scene(spec, 100 + k), {"teeth": None})
    for k, dp in enumerate(DPS):
        stated: dict[str, object] = {"module_mm": None, "dp": dp, "teeth": None}
        yield Counting("8 to 200 DP", whole_scene(GearSpec(teeth=21, dp=dp), 200 + k), stated)
    for teeth, shifts in SHIFTS.items():
        for shift in shifts:
            spec = GearSpec(teeth=teeth, module_mm=1, profile_shift=shift)
            yield Counting("profile shift -0.6 to 0.8", whole_scene(spec, teeth), {"teeth": None})
    for turn in TURNS:
        spec = GearSpec(teeth=24, module_mm=1)
        yield Counting(
            "turned by 0.03 to 0.97 pitches", whole_scene(spec, 1, turn), {"teeth": None}
        )
    for teeth, direction, radius in ARCS:
        group = "arcs, centre outside the frame"
        yield Counting(group, arc_scene(teeth, direction, radius), {"partial": True})


def whole_scene(spec: GearSpec, seed: int, turn: float | None = None) -> Scene:
    """Scene of a whole gear with a bore, large enough that its teeth can be seen.

    Parameters
    ----------
    spec : GearSpec
    seed : int
    turn : float, optional
        By how many pitches tooth 1 stands beyond twelve o'clock; random without.

    Returns
    -------
    Scene
    """
    rng = np.random.default_rng(seed)
    side = 1200 if spec.teeth <= 60 else 1600 if spec.teeth <= 127 else 3000
    turned = rng.uniform(0.03, 0.97) if turn is None else turn
    middle = (side - 1) / 2 + rng.uniform(-9, 9, 2)
    gear = spec.model_copy(update={"bore_mm": 0.3 * spec.teeth * spec.module})
    place = {"bore_x_px": middle[0], "bore_y_px": middle[1]}
    mm_per_px = 2 * spec.gear().tip_radius / (0.93 * side)
    return _scene(gear, side, mm_per_px, seed, turned, place)


def arc_scene(teeth: int, direction_deg: float, radius: float) -> Scene:
    """Scene of an arc of teeth that passes through the frame's middle.

    Parameters
    ----------
    teeth : int
    direction_deg : float
        Polar angle at which the centre lies from the frame's middle.
    radius : float
        Tip radius in sides of the frame; above 0.75 or so the centre lies outside.

    Returns
    -------
    Scene
    """
    side, angle = 1600, radians(direction_deg)
    spec = GearSpec(teeth=teeth, module_mm=0.5)
    mm_per_px = spec.gear().tip_radius / (radius * side)
    # The teeth lie far enough towards the other side that the centre is out of the frame.
    reach = (max(radius - 0.3, 0.52) / max(abs(cos(angle)), abs(sin(angle)), 0.72)) * side
    place = {
        "bore_x_px": side / 2 + reach * cos(angle),
        "bore_y_px": side / 2 + reach * sin(angle),
    }
    return _scene(spec, side, mm_per_px, teeth, 0.4, place)


def _scene(
    gear: GearSpec, side: int, mm_per_px: float, seed: int, turn: float, place: dict[str, float]
) -> Scene:
    pitch_um = 1000 * pi * gear.module
    camera = Camera.model_validate(
        {
            "mm_per_px": mm_per_px,
            "width_px": side,
            "height_px": side,
            "rotation_deg": turn * 360 / gear.teeth,
            "blur_px": 1.0,
            "noise": 0.01,
            "gamma": "linear",
        }
        | place
    )
    faults = Faults(pitch_scatter_um=0.004 * pitch_um, flank_scatter_um=0.002 * pitch_um)
    return Scene(gear=gear, camera=camera, faults=faults, seed=seed)


@dataclass(frozen=True, kw_only=True)
class Counted:
    """What came of a counting.

    Attributes
    ----------
    teeth, numbers : bool
        Whether the count, and every number given to a tooth that was measured, is right.
    module : bool
        Whether the module is right.
    measured, visible : int
        Flanks measured; flanks that lie wholly in the frame.
    invented : int
        Flanks measured though none of them lies in the frame.
    worst_px : float
        Worst place of a flank on the measuring circle against its own number's, px.
    """

    teeth: bool
    numbers: bool
    module: bool
    measured: int
    visible: int
    invented: int
    worst_px: float


def count(counting: Counting) -> Counted:
    """Read a gear and compare count and numbers with the truth.

    Parameters
    ----------
    counting : Counting

    Returns
    -------
    Counted

    Raises
    ------
    CogloupeError
        Where the picture is refused.
    """
    case = _drawn(counting.scene)
    reading, _ = inspect_photo(case.photo, settings_of(case.truth, **counting.given))
    module = abs(reading.gear.module_mm / counting.scene.gear.module - 1) < 1e-6
    if reading.gear.teeth != case.truth.gear.teeth:
        return Counted(
            teeth=False,
            numbers=False,
            module=module,
            measured=0,
            visible=0,
            invented=0,
            worst_px=float("nan"),
        )
    off = _off_px(case, reading)
    whole, part = _in_frame(case, counting.scene)
    seen = np.isfinite(off)
    pitch = pi * counting.scene.gear.module / case.truth.picture.mm_per_px
    return Counted(
        teeth=True,
        numbers=bool((off[seen] < pitch / 4).all()),
        module=module,
        measured=int(seen.sum()),
        visible=int(whole.sum()),
        invented=int((seen & ~part).sum()),
        worst_px=float(off[seen].max(initial=0.0)),
    )


@lru_cache(maxsize=1)
def _drawn(scene: Scene) -> Case:
    """Picture of a scene; the one before is kept, as one is often read in two ways."""
    return make_case(scene)


def _off_px(case: Case, reading: Reading) -> Floats:
    """Distance along the measuring circle of each flank from where its number's lies, px.

    The turn common to all is left in: numbers start at twelve o'clock, not at the gear.
    """
    table = case.truth.about_bore if reading.datum.kind == "bore" else case.truth.about_teeth
    got = [[t.left.position_deg, t.right.position_deg] for t in reading.teeth]
    true = [[t.left.position_deg, t.right.position_deg] for t in table.teeth]
    off = np.array(got, float) - np.array(true)
    radius = reading.gear.measuring_diameter_mm / 2 / case.truth.picture.mm_per_px
    return np.asarray(np.abs(np.radians((off + 180) % 360 - 180)) * radius)


def _in_frame(case: Case, scene: Scene) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Flanks that lie in the frame wholly, and at least in part; shape (z, 2)."""
    picture, px = case.truth.picture, case.truth.picture.mm_per_px
    teeth = case.truth.about_teeth.teeth
    angle = np.radians([[t.left.position_deg, t.right.position_deg] for t in teeth])
    gear = scene.gear.gear()
    radii = np.linspace(gear.reference_radius - gear.module_mm, gear.tip_radius, 9) / px
    x = picture.teeth_xy_px[0] + radii * np.cos(angle[..., None])
    y = picture.teeth_xy_px[1] + radii * np.sin(angle[..., None])
    inside = (x > 0) & (y > 0) & (x < picture.width_px - 1) & (y < picture.height_px - 1)
    return np.asarray(inside.all(axis=-1)), np.asarray(inside.any(axis=-1))
