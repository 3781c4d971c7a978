"""Grounds and tool marks as arrays: what lies under a gear, and what a tool leaves on its face."""

from collections.abc import Callable
from math import cos, pi, radians, sin

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft

Floats = NDArray[np.float64]

SIDE = 2560
"""Pixels along one side of a texture: as fine as the pictures' own."""


def rough(rng: np.random.Generator, along: float, across: float, turn_deg: float = 0.0) -> Floats:
    """Noise of unit variance, smooth over so many texels along and across a direction.

    Parameters
    ----------
    rng : Generator
    along, across : float
        Standard deviations of the smoothing, texels.
    turn_deg : float

    Returns
    -------
    ndarray, shape (SIDE, SIDE)
    """
    fy, fx = np.fft.fftfreq(SIDE)[:, None], np.fft.rfftfreq(SIDE)[None]
    c, s = cos(radians(turn_deg)), sin(radians(turn_deg))
    reach = (along * (fx * c + fy * s)) ** 2 + (across * (fy * c - fx * s)) ** 2
    waves = fft.rfft2(rng.normal(size=(SIDE, SIDE)).astype(np.float32))
    noise = fft.irfft2(waves * np.exp(-2 * pi**2 * reach).astype(np.float32), (SIDE, SIDE))
    return np.asarray((noise - noise.mean()) / noise.std(), float)


def _grid() -> tuple[Floats, Floats]:
    y, x = np.mgrid[0:SIDE, 0:SIDE] - (SIDE - 1) / 2
    return x, y


def _turned(rng: np.random.Generator, pitch: float) -> Floats:
    """Rings of a turning tool about a point near the middle, with a scatter of depth."""
    x, y = _grid()
    off = rng.normal(0, 0.004 * SIDE, 2)
    radius = np.hypot(x - off[0], y - off[1]) + 1e-9
    rings = cv2.GaussianBlur(rng.normal(size=(1, SIDE * 2)), (0, 0), sigmaX=pitch / 2, sigmaY=0.1)[
        0
    ]
    rings = rings / rings.std() + 0.7 * np.sin(2 * pi * np.arange(SIDE * 2) / pitch)
    return np.interp(radius, np.arange(SIDE * 2), rings) + 0.15 * rough(rng, 2, 2)


def _milled(rng: np.random.Generator, pitch: float) -> Floats:
    return rough(rng, SIDE / 4, pitch / 3, rng.uniform(1, 179)) + 0.2 * rough(rng, 12, 1.5)


def _sanded(rng: np.random.Generator, pitch: float) -> Floats:
    turn = rng.uniform(1, 179)
    return rough(rng, 90, pitch / 5, turn) + 0.6 * rough(rng, 90, pitch / 5, turn + 40)


def _blasted(rng: np.random.Generator, pitch: float) -> Floats:
    return rough(rng, pitch / 8, pitch / 8)


def _printed(rng: np.random.Generator, pitch: float) -> Floats:
    """Strands laid side by side by a printer."""
    x, y = _grid()
    turn = radians(rng.uniform(20, 70))
    across = x * sin(turn) + y * cos(turn) + 0.4 * pitch * rough(rng, 60, 60) * 0.3
    return np.abs(np.sin(pi * across / (3 * pitch))) + 0.1 * rough(rng, 3, 3)


_MARKS: dict[str, Callable[[np.random.Generator, float], Floats]] = {
    "turned": _turned,
    "milled": _milled,
    "sanded": _sanded,
    "blasted": _blasted,
    "printed": _printed,
}


def marks(rng: np.random.Generator, kind: str, pitch_texels: float, slope: float) -> Floats | None:
    """Heights that a tool left, in texels.

    Parameters
    ----------
    rng : Generator
    kind : str
    pitch_texels : float
    slope : float
        Root mean square.

    Returns
    -------
    ndarray, shape (SIDE, SIDE), or None
        None for a smooth face.
    """
    if kind == "smooth":
        return None
    height = _MARKS[kind](rng, max(pitch_texels, 3.0))
    steep = np.sqrt(np.mean(np.diff(height, axis=0) ** 2) + np.mean(np.diff(height, axis=1) ** 2))
    return np.asarray(height * slope / steep)


