"""Where a gear's centre may be: rings of edges that run along the radius, as flanks do.

A ring about the true centre gathers all flanks at once, and what lies about it gathers little:
straight grain runs both along and across its radii. Turned faces, hubs and bores show circles, so
the centres of circles are looked for too.
"""

from collections.abc import Iterator
from itertools import zip_longest

import cv2
import numpy as np

from cogloupe.finding.edge_directions import Directions
from cogloupe_calibration.arrays import Reals

SEARCH_SIDE_PX = 160
"""Longer side of the picture on which rings are laid."""
RING_WIDTHS = (0.4, 0.2, 0.1, 0.05)
"""Widths of the rings, as shares of their radius: the depth of teeth on gears of 8 to 90 teeth;
finer ones fill half of the last."""
DISC_WIDTHS = (1.0, 0.4)
GRAIN = 1 / 16
"""Reach over which edges that run one way on the whole are grain, stripes or a long border, as a
share of the longer side: less than the smallest ring. All round a centre teeth run every way."""
LARGEST_RING, SMALLEST_RING = 0.65, 0.1
"""Radii of the rings, as shares of the picture's longer side."""
APART = 0.03
"""Distance under which two centres are taken for one, as a share of the longer side."""
RINGS, DISCS = 4, 3
"""Centres of rings, and of circles, that are looked at closer."""


def likely_centres(directions: Directions) -> list[tuple[float, float]]:
    """Places that rings of radial edges, or circles, are about.

    x and y in pixels of that picture, likeliest first, rings and circles in turn.

    Parameters
    ----------
    directions : ndarray, shape (h, w), complex64
    """
    longer = max(directions.shape)
    scale = min(1.0, SEARCH_SIDE_PX / longer)
    size = (round(directions.shape[1] * scale), round(directions.shape[0] * scale))
    parts = (cv2.resize(part, size, interpolation=cv2.INTER_AREA) for part in _parts(directions))
    east, south = (part - cv2.GaussianBlur(part, (0, 0), GRAIN * max(size)) for part in parts)
    field = np.asarray(east + 1j * south, np.complex64)
    radial, round_about = [], []
    for width, answer in _ring_answers(field):
        if width in RING_WIDTHS:
            radial += _peaks(-answer)
        if width in DISC_WIDTHS:
            round_about += _peaks(answer)
    reach = APART * max(size)
    rings = _apart(sorted(radial, reverse=True), reach, RINGS)
    discs = _apart(sorted(round_about, reverse=True), reach, DISCS)
    in_turn = [place for pair in zip_longest(rings, discs) for place in pair if place is not None]
    found = _apart(in_turn, reach, RINGS + DISCS)
    return [((x + 0.5) / scale - 0.5, (y + 0.5) / scale - 0.5) for _, x, y in found]


def _parts(directions: Directions) -> tuple[Reals, Reals]:
    return np.ascontiguousarray(directions.real), np.ascontiguousarray(directions.imag)


def _ring_answers(field: Directions) -> Iterator[tuple[float, Reals]]:
    """How far edges on rings about every pixel run across the radius (along it: negative).

    Each answer is in standard deviations of what edges of random direction would give.
    """
    from scipy import fft  # slow to import, and seldom needed

    height, width = field.shape
    longer = max(height, width)
    side = fft.next_fast_len(longer + longer // 2)
    spectrum = fft.fft2(field, (side, side))
    spread = float(np.sqrt(np.mean(np.abs(field) ** 2))) + 1e-12
    x = fft.fftfreq(side, 1 / side).astype(np.float32)
    arm = x[None, :] - 1j * x[:, None]
    radius = np.abs(arm)
    outwards = np.asarray((arm / np.maximum(radius, 1e-6)) ** 2, np.complex64)
    for share in sorted({*RING_WIDTHS, *DISC_WIDTHS}, reverse=True):
        outer = LARGEST_RING * longer
        while outer > SMALLEST_RING * longer:
            inner = outer - max(share * outer, 1.5)
            ring = np.clip(radius - inner + 0.5, 0, 1) * np.clip(outer - radius + 0.5, 0, 1)
            kernel = fft.fft2(ring * np.conj(outwards))
            answer = fft.ifft2(spectrum * np.conj(kernel)).real[:height, :width]
            yield share, np.asarray(answer / (np.sqrt(ring.sum()) * spread), np.float32)
            outer *= 1 - 0.4 * max(share, 2 / outer)


def _peaks(answer: Reals, count: int = 4) -> list[tuple[float, float, float]]:
    """Highest places of an answer, some pixels apart: height, x, y."""
    answer, found, reach = answer.copy(), [], max(2, round(APART * max(answer.shape)))
    for _ in range(count):
        y, x = divmod(int(np.argmax(answer)), answer.shape[1])
        found.append((float(answer[y, x]), float(x), float(y)))
        answer[max(0, y - reach) : y + reach + 1, max(0, x - reach) : x + reach + 1] = -np.inf
    return found


def _apart(
    places: list[tuple[float, float, float]], reach: float, count: int
) -> list[tuple[float, float, float]]:
    """The first so many places that are not near an earlier one."""
    kept: list[tuple[float, float, float]] = []
    for place in places:
        if len(kept) < count and all(
            np.hypot(place[1] - other[1], place[2] - other[2]) > reach for other in kept
        ):
            kept.append(place)
    return kept
