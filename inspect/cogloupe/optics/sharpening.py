"""What a camera's sharpening does to edges, found from the edges themselves and undone.

Cheap cameras draw edges harder by unsharp masking: every stored value is moved away from the mean
of its neighbours by a share of what it differs from it. That leaves a dark and a bright line along
the two sides of an edge, which passes for a bevel, and hides which curve light was stored by.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial
from math import ceil, exp, hypot, log

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe.numerics.bounded_least_squares import BoundedFit, fit_within
from cogloupe.optics.bevel import Profiles, levels_beside, single_steps
from cogloupe.optics.greys import Greys
from cogloupe.optics.response import srgb_light, srgb_stored, unit_step
from cogloupe_calibration.arrays import Reals
from cogloupe_calibration.robust import median

BIN_PX, FINE_PX = 0.25, 0.1
"""How finely the averaged edge is looked at, and worked out."""
LEAST_IN_BIN = 20
"""Pixels in a bin of the averaged edge whose scatter can be believed, to a sixth."""
MISFIT = 0.002
"""What may be wrong with the averaged edge besides its noise, as a share of the contrast: steps of
8 bits, and edges that were placed a little apart."""
GROUND_SIDE_PX = 0.3
"""Where the ground side begins: the step itself is half the band's."""
GROUND_LOOSE = 0.2
"""How far the ground's level may lie from where levels beside edges say, in shares of full scale: a
halo lifts it."""
SCALES = np.array([0.1, 0.1, 0.01, 0.01, 0.1, 0.1])
"""Sizes by which the fit takes its steps: place and blur, px, both levels, amount, log radius."""
STARTS = ((0.5, 1.0), (1.0, 2.0))
"""Amounts and radii, px, that a fit begins with: mild and strong, narrow and wide."""
MOST_AMOUNT, RADII_PX = 4.0, (0.5, 6.0)
"""Bounds of what cameras do (common practice, no source), several times beyond `USUAL_PX`."""
USUAL_PX, USUAL_SPREAD = 1.3, 0.3
"""Radius that cameras sharpen with, and the standard deviation of its logarithm (common practice,
no source): a smaller one with a larger amount draws nearly the same edge."""
LEAST_AMOUNT = 0.1
"""Less moves edges by hundredths of a pixel."""
PLAIN, SHARPER = 0.3, 1.5
"""Mean square misfit, in that of `MISFIT` and noise, up to which an edge is that of a camera that
does not sharpen; and the factor by which sharpening must lower it (rendered edges: 3 to 200 where
they were sharpened by more than 0.3, less than 1.15 where not)."""
CLIPPED = 0.01
"""Share of the contrast by which halos go beyond what can be stored where they are called clipped.
"""
TAIL = 5.0
"""Standard deviations to which a Gaussian reaches."""
KERNEL_PX = 64
"""Side of the inverse's kernel: some ten times the largest radius."""
SIXTEEN_BITS = 257
"""Factor from bytes to 16 bits."""
BAND_ROWS = 512
"""Rows that are undone at a time, so that a large picture is not held twice at sixteen bits."""


@dataclass(frozen=True)
class Sharpening:
    """Unsharp masking.

    Attributes
    ----------
    amount : float
        Share of the difference from the neighbours' mean that is added.
    radius_px : float
        Standard deviation of the Gaussian that the mean is taken with, px.
    clipped : bool
        Whether halos went beyond black or full scale, so that something is left when it is undone.
    """

    amount: float
    radius_px: float
    clipped: bool = False


@dataclass(frozen=True, kw_only=True)
class _Edge:
    """Stored values across the typical edge, as a share of full scale.

    `levels` are those of material and ground, the first to within `loose`.
    """

    distance: Reals
    value: Reals
    u: Reals
    levels: Reals
    blur: float
    loose: float = 0.2


def find_sharpenings(profiles: Profiles, full_scale: float) -> Iterator[Sharpening]:
    """Find the sharpening that explains the shape of an outline's edges best.

    What whole edges show, then what their ground side shows, which a bevel does not reach; neither
    where nothing is seen of one. Whether it is there, other edges must tell.

    Parameters
    ----------
    profiles : Profiles
        In values as stored.
    full_scale : float
        The largest of them that there can be.
    """
    edge = _typical_edge(profiles, full_scale)
    outside = edge.distance > GROUND_SIDE_PX
    ground = replace(
        edge, distance=edge.distance[outside], value=edge.value[outside], u=edge.u[outside],
        loose=0.02,
    )  # fmt: skip
    for part in (edge, ground):
        found = _fit(part) if len(part.value) >= 2 * len(SCALES) else None
        if found is not None and found.amount > LEAST_AMOUNT:
            yield found


def _typical_edge(profiles: Profiles, full_scale: float) -> _Edge:
    """Average the profiles by the distance from the edge."""
    levels = levels_beside(profiles, single_steps(profiles)).levels
    typical = np.median(levels, axis=1)
    rise = (levels[1] - levels[0]) / (typical[1] - typical[0])
    usual = (rise > 0.5) & (rise < 2)  # dirt is no edge
    share = (profiles.grey - levels[0][:, None])[usual] / rise[usual, None]
    value = (typical[0] + share) / full_scale
    distance = ((profiles.offsets - profiles.place[:, None]) * profiles.cosine[:, None])[usual]
    # Rows and columns that run aslant reach less far along the normal.
    reach = float(np.floor(np.abs(distance).max() * 0.7))
    place = np.floor((distance + reach) / BIN_PX).astype(int)
    within = (place >= 0) & (place < int(2 * reach / BIN_PX))
    count, where, total, square = (
        np.bincount(place[within], weights)
        for weights in (None, distance[within], value[within], value[within] ** 2)
    )
    seen = count > LEAST_IN_BIN
    count, where, total, square = (v[seen] for v in (count, where, total, square))
    mean = total / count
    variance = np.maximum(square / count - mean**2, 0.0)
    levels = typical / full_scale
    u = np.sqrt(variance / count + (MISFIT * (levels[1] - levels[0])) ** 2)
    return _Edge(distance=where / count, value=mean, u=u, levels=levels, blur=median(profiles.blur))