def stains(rng: np.random.Generator, share: float) -> Floats:
    """Share of light that a tarnished face gives back.

    Parameters
    ----------
    rng : Generator
    share : float

    Returns
    -------
    ndarray, shape (SIDE, SIDE)
    """
    patches = rough(rng, SIDE / 16, SIDE / 16) + 0.5 * rough(rng, SIDE / 60, SIDE / 60)
    return 1 - share * np.clip(0.5 + 0.5 * patches, 0, 1)


def _paper(rng: np.random.Generator, colour: Floats, per_mm: float) -> Floats:
    fibres = rough(rng, 0.06 * per_mm, 0.06 * per_mm) + rough(rng, 0.5 * per_mm, 0.4 * per_mm)
    return colour * (1 + 0.012 * fibres)[..., None]


def _squared(rng: np.random.Generator, colour: Floats, per_mm: float) -> Floats:
    """Paper ruled every millimetre or five."""
    sheet = _paper(rng, colour, per_mm)
    ink = np.array([[0.35, 0.55, 0.75], [0.80, 0.45, 0.25]][rng.integers(2)])
    return _ruled(sheet, ink, rng.choice([1, 5]) * per_mm, 0.14 * per_mm, rng.uniform(-12, 12), 0.6)


def _ruled(
    sheet: Floats, ink: Floats, every: float, wide: float, turn: float, dense: float
) -> Floats:
    x, y = _grid()
    c, s = cos(radians(turn)), sin(radians(turn))
    cover = np.zeros_like(x)
    for along in (x * c + y * s, y * c - x * s):
        off = np.abs((along + every / 3) % every - every / 2)
        cover = np.maximum(cover, dense * np.clip((wide / 2 - off) + 0.5, 0, 1))
    return sheet * (1 - cover[..., None]) + ink * cover[..., None]


_NOTES = (
    "planet train of the orrery",
    "wheel  teeth  module",
    "sun 96  moon 12  year 30",
    "index plate, 60 holes",
    "feed 0.05  turn by hand",
)


def _printed_paper(rng: np.random.Generator, colour: Floats, per_mm: float) -> Floats:
    """A page of the workshop's notes under the gear."""
    page, size = np.zeros((SIDE, SIDE), np.uint8), 0.06 * per_mm
    font, thick = cv2.FONT_HERSHEY_COMPLEX, max(int(0.15 * per_mm), 1)
    for row, y in enumerate(np.arange(0, SIDE, 3.6 * per_mm)):
        words = "   ".join(_NOTES[(row + k) % len(_NOTES)] for k in range(12))
        place = (int(-rng.uniform(0, 20) * per_mm), int(y))
        cv2.putText(page, words, place, font, size, 255, thick, cv2.LINE_AA)
    turn = cv2.getRotationMatrix2D((SIDE / 2, SIDE / 2), rng.uniform(-25, 25), 1.0)
    ink = 0.9 * cv2.warpAffine(page, turn, (SIDE, SIDE))[..., None] / 255
    return _paper(rng, colour, per_mm) * (1 - ink) + 0.03 * ink


def _wood(rng: np.random.Generator, colour: Floats, per_mm: float) -> Floats:
    """Year rings cut lengthwise, and pores along them."""
    turn = rng.uniform(1, 179)
    waves = rough(rng, 14 * per_mm, 1.6 * per_mm, turn)
    lines = np.sin(7 * waves + 2 * rough(rng, 20 * per_mm, 0.5 * per_mm, turn))
    pores = np.clip(rough(rng, 1.2 * per_mm, 0.05 * per_mm, turn) - 1.4, 0, 2)
    bright = 1 + 0.16 * lines + 0.05 * waves - 0.25 * pores
    return colour ** (1 + 0.06 * lines[..., None]) * np.clip(bright, 0.2, 2)[..., None]


