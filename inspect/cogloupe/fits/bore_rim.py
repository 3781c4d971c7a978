"""The upper rim of a bore: the first edge that is met on the way in from the face.

What is followed along one level lies on whichever of a bore's two rims, its wall or a shadow has
that level, and a hole about as bright as the face leaves nothing to follow. The rim stands out of
the marks on a face all round, whatever lies within it. Lengths px.
"""

from dataclasses import replace
from math import hypot, pi
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe.fits.bore import LARGEST, Bore, round_outline
from cogloupe.fits.bore_uncertainty import bearing_out, from_nearest, round_enough
from cogloupe.fits.measured_gear import Measured
from cogloupe.optics.response import srgb_light
from cogloupe.optics.sampling import EdgePoints
from cogloupe_calibration.arrays import Floats, Ints, Reals
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.lens import ideal_points, observed_points

TURNS, SECTORS = 360, 72
"""Directions in which a face is looked at as a whole, and in which its rim is then followed."""
REDUCED, SMALLEST_FACE_PX = 260, 12
"""Radius of the gap floors on the reduced picture that is looked at as a whole, and radius under
which there is no face to speak of."""
CENTRAL, STEP = 0.03, 2
"""How far from the axis a bore is looked for, in radii of the gap floors, and in what steps on the
reduced picture: one that is bored further off is no datum (our own judgement)."""
USUAL, STANDS_OUT = 3.0, 0.75
"""Step at which an edge counts half, in the median step of the face, and mean count from which a
circle is an edge: steps nine times what the face has by itself."""
COARSE, APART = (1.2, 2.0), 0.15
"""Blur of the reduced picture's profiles, px across and turns along, and distance in radii from
which a circle within a clearer one is no lower rim of it, for all that the lens stands near (our
own judgement)."""
ALONE_PX = 0.6
"""Root mean square distance from its circle up to which a rim is believed that nothing else bears
out: now one and now the other edge of a chamfer leaves more, no drilled hole does."""
REACH, CLEAR = (10, 8, 7, 6, 6), 0.4
"""How far from a circle its edge is looked for, turn by turn, and least step of an edge in the
greatest there."""
SMOOTH, SEEN = (0.8, 0.0), 0.5
"""Blur of profiles before their steps are taken, px across and sectors along; least share of the
sectors that must show an edge."""


def with_rim(pixels: NDArray[Any], measured: Measured, lens: Lens | None) -> Measured:
    """A gear with its bore by the rim, where that is seen as the rounder circle or the only one.

    With the bore as it was where the rim lies further from all that may bear it out.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3)
    lens : Lens or None
        That places in `measured` are freed of.
    """
    bore = measured.bore if measured.bore is not None and round_enough(measured.bore) else None
    axis = measured.fits.centre if bore is None else bore.centre
    seen = axis if lens is None else observed_points(lens, axis)
    root_radius, radius = measured.teeth.root_radius, None if bore is None else bore.radius
    whole, outlines = not measured.region.cut_off, measured.outlines
    rim = rim_of_bore(pixels, seen, root_radius, radius, outlines.curve) if whole else None
    if rim is None or not round_enough(rim):
        return measured
    rim = rim if lens is None else replace(rim, centre=ideal_points(lens, rim.centre))
    if not takes_over(rim, bore, bearing_out(measured.fits.centre, measured.tip_circle)):
        return measured
    notices = tuple(notice for notice in measured.notices if notice.code != "two_rims")
    # What the circle leaves is no noise: whole arcs stray alike.
    rim = replace(rim, u_centre=hypot(rim.u_centre, rim.rms))
    return replace(measured, bore=rim, notices=notices)


def takes_over(rim: Bore, bore: Bore | None, witnesses: Floats) -> bool:
    """Tell whether a rim is the rounder circle, and no further from all that may bear it out.

    Parameters
    ----------
    rim : Bore
        By the first edge from the face.
    bore : Bore or None
        As it was found before, where one was that is round enough.
    witnesses : ndarray, shape (n, 2)
        Middles of teeth and tips.
    """
    if bore is None:
        return rim.rms < ALONE_PX
    rounder = rim.rms < bore.rms and rim.u_centre < bore.u_place
    return rounder and from_nearest(rim.centre, witnesses) <= from_nearest(bore.centre, witnesses)


def rim_of_bore(
    pixels: NDArray[Any],
    axis: Floats,
    root_radius: float,
    radius: float | None = None,
    curve: float = 1.0,
) -> Bore | None:
    """Look for the rim of a bore; None where no circle there is an edge all round.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3)
    axis : ndarray, shape (2,)
        Of the bore as it was found, or else of the teeth, on the picture.
    root_radius : float
        Of the gap floors.
    radius : float or None
        Of the bore as it was found.
    curve : float
        Of the camera, as of `Outlines`.
    """
    place: tuple[Floats, float] | None
    if radius is None:
        place = _innermost_circle(pixels, axis, LARGEST * root_radius)
    else:
        place = axis, radius
    rim = None
    for reach in REACH:
        if place is None:
            return None
        edges = _first_edges(pixels, *place, reach, curve)
        rim = None if edges is None else round_outline(edges, root_radius, hollow=True)
        place = None if rim is None else (rim.centre, rim.radius)
    return rim


