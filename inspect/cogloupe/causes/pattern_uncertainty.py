"""What a picture errs, taken apart: camera, bore, and each flank's own noise.

Telling causes needs to know what of the uncertainty is shared. A reading of one picture says what
is known of its lens, its edges and its datum; what these do to every figure is worked out where
the teeth lie. Where a reading does not say so (several pictures, older files), the sizes of the
camera's errors follow from the stated uncertainties.
"""

from dataclasses import dataclass
from math import cos, pi, sqrt, tan

import numpy as np

from cogloupe.causes.pattern_layout import OUT, SHARED, Design, eccentric_shapes
from cogloupe.forms.gap_theory import floor_ratio_of_moved
from cogloupe.reading.flank_table import flank_array
from cogloupe.reading.models import Reading
from cogloupe.uncertainty.modes import FlankPlace, lens_modes
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.lens import TERMS, frame_middle, make_lens, point_modes

CAMERA_TERMS = ("k1", "e1", "e2", "g1", "g2")
LARGEST_TERM = 30.0
"""Largest standard uncertainty that a camera term is believed to have, in parts in a thousand."""
STRETCHED = 6
"""So many of `SHARED`, from the first on, feel a stretch along the radius."""
LEAST_STRETCH = 1e-6
"""Stretches smaller than this share are nothing."""
NANOMETRE = 1e-3
"""µm: far below what any picture tells."""
MOST_OF_SCATTER = 1.5
"""Times what neighbours differ by, as a scatter, that a flank may err by itself at most: from
sixteen flanks on noise shows more than that (twice the standard deviation of such a median)."""
FACING_ALIKE = 0.5
"""Angle over which edges that face alike are moved alike by light and shade, rad (common practice,
no source)."""
LEAST_SHAPE = 1e-3
"""Least share of the largest of such shapes that is kept."""
LEAST_NOISE = 0.01
"""Least standard uncertainty of a flank by itself, as a share of its single pitch's."""


@dataclass(frozen=True)
class PictureErrors:
    """What moves flanks and tips: together, and each flank by itself.

    Attributes
    ----------
    modes : ndarray, shape (m, 2 z + 10)
        What lens, lean and datum do to all figures, each by one standard uncertainty, µm.
    noise : ndarray, shape (z, 2)
        Standard uncertainty of each flank by itself, µm; NaN where it was not seen.
    """

    modes: Floats
    noise: Floats


def picture_errors(
    reading: Reading, design: Design, angle: Floats, camera: Floats
) -> PictureErrors:
    """Take the errors of a reading's flanks apart.

    Parameters
    ----------
    angle : ndarray, shape (z, 2)
        Polar angles of the flanks, rad.
    camera : ndarray, shape (5, 2 z + 10)
        From `camera_shapes`.
    """
    axis, known = eccentric_shapes(design, angle), reading.common
    if known is None:
        flanks = camera[:, : angle.size].reshape(-1, *angle.shape)
        sizes, noise = _sizes_and_noise(reading, flanks)
        modes = camera * np.minimum(sizes, LARGEST_TERM)[:, None]
        ways = np.eye(2) * _bore_doubt(reading, axis, noise, modes)
    else:
        noise = flank_array(reading, "u_own_um")
        seen = np.isfinite(flank_array(reading, "cumulative_pitch_um"))
        least = LEAST_NOISE * float(np.nanmedian(flank_array(reading, "u_single_pitch_um")))
        noise = np.where(seen, np.fmax(noise, least), np.nan)
        modes = lens_shapes(reading, design, angle, known.lens)
        ways = np.array([(known.datum_um, 0.0), (0.0, known.datum_um), known.rims_um])
        stretched = stretch_shapes(reading, design, known.lens)[: len(modes)]
        modes[:, angle.size : angle.size + STRETCHED] = stretched
    moved = ways @ axis if reading.datum.kind != "teeth" else np.zeros((0, axis.shape[1]))
    return PictureErrors(np.concatenate([modes, moved]), noise)


