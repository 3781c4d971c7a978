"""Gears drawn on photographs of other things, for the search: hard looks, known pose.

Only places to about a pixel matter here, so edges are drawn by plain supersampling.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from skimage import data

from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.rack import Gear, gear_outline

SIDE = 700
FINER = 3
GROUNDS = ("plain", "brick", "grass", "gravel", "wood", "cloth", "text", "coffee", "astronaut")


@dataclass(frozen=True, kw_only=True)
class Look:
    """What a composed picture shows; lengths px, shares of full scale."""

    teeth: int = 30
    x: float = 352.0
    y: float = 341.0
    tip_radius: float = 260.0
    turn_deg: float = 7.0
    lean_deg: float = 0.0
    lean_towards_deg: float = 0.0
    distance: float = np.inf
    ground: str = "plain"
    ground_level: float = 0.55
    contrast: float = -0.3
    colour: tuple[float, float, float] = (1.0, 1.0, 1.0)
    texture: float = 0.3
    marks: float = 0.0
    shadow: tuple[float, float, float] = (0.0, 0.0, 0.0)
    shade: float = 0.0
    holes: int = 0
    bore: float = 0.18
    hidden: int = 0
    missing: int = 0
    second: bool = False
    lettering: bool = False
    noise: float = 0.01
    jpeg: int = 92
    seed: int = 0


@dataclass(frozen=True)
class Composed:
    """A picture, and the true outline on it, shape (n, 2), px."""

    image: np.ndarray
    outline: np.ndarray
    look: Look


def compose(look):
    """Draw the picture of a look."""
    rng = np.random.default_rng(look.seed)
    outline = _placed(_wheel(look.teeth, look.missing), look, look.tip_radius)
    light = ground(look.ground, rng) ** look.texture
    light = look.ground_level * light / light.mean()
    cover = _covered([outline])
    falls = np.float32([[1, 0, look.shadow[0]], [0, 1, look.shadow[1]]])
    shadow = cv2.GaussianBlur(cv2.warpAffine(cover, falls, cover.shape[::-1]), (0, 0), 6)
    light = light * (1 - look.shadow[2] * shadow)[..., None]
    turn = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    openings = [_placed(look.bore * ring, look, look.tip_radius)]
    for k in range(look.holes):
        at = 2 * np.pi * k / look.holes
        hole = 0.55 * np.array([np.cos(at), np.sin(at)]) + 0.14 * ring
        openings.append(_placed(hole, look, look.tip_radius))
    face = cover * (1 - _covered(openings))
    level = look.ground_level + look.contrast
    rows, columns = np.mgrid[:SIDE, :SIDE].astype(np.float32)
    rings = np.hypot(columns - look.x, rows - look.y)
    marks = 1 + look.marks * np.interp(rings, np.arange(SIDE), rng.normal(0, 1, SIDE))
    gear = level * marks[..., None] * np.array(look.colour)
    light = light * (1 - face[..., None]) + gear * face[..., None]
    light = light * (1 + look.shade * (columns + 0.5 * rows - SIDE) / SIDE)[..., None]
    light = _strewn(light, look, rng)
    light += rng.normal(0, look.noise, light.shape)
    pixels = np.clip(np.rint(255 * light), 0, 255).astype(np.uint8)
    pixels = cv2.GaussianBlur(pixels, (0, 0), 0.7)
    _, file = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, look.jpeg])
    image = cv2.imdecode(file, cv2.IMREAD_COLOR)[..., ::-1]
    return Composed(np.ascontiguousarray(image), outline, look)


def _wheel(teeth, missing=0):
    """Outline of a gear whose tips lie on the unit circle, some of its teeth broken off."""
    gear = Gear(teeth, 1.0, basic_rack("iso53-a", 1.0))
    flat = np.zeros(teeth)
    xy = gear_outline(gear, 0.0, flat, flat, flank_points=20)
    angle = np.mod(np.arctan2(xy[:, 1], xy[:, 0]) + np.pi / teeth, 2 * np.pi)
    radius = np.hypot(*xy.T)
    gone = angle < missing * 2 * np.pi / teeth
    xy = np.where(gone[:, None], xy * (gear.root_radius / radius)[:, None], xy)
    return xy / gear.tip_radius


def _placed(unit, look, size):
    """Places on the picture of places on the gear: turned, leaning, seen from a distance."""
    turn, towards = np.radians([look.turn_deg, look.lean_towards_deg])
    c, s = np.cos(turn), np.sin(turn)
    xy = size * unit @ np.array([[c, s], [-s, c]])
    axis = np.array([np.cos(towards), np.sin(towards)])
    along = xy @ axis
    lean = np.radians(look.lean_deg)
    xy = xy + np.outer(along * (np.cos(lean) - 1), axis)
    nearer = 1 / (1 - along * np.sin(lean) / look.distance)
    return xy * nearer[:, None] + [look.x, look.y]


def _covered(shapes):
    """Share of every pixel that lies within any of some outlines."""
    fine = np.zeros((SIDE * FINER, SIDE * FINER), np.uint8)
    for xy in shapes:
        cv2.fillPoly(fine, [np.rint((xy + 0.5) * FINER - 0.5).astype(np.int32)], 255)
    size = (SIDE, SIDE)
    return cv2.resize(fine, size, interpolation=cv2.INTER_AREA).astype(np.float32) / 255


def ground(name, rng):
    """A ground, shape (SIDE, SIDE, 3), its levels between 0 and 1."""
    rows, columns = np.mgrid[:SIDE, :SIDE] / SIDE
    if name == "plain":
        picture = np.ones((SIDE, SIDE))
    elif name == "wood":
        bend = columns + 0.05 * np.sin(5 * rows + rng.uniform(0, 6))
        picture = 0.6 + 0.25 * np.sin(60 * bend + 8 * np.sin(7 * bend)) * np.sin(23 * bend)
    elif name == "cloth":
        picture = 0.6 + 0.2 * np.sign(np.sin(300 * rows)) * np.sign(np.sin(300 * columns))
    else:
        picture = getattr(data, name)() / 255.0
    if picture.ndim == 2:
        picture = np.repeat(picture[..., None], 3, axis=2)
    height, width = picture.shape[:2]
    side = min(height, width)
    top, left = rng.integers(0, height - side + 1), rng.integers(0, width - side + 1)
    part = picture[top : top + side, left : left + side, :3].astype(np.float32)
    return np.clip(cv2.resize(part, (SIDE, SIDE), interpolation=cv2.INTER_LINEAR), 0.02, 1)


def _strewn(light, look, rng):
    """What lies on and beside the gear: letters, a second gear, things that hide teeth."""
    light = np.ascontiguousarray(light, np.float32)
    if look.lettering:
        for k in range(4):
            at = (int(rng.uniform(10, SIDE - 200)), int(rng.uniform(40, SIDE - 20)))
            ink = np.zeros((SIDE, SIDE), np.uint8)
            cv2.putText(ink, f"M {0.1 * k + 0.3:.1f} Z {look.teeth}", at, 0, 1.1, 255, 2)
            light = np.where(ink[..., None] > 0, np.float32(0.1), light)
    if look.second:
        other = _wheel(17) * 0.3 * look.tip_radius + [SIDE - 60, SIDE - 60]
        weight = _covered([other])[..., None]
        light = light * (1 - weight) + 0.2 * weight
    for _ in range(look.hidden):
        at = rng.uniform(0, 2 * np.pi)
        place = [look.x + look.tip_radius * np.cos(at), look.y + look.tip_radius * np.sin(at)]
        axes = (int(0.35 * look.tip_radius), int(0.1 * look.tip_radius))
        skin = tuple(float(v) for v in rng.uniform([0.5, 0.3, 0.2], [0.9, 0.7, 0.6]))
        cv2.ellipse(light, (int(place[0]), int(place[1])), axes, np.degrees(at), 0, 360, skin, -1)
    return light


def any_look(rng):
    """A look drawn at random from what lies on benches."""
    teeth = int(np.exp(rng.uniform(np.log(8), np.log(120))))
    tip = rng.uniform(170, 300)
    free = SIDE / 2 - tip - 6
    contrast = rng.choice([-1, 1]) * np.exp(rng.uniform(np.log(0.03), np.log(0.4)))
    angle = rng.uniform(0, 2 * np.pi)
    far = rng.uniform(0, 30)
    leaning = rng.random() < 0.3
    return Look(
        teeth=teeth,
        x=SIDE / 2 + rng.uniform(-free, free),
        y=SIDE / 2 + rng.uniform(-free, free),
        tip_radius=tip,
        turn_deg=rng.uniform(0, 360),
        lean_deg=rng.uniform(3, 25) if leaning else 0.0,
        lean_towards_deg=rng.uniform(0, 180),
        distance=rng.uniform(5, 20) * tip,
        ground=str(rng.choice(GROUNDS)),
        ground_level=rng.uniform(0.3, 0.6),
        contrast=contrast,
        colour=tuple(rng.uniform(0.8, 1.2, 3)) if rng.random() < 0.5 else (1.0, 1.0, 1.0),
        texture=rng.uniform(0.05, 0.5),
        marks=rng.uniform(0, 0.15) * (rng.random() < 0.5),
        shadow=(far * np.cos(angle), far * np.sin(angle), rng.uniform(0, 0.6)),
        shade=rng.uniform(-0.4, 0.4),
        holes=int(rng.choice([0, 0, 3, 5, 10])),
        bore=rng.uniform(0.05, 0.4),
        hidden=int(rng.choice([0, 0, 0, 1, 2])),
        second=rng.random() < 0.2,
        lettering=rng.random() < 0.2,
        noise=rng.uniform(0.003, 0.02),
        jpeg=int(rng.integers(60, 97)),
        seed=int(rng.integers(1 << 30)),
    )