def _innermost_circle(
    pixels: NDArray[Any], axis: Floats, largest: float
) -> tuple[Floats, float] | None:
    """Middle and radius of the innermost circle about an axis that is an edge all round.

    A boss and a recess stand further out than a bore.
    """
    if largest < SMALLEST_FACE_PX:
        return None
    scale = min(1.0, REDUCED / largest)
    small = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    turn, radius = 2 * pi * np.arange(TURNS) / TURNS, np.arange(2.0, largest * scale)
    steps = _steps(_unrolled(small, (axis + 0.5) * scale - 0.5, turn, radius), COARSE)
    counts = steps / (steps + USUAL * np.median(steps) + 1e-3)
    far = int(CENTRAL * largest * scale / STEP) + 1
    each = STEP * np.arange(-far, far + 1)
    offsets = np.stack(np.meshgrid(each, each), axis=-1).reshape(-1, 2)
    later = np.rint(np.stack([np.cos(turn), np.sin(turn)], axis=1) @ offsets.T).astype(int)
    rows = np.arange(steps.shape[1])
    mean = np.stack([
        np.take_along_axis(counts, np.clip(rows + by[:, None], 0, rows[-1]), axis=1).mean(axis=0)
        for by in later.T
    ])  # fmt: skip
    found: list[Floats] = []
    for flat in np.argsort(-mean, axis=None):
        offset, row = np.unravel_index(flat, mean.shape)
        if mean[offset, row] < STANDS_OUT:
            break
        circle = np.array([*offsets[offset], radius[row + 1]])
        # One that touches or crosses a clearer one shares its edge.
        if all(
            abs(circle[2] - other[2]) > np.hypot(*(circle - other)[:2]) + APART * other[2]
            for other in found
        ):
            found.append(circle)
    if not found:
        return None
    *offset, least = min(found, key=lambda circle: float(circle[2]))
    return axis + np.array(offset) / scale, float(least) / scale


def _first_edges(
    pixels: NDArray[Any], centre: Floats, radius: float, reach: int, curve: float
) -> EdgePoints | None:
    """In each sector the first clear edge from outside, within a reach of a circle."""
    each = max(1, int(2 * pi * radius / SECTORS))
    turn = 2 * pi * (np.arange(SECTORS * each) + 0.5) / (SECTORS * each)
    reach = min(reach, int(radius / 2))
    out = radius + np.arange(-reach, reach + 1.0)
    stored = light = _unrolled(pixels, centre, turn, out)
    if curve:
        light = srgb_light(stored / np.iinfo(pixels.dtype).max) ** curve
    # Dark edges beside bright ones are told by what is stored, places by light.
    told, steps = (
        _steps(seen.reshape(SECTORS, each, len(out), -1).mean(axis=1), SMOOTH)
        for seen in (np.sqrt(stored), light)
    )
    peak = np.zeros(told.shape, bool)
    peak[:, 1:-1] = (told[:, 1:-1] >= told[:, :-2]) & (told[:, 1:-1] > told[:, 2:])
    clear = peak & (told > CLEAR * np.where(peak, told, 0).max(axis=1, keepdims=True))
    seen = np.flatnonzero(clear.any(axis=1))
    if len(seen) < SECTORS * SEEN:
        return None
    last = clear.shape[1] - 1 - clear[seen, ::-1].argmax(axis=1)
    place = out[1] + _summit(steps[seen], last)
    turn = turn.reshape(SECTORS, each).mean(axis=1)[seen]
    arm = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    alike = np.ones(len(seen))
    return EdgePoints(
        xy=centre + place[:, None] * arm, normal=-arm, u=alike, blur=0 * alike, good=alike > 0,
    )  # fmt: skip


def _summit(steps: Reals, near: Ints) -> Floats:
    """Where in each row the greatest step lies, next to a place, between columns."""
    around = np.clip(near[:, None] + np.arange(-1, 2), 1, steps.shape[1] - 2)
    row = np.arange(len(steps))
    top = around[row, np.take_along_axis(steps, around, axis=1).argmax(axis=1)]
    before, at, after = (steps[row, top + k] for k in (-1, 0, 1))
    bent = np.maximum(2 * at - before - after, 1e-9)
    return np.asarray(top + np.clip((after - before) / (2 * bent), -0.5, 0.5))


def _unrolled(pixels: NDArray[Any], centre: Floats, turn: Floats, radius: Floats) -> Reals:
    """Values by direction and radius, shape (turns, radii, channels)."""
    arm = np.stack([np.cos(turn), np.sin(turn)])[:, :, None] * radius
    x, y = (arm + np.asarray(centre)[:, None, None]).astype(np.float32)
    seen = cv2.remap(pixels, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(seen.reshape(*x.shape, -1), np.float32)


def _steps(seen: Reals, smoothed: tuple[float, float]) -> Reals:
    """Change along the radius, all colours together, shape (turns, radii - 2)."""
    across, along = smoothed
    flat = seen.reshape(*seen.shape[:2], -1)
    smooth = cv2.GaussianBlur(flat, (0, 0), across, sigmaY=max(along, 1e-3))
    smooth = smooth.reshape(seen.shape)
    return np.asarray(np.sqrt(((smooth[:, 2:] - smooth[:, :-2]) ** 2).sum(axis=-1)) / 2)
