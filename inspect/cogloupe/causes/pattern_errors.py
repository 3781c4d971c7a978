"""What a picture errs, taken apart: camera, bore, and each flank's own noise.

A reading states one uncertainty for each figure. Telling causes needs to know what of it is shared,
so the effect of each camera term on every figure is worked out where the teeth lie, and the sizes
of these terms and of the noise follow from the stated uncertainties.
"""

from math import cos, pi, sqrt

import numpy as np
from scipy.optimize import nnls

from cogloupe.causes.pattern_layout import OUT, SHARED, Design
from cogloupe.comparing.tooth_pattern import flank_array
from cogloupe.reading.models import Reading
from cogloupe.uncertainty.modes import FlankPlace, lens_modes
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.lens import TERMS, frame_middle, make_lens, point_modes

CAMERA_TERMS = ("k1", "e1", "e2", "g1", "g2")


def camera_shapes(reading: Reading, design: Design, angle: Floats) -> Floats:
    """Effect of each of `CAMERA_TERMS`, at one part in a thousand, on all figures.

    Parameters
    ----------
    reading : Reading
    design : Design
    angle : ndarray, shape (z, 2)
        Polar angles of the flanks, rad.

    Returns
    -------
    ndarray, shape (5, 2 z + 9)
        µm.
    """
    shapes = np.zeros((len(CAMERA_TERMS), 2 * design.teeth + len(SHARED)))
    size = 1e3 * reading.calibration.mm_per_px
    radius = design.radius_um / size
    datum = np.array([reading.datum.x_px, reading.datum.y_px])
    facing = angle + OUT * (pi / 2 - design.pressure_angle)
    place = FlankPlace(
        datum + radius * _unit(angle), _unit(facing), radius * cos(design.pressure_angle), radius
    )
    ring = _datum_ring(reading, datum)
    for row, term in zip(shapes, CAMERA_TERMS, strict=True):
        lens = _one_term(reading, term)
        (mode,) = lens_modes(place, ring, lens)
        row[: 2 * design.teeth] = (mode.position * design.radius_um).ravel()
        row[-2:] = _tips_moved(lens, datum, design.tip_um / size, ring) * size
    return shapes


def _unit(angle: Floats) -> Floats:
    return np.stack([np.cos(angle), np.sin(angle)], axis=-1)


def _datum_ring(reading: Reading, datum: Floats) -> Floats | None:
    """Points that carry the datum along; None where it is fitted to the flanks."""
    if reading.datum.kind == "teeth":
        return None
    bore = reading.datum.bore_diameter_mm or reading.gear.measuring_diameter_mm / 3
    radius = bore / 2 / reading.calibration.mm_per_px
    return np.asarray(datum + radius * _unit(np.linspace(0, 2 * pi, 36, endpoint=False)))


def _one_term(reading: Reading, term: str) -> Lens:
    centre, radius = frame_middle(reading.photo.width_px, reading.photo.height_px)
    u = np.array([1e-3 * (name == term) for name in TERMS])
    return make_lens(centre, radius, np.zeros(len(TERMS)), np.diag(u**2))


def _tips_moved(lens: Lens, datum: Floats, tip_px: float, ring: Floats | None) -> Floats:
    """Apparent shift of the tips' centre against the datum, px."""
    turn = np.linspace(0, 2 * pi, 72, endpoint=False)
    shift = point_modes(lens, datum + tip_px * _unit(turn))[0]
    if ring is not None:
        shift = shift - point_modes(lens, ring)[0].mean(axis=0)
    outwards = (shift * _unit(turn)).sum(axis=1)
    return np.asarray(2 * (outwards[:, None] * _unit(turn)).mean(axis=0))


def error_sizes(reading: Reading, camera: Floats) -> tuple[Floats, Floats]:
    """How large the camera's errors and each flank's noise must be to give the stated u's.

    Parameters
    ----------
    reading : Reading
    camera : ndarray, shape (5, z, 2)
        Effects of `camera_shapes` on the flanks.

    Returns
    -------
    sizes : ndarray, shape (5,)
        Standard uncertainties of the camera terms, in parts in a thousand.
    noise : ndarray, shape (z, 2)
        Standard uncertainty of each flank by itself, µm; NaN where it was not seen.

    Notes
    -----
    Squares of stated uncertainties are sums of squares of the noise of two flanks and of what
    each camera term does between them, so the sizes follow by least squares that keeps them
    from going below zero.
    """
    single = flank_array(reading, "u_single_pitch_um") ** 2
    summed = flank_array(reading, "u_cumulative_pitch_um") ** 2
    first = [int(np.argmax(np.isfinite(column))) for column in summed.T]
    start = np.stack([camera[:, k, side] for side, k in enumerate(first)], axis=-1)
    away = (camera - start[:, None]) ** 2
    apart = (camera - np.roll(camera, 1, axis=1)) ** 2
    is_first = np.zeros(summed.shape, bool)
    is_first[first, [0, 1]] = True
    later = np.isfinite(summed) & ~is_first
    rows = np.concatenate([apart[:, np.isfinite(single)], away[:, later]], axis=1).T
    stated = np.concatenate([single[np.isfinite(single)], summed[later]])
    design = np.concatenate([rows, np.full((len(rows), 1), 2.0)], axis=1)
    weight = 1 / stated
    squares, _ = nnls(design * weight[:, None], stated * weight)
    sizes, noise = np.sqrt(squares[:-1]), float(squares[-1])
    # A flank that is less sure than the rest raises both pitches that it bounds.
    own = single - (squares[:-1, None, None] * apart).sum(axis=0) - noise
    own = np.fmin(own, np.roll(own, -1, axis=0))
    least = max(noise, 0.01 * float(np.nanmedian(single)))
    own = np.clip(np.nan_to_num(own, nan=least), least, 30 * least)
    return sizes, np.where(np.isfinite(summed), np.sqrt(own), np.nan)


def bore_doubt(reading: Reading, axis: Floats, noise: Floats, camera: Floats) -> float:
    """Standard uncertainty of the bore's centre: the eccentricity's less noise and camera.

    Parameters
    ----------
    reading : Reading
    axis : ndarray, shape (2, 2 z + 9)
        What moving the axis by 1 µm does.
    noise : ndarray, shape (z, 2)
        Of each flank by itself, µm.
    camera : ndarray, shape (5, 2 z + 9)
        One standard uncertainty of each camera term.

    Returns
    -------
    float
        µm, each way.
    """
    stated = reading.summary.u_eccentricity_um or 0.0
    flanks = slice(0, noise.size)
    seen = np.isfinite(noise.ravel())
    shapes = axis[:, flanks][:, seen].T
    inverse = np.linalg.pinv(shapes)
    own = float(np.mean((inverse**2) @ noise.ravel()[seen] ** 2))
    lens = float(np.sum((camera[:, flanks][:, seen] @ inverse.T) ** 2))
    return sqrt(max(stated**2 - own - lens, (0.2 * stated) ** 2))


def flank_noise(reading: Reading) -> float:
    """Standard uncertainty of a flank by itself, from neighbours that little else parts.

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    float
        µm.
    """
    return float(np.nanmedian(flank_array(reading, "u_single_pitch_um"))) / sqrt(2)
