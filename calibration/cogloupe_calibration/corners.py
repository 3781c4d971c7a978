"""Corners of a checkerboard: find them as saddles, refine them on the raw pixels.

A corner looks the same after half a turn, whatever the camera's response and however far the ink
has spread, so neither moves it; only uneven light does, and that is fitted along.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe_calibration.arrays import Floats, Ints
from cogloupe_calibration.lattice import Lattice, grow_lattice, line_distance
from cogloupe_calibration.patch_fit import Marks, fit_marks, gathered, smooth_step

SMOOTH_PX = 1.5
"""Blur before saddles are looked for: second derivatives of raw pixels are mostly noise (our own
judgement)."""
RING_PX, RING_SAMPLES = 4.5, 32
"""Ring that looks round a corner: three times that blur away, where the four squares are clear, and
about one sample a pixel of its length."""
WIDE_RINGS, MORE_CORNERS = 2.5, 1.1
"""Squares of so many rings' radii are wide enough to be sure of; and how many times more corners a
finer picture must show to be taken instead (our own judgement)."""
SURE_CORNERS, WEAKEST_SADDLE = 16, 0.15
"""A board that can be used has this many corners, so a saddle weaker than this share of theirs is
none; uneven light makes some corners fainter (our own judgement)."""
# Of what varies round a corner the second harmonic is 8/pi^2 when sharp and more when blurred.
LEAST_SECOND_HARMONIC = 0.5
MOST_CANDIDATES = 6000
"""Strongest saddles that are looked into: bounds time and memory on a picture full of texture."""
SMALL_FRAME_PX = 100
"""Pictures are halved, for large or blurred boards, down to about this: in fewer pixels hardly ten
lines lie far enough apart for the ring."""
WINDOW_SHARE = 0.4
"""Half side of a corner's window, of the distance to the next line, whose blur stays outside."""
SMALLEST_WINDOW_PX, LARGEST_WINDOW_PX = 3, 16
"""Pixels for nine unknowns, five times over; and three times the blur beyond which a grid is to be
taken again (`BLURRED_PX`)."""


@dataclass(frozen=True)
class Saddles:
    """Candidates: places (n, 2), px, and complex second harmonic (n,) of the grey round each."""

    xy: Floats
    harmonic: NDArray[np.complex128]


def find_corners(grey: Floats) -> tuple[Saddles, Lattice] | None:
    """Find the corners of a checkerboard on a picture (h, w) and number them.

    To a pixel or so; None where no lattice is seen.

    Notes
    -----
    Looks at the picture halved again and again, coarse first, and stops where the squares are
    large enough to be sure of.
    """
    best: tuple[Saddles, Lattice] | None = None
    for factor in _factors(grey.shape):
        saddles = _saddles(_halved(grey, factor))
        lattice = grow_lattice(saddles.xy, saddles.harmonic)
        if lattice is None:
            continue
        wide = lattice.spacing >= WIDE_RINGS * RING_PX
        full = Lattice(lattice.point, lattice.index, lattice.spacing * factor)
        if best is None or len(full) > MORE_CORNERS * len(best[1]):
            places = (saddles.xy + 0.5) * factor - 0.5
            best = (Saddles(places, saddles.harmonic), full)
        if wide and len(full) >= 2 * SURE_CORNERS and len(full) >= len(best[1]):
            break
    return best


def _factors(shape: tuple[int, ...]) -> list[int]:
    factors = [1]
    while max(shape) / factors[-1] > 2 * SMALL_FRAME_PX:
        factors.append(2 * factors[-1])
    return factors[::-1]