def shared_by_neighbours(
    design: Design, angle: Floats, place: Floats, noise: Floats
) -> tuple[Floats, Floats]:
    """Part what flanks err by themselves from what those that face alike err together.

    Light and shade move edges by the way they face. A reading states how much each flank may err;
    where neighbours differ by far less, they err alike, and what is left goes smoothly with the
    way of facing.

    Parameters
    ----------
    angle : ndarray, shape (z, 2)
        Polar angles of the flanks, rad.
    place, noise : ndarray, shape (z, 2)
        Places of the flanks and their stated standard uncertainties, µm; NaN where not seen.

    Returns
    -------
    ndarray, shape (z, 2)
        Standard uncertainty of each flank by itself.
    ndarray, shape (m, 2 z + 10)
        Shapes that move them together, each by one standard uncertainty.
    """
    own = MOST_OF_SCATTER * local_scatter(place) / float(np.nanmedian(noise))
    own = max(own, LEAST_NOISE)
    if not own < 1.0:
        return noise, np.zeros((0, place.size + len(SHARED)))
    facing = (angle + OUT * (pi / 2 - design.pressure_angle)).ravel()
    alike = np.exp((np.cos(facing[:, None] - facing) - 1) / FACING_ALIKE**2)
    size, way = np.linalg.eigh(alike)
    kept = size > LEAST_SHAPE * size.max()
    out = sqrt(1 - own**2) * np.nan_to_num(noise * OUT).ravel()
    shapes = np.zeros((int(kept.sum()), place.size + len(SHARED)))
    shapes[:, : place.size] = np.sqrt(size[kept])[:, None] * way[:, kept].T * out
    return own * noise, shapes


def local_scatter(place: Floats) -> float:
    """What flanks differ from the middle between their neighbours by, as a scatter.

    Parameters
    ----------
    place : ndarray, shape (z, 2)
        NaN where not seen.
    """
    off = place - (np.roll(place, 1, axis=0) + np.roll(place, -1, axis=0)) / 2
    return float(np.nanmedian(np.abs(off))) / 0.6745 / sqrt(1.5)


def camera_shapes(reading: Reading, design: Design, angle: Floats) -> Floats:
    """Effect of each of `CAMERA_TERMS`, at one part in a thousand, on all figures.

    Parameters
    ----------
    angle : ndarray, shape (z, 2)
        Polar angles of the flanks, rad.

    Returns
    -------
    ndarray, shape (5, 2 z + 10)
        µm.
    """
    terms = (_one_term(reading, term) for term in CAMERA_TERMS)
    return np.concatenate([lens_shapes(reading, design, angle, lens) for lens in terms])


def lens_shapes(reading: Reading, design: Design, angle: Floats, lens: Lens) -> Floats:
    """What each independent source of a lens does to flanks and tips.

    Parameters
    ----------
    angle : ndarray, shape (z, 2)
        Polar angles of the flanks, rad.
    lens : Lens
        Its covariance holds the sources.

    Returns
    -------
    ndarray, shape (m, 2 z + 10)
        µm, by one standard uncertainty of each.
    """
    size = 1e3 * reading.calibration.mm_per_px
    radius = design.radius_um / size
    datum = np.array([reading.datum.x_px, reading.datum.y_px])
    facing = angle + OUT * (pi / 2 - design.pressure_angle)
    place = FlankPlace(
        datum + radius * _unit(angle), _unit(facing), radius * cos(design.pressure_angle), radius
    )
    ring = _datum_ring(reading, datum)
    modes = lens_modes(place, ring, lens)
    moved = _tips_moved(lens, datum, design.tip_um / size, ring) * size
    flanks = np.array([mode.position.ravel() * design.radius_um for mode in modes])
    shapes = np.zeros((len(modes), angle.size + len(SHARED)))
    if len(modes):
        shapes[:, : angle.size], shapes[:, -2:] = flanks, moved[: len(modes)]
    return shapes


def stretch_shapes(reading: Reading, design: Design, lens: Lens) -> Floats:
    """What each source of a lens does to the first six of `SHARED`, by stretching along the radius.

    Returns
    -------
    ndarray, shape (8, 6)
        µm and the floor ratio's own; against the circle that the scale was taken on.
    """
    drawn = design.drawn
    if drawn is None:
        return np.zeros((len(TERMS), STRETCHED))
    radii = np.linspace(0.97 * drawn.root_radius, 1.02 * drawn.tip_radius, 12)
    table = _stretch(reading, design, lens, radii)
    alpha, base = design.pressure_angle, drawn.base_radius
    rolls = base * tan(alpha) + np.array(design.roll_um) / 1e3
    ends = np.hypot(base, rolls)
    found = np.zeros((len(table), STRETCHED))
    for row, moved in zip(found, table, strict=True):
        if np.abs(moved).max() < LEAST_STRETCH * design.radius_um / 1e3:
            continue

        def outwards(radius: Floats, moved: Floats = moved) -> Floats:
            return np.asarray(np.interp(radius, radii, moved))

        at = outwards(np.array([design.radius_um / 1e3, drawn.root_radius, drawn.tip_radius]))
        # Along its normal a flank moves by the sine of the pressure angle at its radius.
        slope = float(np.diff(outwards(ends) * rolls / ends)[0])
        lengths = np.array([2 * tan(alpha) * at[0], at[1], at[2], 0.0, slope, slope])
        row[:] = 1e3 * lengths
        row[3] = floor_ratio_of_moved(drawn, outwards)
    return found