def _cloth(rng: np.random.Generator, colour: Floats, per_mm: float) -> Floats:
    """Plain weave with uneven threads."""
    x, y = _grid()
    thread = rng.uniform(0.35, 0.7) * per_mm
    turn = radians(rng.uniform(-40, 40))
    u = (x * cos(turn) + y * sin(turn)) / thread + 0.25 * rough(rng, 3 * thread, 3 * thread)
    v = (y * cos(turn) - x * sin(turn)) / thread + 0.25 * rough(rng, 3 * thread, 3 * thread)
    over = np.sign(np.sin(pi * u) * np.sin(pi * v))
    warp, weft = np.abs(np.sin(pi * u)) ** 0.6, np.abs(np.sin(pi * v)) ** 0.6
    relief = np.where(over > 0, warp * (0.6 + 0.4 * weft), weft * (0.6 + 0.4 * warp))
    fuzz = rough(rng, 0.05 * per_mm, 0.05 * per_mm)
    return colour * np.clip(0.35 + 0.8 * relief + 0.06 * fuzz, 0.1, 1.4)[..., None]


def _mat(rng: np.random.Generator, colour: Floats, per_mm: float) -> Floats:
    """Cutting mat: lines every ten millimetres, old cuts."""
    sheet = colour * (1 + 0.05 * rough(rng, 0.05 * per_mm, 0.05 * per_mm))[..., None]
    cuts = np.clip(rough(rng, 9 * per_mm, 0.03 * per_mm, rng.uniform(1, 179)) - 2.6, 0, 1)
    sheet = sheet * (1 + 0.8 * cuts[..., None])
    turn = rng.uniform(-30, 30)
    ink = np.array([0.55, 0.55, 0.25])
    return _ruled(sheet, ink, 10 * per_mm, 0.3 * per_mm, turn, 0.8)


def _brushed(rng: np.random.Generator, colour: Floats, per_mm: float) -> Floats:
    strokes = rough(rng, 6 * per_mm, 0.04 * per_mm, rng.uniform(1, 179))
    return (
        colour
        * np.clip(1 + 0.07 * strokes + 0.03 * rough(rng, per_mm, per_mm), 0.3, 1.6)[..., None]
    )


def _lamp(rng: np.random.Generator, colour: Floats, per_mm: float) -> Floats:
    """Radiance of a lit pad: brightest somewhere near the middle, falling off to the rim."""
    x, y = _grid()
    middle = rng.uniform(-0.2, 0.2, 2) * SIDE
    fall = rng.uniform(0, 0.25)
    far = ((x - middle[0]) ** 2 + (y - middle[1]) ** 2) / (SIDE / 2) ** 2
    return colour * (1 - fall * np.clip(far, 0, 2) / 2)[..., None]


_GROUNDS: dict[str, Callable[[np.random.Generator, Floats, float], Floats]] = {
    "lamp": _lamp,
    "white paper": _paper,
    "paper": _paper,
    "dark card": _paper,
    "card like the gear": _paper,
    "coloured card": _paper,
    "squared paper": _squared,
    "printed paper": _printed_paper,
    "wood": _wood,
    "cloth": _cloth,
    "metal plate": _brushed,
    "cutting mat": _mat,
}


def ground(
    rng: np.random.Generator, kind: str, colour: tuple[float, float, float], per_mm: float
) -> Floats:
    """What a ground gives back of each colour, linear.

    Parameters
    ----------
    rng : Generator
    kind : str
    colour : tuple of float
    per_mm : float
        Texels per millimetre.

    Returns
    -------
    ndarray, shape (SIDE, SIDE, 3)
    """
    top = 1.0 if kind == "lamp" else 0.92
    return np.asarray(np.clip(_GROUNDS[kind](rng, np.array(colour), per_mm), 0.005, top))
