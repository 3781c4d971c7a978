"""Clean pictures: a back-lit gear, evenly lit, in focus all over, with noise and nothing else."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe.simulation import Camera, Faults, GearSpec, Scene

SIDE_PX = 2048
TIP_PX = 1900
TEETH = (24, 21, 28, 26, 20, 30, 23, 27)
BLURS_PX = (0.7, 1.2, 2.0, 3.0)
NOISES = (0.01, 0.02)
CONTRAST = 160 / 255


def clean_scene(
    teeth: int, seed: int, blur: float, size: tuple[int, int] = (SIDE_PX, SIDE_PX)
) -> Scene:
    """Scene of a back-lit gear without noise or dirt, in 16 bits of linear light.

    Parameters
    ----------
    teeth, seed : int
    blur : float
        Px.
    size : (int, int)
        Width and height, px.

    Returns
    -------
    Scene
    """
    rng = np.random.default_rng([seed, teeth])
    off = rng.uniform(-9, 9, 2)
    mm_per_px = (teeth + 2) / (min(size) * TIP_PX / SIDE_PX)
    camera = Camera(
        mm_per_px=mm_per_px,
        width_px=size[0],
        height_px=size[1],
        bore_x_px=(size[0] - 1) / 2 + off[0],
        bore_y_px=(size[1] - 1) / 2 + off[1],
        rotation_deg=rng.uniform(0.1, 0.9) * 360 / teeth,
        blur_px=blur,
        noise=0.0,
        bits=16,
        gamma="linear",
        oversample=2 if size[0] <= SIDE_PX else 1,
    )
    faults = Faults(pitch_scatter_um=5, flank_scatter_um=3, eccentricity_um=15)
    gear = GearSpec(teeth=teeth, module_mm=1.0, bore_mm=0.35 * teeth)
    return Scene(gear=gear, faults=faults, camera=camera, seed=seed)


def noisy(image: NDArray[Any], noise: float, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Add noise to a clean picture and round it to 8 bits.

    Parameters
    ----------
    image : ndarray, shape (h, w), uint16
    noise : float
        Share of the contrast.
    rng : Generator

    Returns
    -------
    ndarray, shape (h, w), uint8
    """
    deviate = rng.standard_normal(image.shape, np.float32)
    level = image * np.float32(255 / 65535) + deviate * np.float32(noise * CONTRAST * 255)
    return np.asarray(np.clip(np.rint(level), 0, 255), np.uint8)
