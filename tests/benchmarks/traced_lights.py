"""What light and ground make of a broken edge: where one gear's edges seem to be.

One brass gear is traced on three grounds under every light, with sharp edges and with a chamfer. A
flank seems to be where its light is half way between ground and face: what any eye or program takes
for the edge that knows nothing of chamfers.
"""

from collections.abc import Iterable
from dataclasses import replace
from math import cos, radians
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tests.benchmarks import traced_sensor
from tests.benchmarks.traced_look import LIGHTS, Look, look
from tests.benchmarks.traced_noise import REACH_PX, flank_rows, profiles_of, stored_light
from tests.benchmarks.traced_render import light_of, start_mitsuba

Floats = NDArray[np.float64]

CHAMFER_MM = 0.05

GROUNDS = {
    "lamp": (1.0, 1.0, 0.98),
    "white paper": (0.84, 0.84, 0.84),
    "dark card": (0.04, 0.04, 0.04),
}

SEEN = 0.05
"""Step of light from ground to face, as a share of white, below which a flank shows no edge."""


def cases() -> list[tuple[str, str, Look]]:
    """Every ground under every light, with sharp edges and with a chamfer.

    Returns
    -------
    list of (str, str, Look)
    """
    pairs = [("lamp", "back")] + [(g, li) for g in list(GROUNDS)[1:] for li in LIGHTS]
    return [(g, li, _case(g, li, edge)) for g, li in pairs for edge in (0.0, CHAMFER_MM)]


def _case(ground: str, light: str, chamfer: float) -> Look:
    """The gear of look 6, flat and square to the camera, its marks slight."""
    base = look(6)
    camera = replace(base.camera, width_px=1400, height_px=1400, um_per_px=15.3, lean_deg=0.0)
    square = replace(camera, gear_px=(700.3, 699.6), foot_px=(0, 0), focus_above_mm=0.0)
    place = replace(base.place, ground=ground, ground_colour=GROUNDS[ground], light=light)
    lamp = replace(place, raised_mm=0.0, beside="nothing", room=0.2, lamp_elevation_deg=35.0)
    return replace(
        base,
        name=f"{ground} {light} {chamfer}".replace(" ", "_"),
        body=replace(base.body, chamfer_mm=chamfer, rounded=False, windows=0),
        finish=replace(base.finish, marks_slope=0.03, stain=0.0),
        place=replace(lamp, lamp_size=0.12),
        camera=square,
        sensor=replace(base.sensor, sharpened=0.0, jpeg_quality=97, electrons=10000.0),
    )


def half_level(picture: Path, seen: Look) -> tuple[Floats, float]:
    """Where flanks seem to be.

    Parameters
    ----------
    picture : Path
    seen : Look

    Returns
    -------
    places : ndarray, shape (n,)
        Px into the material from each true edge that shows a step at all.
    hidden : float
        Share of the flanks that show none.
    """
    light = stored_light(picture)
    means = [profiles_of(light, *row).mean(axis=(0, 2)) for row in flank_rows(seen)]
    steps = [(mean, mean[:4].mean(), mean[-4:].mean()) for mean in means]
    shown = [(mean - low) / (high - low) for mean, low, high in steps if abs(high - low) > SEEN]
    places = np.array([_crossing(rise) for rise in shown])
    return places[np.isfinite(places)], 1 - len(shown) / len(means)


def _crossing(rise: Floats) -> float:
    """First place where a profile from 0 to 1 passes a half, px from the middle."""
    at = np.flatnonzero((rise[:-1] < 0.5) & (rise[1:] >= 0.5))
    if not at.size:
        return float("nan")
    k = at[0]
    return float(k + (0.5 - rise[k]) / (rise[k + 1] - rise[k]) - REACH_PX)


def rows(folder: Path, paths: int, part: int, parts: int, variant: str | None) -> Iterable[Any]:
    """Trace every so-many-th case and measure it.

    Parameters
    ----------
    folder : Path
    paths : int
        For a pixel.
    part, parts : int
    variant : str, optional

    Yields
    ------
    tuple
        Ground, light, chamfer in px, mean place and its spread, change of thickness, hidden share.
    """
    mi = start_mitsuba(variant)
    folder.mkdir(parents=True, exist_ok=True)
    for ground, light, one in cases()[part::parts]:
        picture = folder / f"{one.name}.jpg"
        traced_sensor.save(light_of(mi, one, paths), one, picture)
        places, hidden = half_level(picture, one)
        wide = one.body.chamfer_mm / one.camera.um_per_px * 1000
        thick = -2 * places.mean() / cos(radians(one.gear.pressure_angle_deg))
        yield ground, light, wide, places.mean(), places.std(), thick, f"{hidden:.0%}"
