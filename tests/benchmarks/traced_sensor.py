"""From light on the sensor to a picture file: blur, noise, the camera's curve, sharpening, JPEG."""

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from tests.benchmarks.traced_look import Look

Floats = NDArray[np.float64]

BRIGHT = 99.0
"""Percentile of the picture's light that a camera's exposure goes by."""


def exposed(light: Floats, look: Look) -> Floats:
    """Light after lens and exposure, 1 for white.

    Parameters
    ----------
    light : ndarray, shape (h, w, 3)
    look : Look

    Returns
    -------
    ndarray, shape (h, w, 3)
    """
    sensor = look.sensor
    bright = np.percentile(light.max(axis=2), BRIGHT if look.place.ground != "lamp" else 70.0)
    level = light * _to_light(sensor.white_at) / bright
    kept = np.minimum(level, 30.0).astype(np.float32)
    return np.asarray(cv2.GaussianBlur(kept, (0, 0), sensor.blur_px), float)


def with_noise(level: Floats, look: Look) -> Floats:
    """What the sensor counts, as a share of white.

    Parameters
    ----------
    level : ndarray, shape (h, w, 3)
    look : Look

    Returns
    -------
    ndarray, shape (h, w, 3)
    """
    rng = np.random.default_rng([look.number, 5])
    counts = rng.poisson(np.maximum(level, 0) * look.sensor.electrons)
    return np.asarray(
        (counts + rng.normal(0, look.sensor.read_electrons, level.shape)) / look.sensor.electrons
    )


def developed(level: Floats, look: Look) -> NDArray[np.uint8]:
    """Stored values: sRGB's curve, then sharpening as cameras do it.

    Parameters
    ----------
    level : ndarray, shape (h, w, 3)
    look : Look

    Returns
    -------
    ndarray, shape (h, w, 3), uint8
    """
    value = _from_light(np.clip(level, 0, 1))
    if look.sensor.sharpened:
        soft = cv2.GaussianBlur(value, (0, 0), look.sensor.sharpening_px)
        value = value + look.sensor.sharpened * (value - soft)
    return np.asarray(np.clip(np.round(255 * value), 0, 255), np.uint8)


def save(light: Floats, look: Look, path: Path) -> None:
    """Take the picture.

    Parameters
    ----------
    light : ndarray, shape (h, w, 3)
    look : Look
    path : Path
    """
    stored = developed(with_noise(exposed(light, look), look), look)
    full = look.sensor.jpeg_quality >= 95
    Image.fromarray(stored).save(
        path, quality=look.sensor.jpeg_quality, subsampling=0 if full else 2
    )


def _to_light(value: float) -> float:
    return value / 12.92 if value < 0.04045 else ((value + 0.055) / 1.055) ** 2.4


def _from_light(light: Floats) -> Floats:
    return np.where(
        light < 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055
    )