def _halved(grey: Floats, factor: int) -> NDArray[np.float32]:
    height, width = (size // factor * factor for size in grey.shape)
    blocks = grey[:height, :width].astype(np.float32)
    size = (width // factor, height // factor)
    return np.asarray(cv2.resize(blocks, size, interpolation=cv2.INTER_AREA))


def _saddles(grey: NDArray[np.float32]) -> Saddles:
    soft = cv2.GaussianBlur(grey, (0, 0), SMOOTH_PX)
    height = _saddle_height(np.asarray(soft))
    highest = np.asarray(cv2.dilate(height, np.ones((5, 5), np.uint8)))
    row, column = np.nonzero((height == highest) & (height > 0))
    value = height[row, column]
    order = np.argsort(-value)[:MOST_CANDIDATES]
    if len(order):
        sure = value[order[min(SURE_CORNERS, len(order)) - 1]]
        order = order[value[order] > WEAKEST_SADDLE * sure]
    xy = _tops(height, column[order], row[order])
    harmonic, share = _second_harmonic(np.asarray(soft), xy)
    kept = share > LEAST_SECOND_HARMONIC
    return Saddles(xy[kept], harmonic[kept])


def _tops(height: NDArray[np.float32], column: Ints, row: Ints) -> Floats:
    """Tops of parabolas through each highest pixel and its neighbours."""
    padded = np.pad(height, 1, mode="edge")
    places = []
    for here, (dx, dy) in ((column, (1, 0)), (row, (0, 1))):
        before = padded[row + 1 - dy, column + 1 - dx]
        after = padded[row + 1 + dy, column + 1 + dx]
        bend = 2 * padded[row + 1, column + 1] - before - after
        offset = (after - before) / np.where(bend > 0, 2 * bend, np.inf)
        places.append(here + np.clip(offset, -0.5, 0.5))
    return np.stack(places, axis=1).astype(np.float64)


def _saddle_height(soft: NDArray[np.float32]) -> NDArray[np.float32]:
    """Root of minus the Hessian's determinant over the local contrast, 0 where there is no saddle.

    The local contrast makes dim parts of the picture count as much as bright ones.
    """
    xx, yy, xy = (
        cv2.Sobel(soft, cv2.CV_32F, *order, ksize=3) for order in ((2, 0), (0, 2), (1, 1))
    )
    saddle = np.sqrt(np.maximum(xy * xy - xx * yy, 0))
    mean = cv2.GaussianBlur(soft, (0, 0), 3 * SMOOTH_PX)
    square = cv2.GaussianBlur(soft * soft, (0, 0), 3 * SMOOTH_PX)
    contrast = np.sqrt(np.maximum(square - mean * mean, 0))
    floor = 0.5 * float(np.percentile(contrast, 90)) + 1e-6
    return np.asarray(saddle / (contrast + floor), dtype=np.float32)


def _second_harmonic(
    soft: NDArray[np.float32], xy: Floats
) -> tuple[NDArray[np.complex128], Floats]:
    """Second harmonic of the grey on a ring round each place, and its share of what varies."""
    angle = 2 * np.pi * np.arange(RING_SAMPLES) / RING_SAMPLES
    x = (xy[:, :1] + RING_PX * np.cos(angle)).astype(np.float32)
    y = (xy[:, 1:] + RING_PX * np.sin(angle)).astype(np.float32)
    if len(xy) == 0:
        return np.empty(0, np.complex128), np.empty(0)
    ring = cv2.remap(soft, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    ring = np.asarray(ring, dtype=np.float64)
    harmonic = 2 * np.mean(ring * np.exp(-2j * angle), axis=1)
    power = np.var(ring, axis=1) + 1e-12
    return harmonic, np.abs(harmonic) ** 2 / 2 / power


def refine_corners(grey: Floats, saddles: Saddles, lattice: Lattice) -> Marks:
    """Refine numbered corners on the raw pixels, one for each point of the lattice, in its order.

    Notes
    -----
    Least squares of ``(1 + gx x + gy y) (m + A F(u) F(v))`` with F a Gaussian-blurred step and u,
    v the distances from the two edges, whose directions are free.
    """
    xy, harmonic = saddles.xy[lattice.point], saddles.harmonic[lattice.point]
    room = WINDOW_SHARE * line_distance(xy, lattice)
    reach = np.clip(room, SMALLEST_WINDOW_PX, LARGEST_WINDOW_PX).astype(np.int64)
    # Windows of one size are fitted together; where the board leans, rows come in many sizes.
    order = np.argsort(reach, kind="stable")
    sizes, first = np.unique(reach[order], return_index=True)
    groups = np.split(order, first[1:])
    parts = [
        _refined(grey, xy[group], harmonic[group], int(size))
        for size, group in zip(sizes, groups, strict=True)
    ]
    return gathered(parts).take(np.argsort(order))


def _refined(grey: Floats, xy: Floats, harmonic: NDArray[np.complex128], reach: int) -> Marks:
    def start(value: Floats, chosen: slice) -> Floats:
        params = np.zeros((len(value), 9))
        params[:, 2] = min(1.5, 0.15 / WINDOW_SHARE * reach)
        params[:, 3] = np.nanmean(value, axis=1)
        params[:, 4] = np.nanstd(value, axis=1)
        # cos(2 t + phase) is sin(2 (t - first)): a saddle that is bright in the first quadrant.
        params[:, 7] = -(np.angle(harmonic[chosen]) + np.pi / 2) / 2
        params[:, 8] = params[:, 7] + np.pi / 2
        return params

    return fit_marks(grey, xy, reach, start, _corner)


def _corner(params: Floats, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Parameters: centre, blur, ground, contrast, gradient of the light, normals of two edges."""
    cx, cy, blur, ground, contrast, gx, gy, first, second = params.T[:, :, None]
    x0, y0 = x - cx, y - cy
    light = 1 + gx * x + gy * y
    f, df = _edge(x0, y0, first, blur)
    g, dg = _edge(x0, y0, second, blur)
    saddle = ground + contrast * f * g
    rise = light * contrast
    fg, gf = rise * g * df[0] / blur, rise * f * dg[0] / blur
    slopes = [
        -(fg * np.cos(first) + gf * np.cos(second)),
        -(fg * np.sin(first) + gf * np.sin(second)),
        -(fg * df[1] + gf * dg[1]),
        light * np.ones_like(f),
        light * f * g,
        x * saddle,
        y * saddle,
        fg * df[2],
        gf * dg[2],
    ]
    return light * saddle, np.stack(np.broadcast_arrays(*slopes), axis=-1)


def _edge(
    x: Floats, y: Floats, angle: Floats, blur: Floats
) -> tuple[Floats, tuple[Floats, Floats, Floats]]:
    """Blurred edge through the origin: value; its slope, place in blurs, place along the edge."""
    z = (x * np.cos(angle) + y * np.sin(angle)) / blur
    along = -x * np.sin(angle) + y * np.cos(angle)
    value, slope = smooth_step(z)
    return value, (slope, z, along)
