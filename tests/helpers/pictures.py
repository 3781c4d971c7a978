"""Small rendered pictures for the tests of reading: made once, measured once, kept."""

import io
import os
from functools import cache
from math import cos, pi, radians, sqrt

import numpy as np
from PIL import Image
from scipy.special import ndtr

from cogloupe.inputs.photo import Photo
from cogloupe.inputs.settings import make_settings
from cogloupe.inspection import inspect_photo
from cogloupe.simulation import Camera, Faults, GearSpec, render

WHEEL = GearSpec(teeth=24, module_mm=1.0, bore_mm=6.0)
# Light is sampled finer than the pixel and stored without a curve, so that the picture's own
# errors stay below a thousandth of a pixel.
CAMERA = Camera(
    mm_per_px=0.04, width_px=740, height_px=740, rotation_deg=5.0, blur_px=1.0, noise=0.01,
    oversample=2, gamma="linear",
)  # fmt: skip
SCATTERED = Faults(pitch_scatter_um=8)
KNOWN = {"teeth": 24, "module_mm": 1.0, "scale_um_per_px": 40.0}


@cache
def rendered(spec=WHEEL, faults=SCATTERED, seed=1, **camera):
    """Picture and truth; changes of the camera by name."""
    return render(spec, faults, CAMERA.model_copy(update=camera), np.random.default_rng(seed))


def as_jpeg(pixels, quality):
    """Pixels as a JPEG file of a quality gives them back, and its steps of brightness, (8, 8)."""
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "JPEG", quality=quality)
    with Image.open(file) as image:
        return np.asarray(image), np.reshape(image.quantization[0], (8, 8))


class _FiguresAreThere(Exception):  # noqa: N818 (nothing is wrong)
    """Ends a reading as soon as its figures are there, and carries it."""


def _end_here(reading):
    raise _FiguresAreThere(reading)


def read(image, **settings):
    """Reading of pixels in memory up to its figures.

    What cut the gaps and the verdict come after them, change none and take twice as long.
    """
    try:
        read_whole(image, _end_here, **settings)
    except _FiguresAreThere as found:
        return found.args[0]


def read_whole(image, figured=None, **settings):
    """Reading of pixels in memory with what cut the gaps and the verdict."""
    photo = Photo("gear.png", "0" * 64, np.ascontiguousarray(image), {})
    return inspect_photo(photo, make_settings(KNOWN | settings), figured)[0]


@cache
def wheel_reading():
    """Reading of the wheel most tests compare with."""
    return read(rendered().image)


def flanks(table, name):
    """One figure of every flank, shape (z, 2): left, right; NaN where not seen."""
    values = [[getattr(tooth.left, name), getattr(tooth.right, name)] for tooth in table.teeth]
    return np.array(values, float)


def rms(values):
    return float(np.sqrt(np.nanmean(np.square(values))))


def pitch_bound_um(camera=CAMERA, module_mm=1.0, pressure_angle_deg=20.0):
    """Least standard deviation that the noise allows a single pitch deviation, um.

    An edge sample knows its place to (noise / step) sqrt(2 sqrt(pi) s), s the blur with the
    pixel's own box (information bound, tests/reference/edge_localisation.toml), one sample for
    each pixel of length. A flank is evaluated over about 1.6 modules of length; a
    displacement along the normal is longer by 1 / cos a on the measuring circle; and a pitch has
    two flanks. Rounding to 8 bits adds a twelfth of a level squared to the noise.
    """
    step = 160 / 255  # CAMERA's own levels, as its `noise` counts them
    rounding = 1 / sqrt(12) / 255 / step if camera.bits == 8 else 0.0
    noise = np.hypot(camera.noise, rounding)
    blur = sqrt(camera.blur_px**2 + 1 / 12)
    length_px = 1.6 * module_mm / camera.mm_per_px
    flank_px = noise * sqrt(2 * sqrt(pi) * blur / length_px)
    return 1000 * camera.mm_per_px * sqrt(2) * flank_px / cos(radians(pressure_angle_deg))


@cache
def disc(radius=150.0, x=211.3, y=198.6, size=(420, 410), blur=1.0, light=False, sides=0):
    """Blurred disc (or polygon of so many sides), 8 bits, its edge exact to a few thousandths."""
    rows, columns = np.mgrid[0 : size[1], 0 : size[0]].astype(float)
    dx, dy = columns - x, rows - y
    if sides:
        sector = np.mod(np.arctan2(dy, dx), 2 * pi / sides) - pi / sides
        out = np.hypot(dx, dy) * np.cos(sector) - radius * cos(pi / sides)
    else:
        # A blurred disc's edge lies s^2 / 2R further in than the disc's.
        out = np.hypot(dx, dy) - radius + blur**2 / (2 * radius)
    ground = ndtr(out / blur)
    grey = 200 - 160 * ground if light else 40 + 160 * ground
    grey += np.random.default_rng(4).normal(0, 1.6, grey.shape)
    return np.clip(np.rint(grey), 0, 255).astype(np.uint8)


def write(path, image, **options):
    """Write pixels to a file by its ending, and give the path back."""
    Image.fromarray(np.ascontiguousarray(image)).save(path, **options)
    return path


def grow(path, data, parts=6, pause=None):
    """Write a file bit by bit, as a slow copy does; `pause` is called between the parts."""
    size = -(-len(data) // parts)
    with path.open("wb") as file:
        for start in range(0, len(data), size):
            file.write(data[start : start + size])
            file.flush()
            os.fsync(file.fileno())
            if pause is not None and start + size < len(data):
                pause()