def _stretch(reading: Reading, design: Design, lens: Lens, radii: Floats) -> Floats:
    """Mean movement outwards on circles about the datum, by each source of a lens, mm."""
    size = reading.calibration.mm_per_px
    datum = np.array([reading.datum.x_px, reading.datum.y_px])
    way = _unit(np.linspace(0, 2 * pi, 36, endpoint=False))

    def share(radius: float) -> Floats:
        shift = point_modes(lens, datum + radius / size * way)
        return np.asarray((shift * way).sum(axis=-1).mean(axis=-1) * size / radius)

    shares = np.stack([share(float(radius)) for radius in radii], axis=-1)
    known = {
        "known_tip_diameter": design.tip_um / 1e3,
        "known_bore": (reading.datum.bore_diameter_mm or 0.0) / 2,
    }.get(reading.calibration.method, 0.0)
    anchor = share(known)[:, None] if known > 0 else 0.0
    return np.asarray((shares - anchor) * radii)


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
    """Apparent shift of the tips' centre against the datum by each source, px, shape (8, 2)."""
    turn = np.linspace(0, 2 * pi, 72, endpoint=False)
    shift = point_modes(lens, datum + tip_px * _unit(turn))
    if ring is not None:
        shift = shift - _centre_moved(point_modes(lens, ring), ring)[:, None]
    return _first_wave(shift, _unit(turn))


def _centre_moved(shift: Floats, ring: Floats) -> Floats:
    """Shift of the circle fitted to points all round it."""
    arm = ring - ring.mean(axis=0)
    return _first_wave(shift, arm / np.hypot(*arm.T)[:, None])


def _first_wave(shift: Floats, way: Floats) -> Floats:
    outwards = (shift * way).sum(axis=-1)
    return np.asarray(2 * (outwards[..., None] * way).mean(axis=-2))


# --- where the reading does not say --------------------------------------------------------------


def _sizes_and_noise(reading: Reading, camera: Floats) -> tuple[Floats, Floats]:
    """How large the camera's errors and each flank's noise must be to give the stated u's.

    Parameters
    ----------
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
    from scipy.optimize import nnls  # slow to import, and few readings need it

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
    weight = 1 / np.maximum(stated, NANOMETRE**2)  # nothing in a file is surer
    squares, _ = nnls(design * weight[:, None], stated * weight)
    noise = float(squares[-1])
    # A flank that is less sure than the rest raises both pitches that it bounds.
    own = single - (squares[:-1, None, None] * apart).sum(axis=0) - noise
    own = np.fmin(own, np.roll(own, -1, axis=0))
    least = max(noise, LEAST_NOISE * float(np.nanmedian(single)))
    own = np.clip(np.nan_to_num(own, nan=least), least, 30 * least)
    return np.sqrt(squares[:-1]), np.where(np.isfinite(summed), np.sqrt(own), np.nan)


def _bore_doubt(reading: Reading, axis: Floats, noise: Floats, camera: Floats) -> float:
    """Standard uncertainty of the bore's centre each way: the eccentricity's less all else, µm."""
    stated = reading.summary.u_eccentricity_um or 0.0
    flanks = slice(0, noise.size)
    seen = np.isfinite(noise.ravel())
    shapes = axis[:, flanks][:, seen].T
    inverse = np.linalg.pinv(shapes)
    own = float(np.mean((inverse**2) @ noise.ravel()[seen] ** 2))
    lens = float(np.sum((camera[:, flanks][:, seen] @ inverse.T) ** 2))
    return sqrt(max(stated**2 - own - lens, (0.2 * stated) ** 2))
