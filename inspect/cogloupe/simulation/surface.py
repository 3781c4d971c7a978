"""What metal, ground and light look like: brightness patterns, as shares about 1.

They are for the eye and for the robustness of a reader; they move no edge.
"""

import cv2
import numpy as np

from cogloupe.simulation.lens import blurred
from cogloupe.simulation.scene import Camera, polar_vector
from cogloupe_calibration.arrays import Floats

# The lamp stands at the upper left.
LAMP_DEG = -125.0


def uneven_light(camera: Camera) -> Floats:
    """Brightness (h, w) of the lighting over the frame.

    1 at the middle; a slope across the frame with a slight fall towards the corners.
    """
    height, width = camera.shape
    y, x = np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j]
    along = np.array(polar_vector(1.0, camera.illumination_direction_deg))
    slope = (x * along[0] + y * along[1]) / np.abs(along).sum()
    return np.asarray(1 + camera.illumination * (slope - 0.25 * (x**2 + y**2)))


def _grain(shape: tuple[int, int], sigma: float, rng: np.random.Generator) -> Floats:
    """Smooth noise of unit standard deviation whose grains measure about sigma px."""
    coarse = max(1, int(sigma / 2))
    small = rng.normal(0, 1, (shape[0] // coarse + 8, shape[1] // coarse + 8))
    soft = blurred(small, sigma / coarse)
    large = cv2.resize(soft / soft.std(), None, fx=coarse, fy=coarse, interpolation=cv2.INTER_CUBIC)
    return np.asarray(large[: shape[0], : shape[1]], np.float64)


def ground_texture(camera: Camera, rng: np.random.Generator) -> Floats:
    """Brightness (h, w), about 1, of the ground: blotches, grain and scratches out of focus."""
    parts = [(0.7, 3.0), (0.5, 12.0), (0.5, 90.0)]
    pattern = sum(share * _grain(camera.shape, sigma, rng) for share, sigma in parts)
    return np.asarray(1 + camera.ground_texture * pattern)


def face_texture(camera: Camera, centre: Floats, rng: np.random.Generator) -> Floats:
    """Brightness (h, w), about 1, of a machined face.

    Turned: rings about the centre, px, with the fan of light they throw; drawn: straight strokes of
    abrasive paper.
    """
    make = _turned if camera.mark_kind == "turned" else _drawn
    stains = 0.5 * _grain(camera.shape, 60.0, rng) + 0.25 * _grain(camera.shape, 8.0, rng)
    pits = np.minimum(_grain(camera.shape, 1.6, rng) + 2.6, 0.0)
    return np.asarray(1 + camera.tool_marks * (make(camera, centre, rng) + stains + 2 * pits))


def _turned(camera: Camera, centre: Floats, rng: np.random.Generator) -> Floats:
    """Feed marks of facing in the lathe: rings, lit where they run across the light."""
    height, width = camera.shape
    x, y = np.arange(width) - centre[0], np.arange(height)[:, None] - centre[1]
    # Each ring wanders a little, as the tool does.
    radius = np.hypot(x, y) + 1.5 * _grain(camera.shape, 40.0, rng)
    line = rng.normal(0, 1, int(radius.max()) + 4)
    fine = np.convolve(line, [0.25, 0.5, 0.25], "same")
    broad = np.convolve(line, np.ones(9) / 3, "same")
    rings = np.interp(radius, np.arange(len(line)), fine + 0.6 * broad)
    fan = np.cos(np.arctan2(y, x) - np.radians(LAMP_DEG)) ** 2
    return np.asarray(rings * (0.35 + 0.9 * fan**2) + 2.2 * (fan**3 - 0.35))


def _drawn(camera: Camera, centre: Floats, rng: np.random.Generator) -> Floats:
    """Strokes of abrasive paper: streaks in two directions that nearly agree."""
    side = int(np.hypot(*camera.shape)) + 2
    total = np.zeros(camera.shape)
    for turn_deg in (24.0, 31.0):
        streaks = cv2.GaussianBlur(rng.normal(0, 1, (side, side)), (0, 0), 45.0, sigmaY=0.8)
        turn = cv2.getRotationMatrix2D((side / 2, side / 2), turn_deg, 1.0)
        turned = cv2.warpAffine(
            streaks / streaks.std(), turn, (side, side), borderMode=cv2.BORDER_WRAP
        )
        total += turned[: camera.height_px, : camera.width_px]
    return np.asarray(total * 0.6)


def bevel_light(covered: Floats, width_px: float) -> Floats:
    """Brightness of a bevelled edge, a share of the face's, from coverage (h, w) of the whole gear.

    Bright where it faces the lamp, dark where it looks away; the bevel's width is in px.
    """
    soft = blurred(covered, max(width_px / 2, 0.7))
    across, down = -np.gradient(soft, axis=1), -np.gradient(soft, axis=0)
    lamp = polar_vector(1.0, LAMP_DEG)
    facing = (across * lamp[0] + down * lamp[1]) / (np.hypot(across, down) + 1e-9)
    return np.asarray(0.75 + 0.55 * facing)


def shadow(covered: Floats, offset_px: float) -> Floats:
    """Light (h, w) that the gear's shadow leaves on the ground, from coverage (h, w) of all of it.

    1 outside the shadow, which falls `offset_px` from the edge, away from the lamp.
    """
    if offset_px == 0:
        return np.ones_like(covered)
    x, y = polar_vector(-offset_px, LAMP_DEG)
    move = np.array([[1.0, 0.0, x], [0.0, 1.0, y]])
    size = (covered.shape[1], covered.shape[0])
    moved = np.asarray(cv2.warpAffine(covered, move, size), np.float64)
    return np.asarray(1 - 0.45 * blurred(moved, offset_px / 2))