def _fit(edge: _Edge) -> Sharpening | None:
    """Fit a blurred step as a camera sharpens and stores it; None where it need not sharpen."""
    material, ground = edge.levels
    low = [-3.0, 0.3, material - edge.loose, ground - GROUND_LOOSE, 0.0, log(RADII_PX[0])]
    high = [3.0, 8.0, material + edge.loose, ground + GROUND_LOOSE, MOST_AMOUNT, log(RADII_PX[1])]

    def left(sizes: Reals, curved: bool) -> Reals:
        shape = np.clip(_sharp_edge(edge.distance, sizes, curved), 0.0, 1.0)
        off = (shape - edge.value) / edge.u
        return np.append(off, (sizes[5] - log(USUAL_PX)) / USUAL_SPREAD) if len(sizes) > 4 else off

    def best(*starts: tuple[float, ...]) -> tuple[BoundedFit, bool]:
        """What leaves least, and whether by the sRGB curve."""
        count = len(starts[0])
        bounds = np.array(low[:count]), np.array(high[:count])
        ends = [
            (
                fit_within(partial(left, curved=curved), np.array(start), bounds, SCALES[:count]),
                curved,
            )
            for curved in (False, True)
            for start in starts
        ]
        return min(ends, key=lambda end: end[0].mean_square)

    step = (0.0, edge.blur, float(material), float(ground))
    plain, _ = best(step)
    if plain.mean_square < PLAIN:
        return None
    found, curved = best(*((*step, amount, log(radius)) for amount, radius in STARTS))
    if plain.mean_square < SHARPER * found.mean_square:
        return None
    sizes = found.values
    beyond = np.abs(_sharp_edge(edge.distance, sizes, curved) - 0.5).max() - 0.5
    clipped = bool(beyond > CLIPPED * abs(ground - material))
    return Sharpening(float(sizes[4]), exp(float(sizes[5])), clipped)


def _sharp_edge(distance: Reals, sizes: Reals, curved: bool) -> Reals:
    """Values that a camera makes of a straight edge, before it clips those that do not fit.

    `sizes` are place, blur and both levels, and where the camera sharpens, how much, and the
    logarithm of the radius.
    """
    place, blur, low, high = sizes[:4]
    amount, radius = (sizes[4], exp(sizes[5])) if len(sizes) > 4 else (0.0, FINE_PX)
    if not curved:
        # A blurred step's Gaussian mean is a step of more blur.
        step, soft = (unit_step((distance - place) / s)[0] for s in (blur, hypot(blur, radius)))
        return np.asarray(low + (high - low) * (step + amount * (step - soft)))
    weights = _gaussian(radius / FINE_PX)
    # Places that stay where they are make what is left change smoothly.
    reach = ceil((float(np.abs(distance).max()) + 1) / FINE_PX) + len(weights) // 2
    fine = FINE_PX * np.arange(-reach, reach + 1)
    dark, bright = srgb_light(np.array([low, high]))
    stored = srgb_stored(dark + (bright - dark) * unit_step((fine - place) / blur)[0])
    mean = np.convolve(stored, weights, mode="same")
    return np.asarray(np.interp(distance, fine, stored + amount * (stored - mean)))


def _gaussian(spread: float) -> Reals:
    """Weights of a Gaussian mean, `spread` in samples."""
    reach = ceil(TAIL * spread)
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / spread) ** 2)
    return np.asarray(weights / weights.sum())


def unsharpened(greys: Greys, sharpening: Sharpening) -> Greys:
    """Undo a sharpening; of 16 bits, so that no more is rounded.

    Notes
    -----
    Unsharp masking multiplies every wave by ``1 + a - a g``, g being what its Gaussian leaves of
    it, which is 1 or more: dividing by it loses nothing. What was clipped at black or at full scale
    stays lost.
    """
    x, y = greys.corner
    height, width = greys.shape
    window = greys.pixels[y : y + height, x : x + width]
    kernel = _inverse(sharpening)
    halo = len(kernel) // 2
    undone = np.empty(window.shape, np.uint16)
    for top in range(0, height, BAND_ROWS):
        rows = window[max(top - halo, 0) : top + BAND_ROWS + halo]
        wide = rows if rows.dtype == np.uint16 else rows.astype(np.uint16) * SIXTEEN_BITS
        band = cv2.filter2D(wide, -1, kernel, borderType=cv2.BORDER_REPLICATE)
        undone[top : top + BAND_ROWS] = band[min(top, halo) :][:BAND_ROWS]
    return replace(greys, pixels=undone, corner=(0, 0))


def _inverse(sharpening: Sharpening) -> NDArray[np.float32]:
    """Kernel that undoes a sharpening."""
    wave = 2 * np.pi * np.fft.fftfreq(KERNEL_PX)
    left = np.exp(-0.5 * (sharpening.radius_px * wave) ** 2)
    kept = 1 + sharpening.amount * (1 - left[:, None] * left)
    kernel = np.fft.fftshift(np.fft.ifft2(1 / kept).real)[1:, 1:]
    return np.asarray(kernel / kernel.sum(), np.float32)
