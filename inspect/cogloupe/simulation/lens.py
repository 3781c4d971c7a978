"""From the gear's millimetres to the picture's pixels, and from light to file levels."""

import cv2
import numpy as np
import shapely

from cogloupe.simulation.coverage import area_coverage
from cogloupe.simulation.scene import Camera, polar_vector
from cogloupe_calibration.arrays import Floats

# Largest distance between a chord of a drawn outline and its curve, px.
CHORD_ERROR_PX = 0.0005


def bore_place(camera: Camera) -> Floats:
    """Place (2,), px, of the bore's centre before lean and lens move it."""
    x = (camera.width_px - 1) / 2 if camera.bore_x_px is None else camera.bore_x_px
    y = (camera.height_px - 1) / 2 if camera.bore_y_px is None else camera.bore_y_px
    return np.array([x, y])


def finer(camera: Camera) -> Camera:
    """The same view with more pixels: the samples of light that `oversample` asks for."""
    k = camera.oversample
    if k == 1:
        return camera
    bore = (bore_place(camera) + 0.5) * k - 0.5
    far = camera.far_blur_px
    return camera.model_copy(
        update={
            "oversample": 1,
            "mm_per_px": camera.mm_per_px / k,
            "width_px": camera.width_px * k,
            "height_px": camera.height_px * k,
            "bore_x_px": float(bore[0]),
            "bore_y_px": float(bore[1]),
            "blur_px": camera.blur_px * k,
            "far_blur_px": None if far is None else far * k,
        }
    )


def pooled(light: Floats, k: int) -> Floats:
    """Mean of blocks of k by k samples of light (k h, k w[, 3]): what each pixel gathers."""
    if k == 1:
        return light
    height, width = light.shape[0] // k, light.shape[1] // k
    blocks = light.reshape(height, k, width, k, *light.shape[2:])
    return np.asarray(blocks.mean(axis=(1, 3)))


def spread(pattern: Floats, k: int) -> Floats:
    """Repeat each pixel's value (h, w) over its k by k samples."""
    return pattern if k == 1 else np.asarray(np.kron(pattern, np.ones((k, k))), np.float64)


def to_pixels(points: Floats, camera: Camera) -> Floats:
    """Map points (n, 2), mm about the bore's axis, onto the picture: tilt, scale, lens distortion.

    Distortion is ``r' = r (1 + k (r / R)^2)`` about the frame's middle, R its corner.
    """
    middle = np.array([camera.width_px - 1, camera.height_px - 1]) / 2
    # The stage leans about the lens's own axis, wherever on it the gear lies.
    from_axis = points + (bore_place(camera) - middle) * camera.mm_per_px
    offset = _tilted(from_axis, camera) / camera.mm_per_px
    share = np.sum(offset**2, axis=1) / np.sum(middle**2)
    return np.asarray(middle + offset * (1 + camera.distortion * share)[:, None])


def _tilted(points: Floats, camera: Camera) -> Floats:
    """Perspective view of the leaning plane; the side of `tilt_direction_deg` leans away."""
    if camera.tilt_deg == 0:
        return points
    along = np.array(polar_vector(1.0, camera.tilt_direction_deg))
    cos_tilt, sin_tilt = polar_vector(1.0, camera.tilt_deg)
    reach = points @ along
    shortened = points + (reach * (cos_tilt - 1))[:, None] * along
    return np.asarray(
        shortened * (camera.distance_mm / (camera.distance_mm + reach * sin_tilt))[:, None]
    )


def cover(shape: shapely.Geometry, camera: Camera) -> Floats:
    """Exact pixel coverage (h, w), 0 to 1, of a shape in mm about the bore."""
    total = np.zeros(camera.shape)
    for part in shapely.get_parts(shape):
        if isinstance(part, shapely.Polygon) and not part.is_empty:
            rings = (shapely.get_coordinates(r)[:-1] for r in (part.exterior, *part.interiors))
            outline, *holes = (to_pixels(ring, camera) for ring in rings)
            total += area_coverage(outline, camera.shape, holes)
    return np.asarray(np.clip(total, 0.0, 1.0))


def blurred(light: Floats, sigma: float) -> Floats:
    """Blur light (h, w[, 3]) by a Gaussian, px; the frame's border is continued outwards.

    Notes
    -----
    The kernel is sampled at whole pixels, so the lens's spread is a symmetric stair about the
    Gaussian: at 1.2 px the half-level crossing between samples moves by up to 0.01 px with the
    edge's place in its pixel, and by nothing on average. `Camera.oversample` makes the stair finer.
    """
    if sigma <= 0:
        return light
    size = 2 * int(np.ceil(5 * sigma)) + 1
    border = cv2.BORDER_REPLICATE
    return np.asarray(cv2.GaussianBlur(light, (size, size), sigma, borderType=border), np.float64)


def focused(light: Floats, camera: Camera) -> Floats:
    """Blur the picture as the lens does, by `blur_px` at its left, by `far_blur_px` at its right.

    Between five blurs the variance is mixed evenly across the frame.
    """
    far = camera.far_blur_px
    if far is None or far == camera.blur_px:
        return blurred(light, camera.blur_px)
    steps = np.sqrt(np.linspace(camera.blur_px**2, far**2, 5))
    across = np.linspace(0, 4, camera.width_px)
    total = np.zeros_like(light)
    for i, sigma in enumerate(steps):
        weight = np.clip(1 - np.abs(across - i), 0, 1)
        weight = weight[:, None] if light.ndim == 3 else weight
        total += blurred(light, float(sigma)) * weight
    return total


def to_linear(level: Floats, gamma: str) -> Floats:
    """Linear light of file levels, both as shares of full scale.

    sRGB after IEC 61966-2-1, from memory.
    """
    if gamma == "linear":
        return level
    return np.where(level <= 0.04045, level / 12.92, ((level + 0.055) / 1.055) ** 2.4)


def to_level(light: Floats, gamma: str) -> Floats:
    """File levels of linear light, cut to 0..1: the inverse of `to_linear`."""
    light = np.clip(light, 0.0, 1.0)
    if gamma == "linear":
        return light
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def sharpened(level: Floats, amount: float, radius_px: float) -> Floats:
    """Unsharp masking, as cameras do it to what they store, cut to 0..1.

    `amount` of the difference from the picture blurred by a Gaussian, `radius_px`, is added.
    """
    return np.clip(level + amount * (level - blurred(level, radius_px)), 0.0, 1.0)
