"""The mean gap of a gear: all gaps laid over one another, and how well their mean is known.

Each gap is turned about the axis of the teeth until the middle between its two flanks points the
same way, so that pitch errors and eccentricity drop out and what the cutter left in all gaps
remains. Frame and sides as in `gap_outline`; lengths mm.
"""

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from math import hypot, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from cogloupe.evaluation.pitch_and_runout import Figures
from cogloupe.finding.tooth_map import gap_of
from cogloupe.fits.evaluation_range import FORM_SHIFTS
from cogloupe.fits.measured_gear import Measured, found_floors
from cogloupe.fits.teeth_axis import gap_middles
from cogloupe.forms.gap_outline import GapOutline, evenly, interpolated, off_outline, whole_gap
from cogloupe.forms.rack import half_gap
from cogloupe.numerics.angles import polar, wrapped
from cogloupe.numerics.grouped import grouped_means
from cogloupe_calibration.arrays import Floats, Ints
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.errors import PhotoError
from cogloupe_calibration.lens import point_modes
from cogloupe_calibration.robust import NORMAL, scatter

CELL_MODULES, CELL_PX = 0.07, 1.5
"""Length of outline that is averaged: modules, and px where that is longer."""
TIP_CLEAR_MODULES, TIP_CLEAR_BLURS = 0.12, 2.5
"""What is left out below the tips, where burrs and rounding lie."""
CLIP = 4.0
"""A gap further off the others than so many robust standard deviations is left out of a mean."""
FEWEST_GAPS = 3
"""Fewer tell no scatter from gap to gap."""


@dataclass(frozen=True, kw_only=True)
class MeanGap:
    """The mean gap at n places along its outline.

    Attributes
    ----------
    xy, normal : ndarray, shape (n, 2)
        Places, mm, and unit normals out of the material.
    station : ndarray, shape (n,)
        Length along the outline from the middle of the floor, mm.
    covariance : ndarray, shape (n, n)
        Of the places along their normals, from edge noise and from how the gaps differ, mm^2.
    edge : float
        Standard uncertainty of all edges together, mm along the normal.
    stretch : float
        Standard uncertainty of the lens's stretch along the radius against that across it.
    relative_u : float
        Relative standard uncertainty of the scale.
    blur, px : float
        Blur of the edges and size of a pixel, mm.
    gaps : int
        Gaps that took part.
    floor, u_floor : float
        Mean radius of the floors, mm, without scale and edge.
    tip, u_tip : float
        The same of the tips.
    width_spread, u_width : float
        Standard deviation of the gaps' widths on the measuring circle, and the noise of one, mm.
    """

    xy: Floats
    normal: Floats
    station: Floats
    covariance: Floats
    edge: float
    stretch: float
    relative_u: float
    blur: float
    px: float
    gaps: int
    floor: float
    u_floor: float
    tip: float
    u_tip: float
    width_spread: float
    u_width: float


def measure_mean_gap(measured: Measured, figures: Figures, lens: Lens) -> MeanGap:
    """Lay the gaps of a measured gear over one another.

    Parameters
    ----------
    lens : Lens
        Measured, or with an allowance.

    Raises
    ------
    PhotoError
        Where fewer than three gaps show both flanks and the floor.
    """
    px = measured.scale.mm_per_px
    xy, gap = folded_points(measured)
    floors = found_floors(measured, measured.fits.centre)
    turn = measured.teeth.centre_angle
    floor, u_floor = _mean_of(floors.value * px, floors.u * px, turn)
    tip, u_tip = _mean_of(measured.tips.value * px, measured.tips.u * px, turn)
    if len(np.unique(gap)) < FEWEST_GAPS or not np.isfinite([floor, tip]).all():
        raise PhotoError("too few gaps are seen whole to compare them with what a cutter leaves")
    blur = measured.outlines.blur_px * px
    module = measured.gear.module_mm
    top = tip - max(TIP_CLEAR_MODULES * module, TIP_CLEAR_BLURS * blur)
    low = np.hypot(*xy.T) < top
    cell = max(CELL_MODULES * module, CELL_PX * px)
    outline, table = _averaged(xy[low], gap[low], _start(measured, floor, top), cell)
    mean, covariance, known = _mean_and_covariance(table, _point_noise(measured, cell))
    width, u_width = _width_spread(figures)
    places = outline.xy + outline.normal * mean[:, None]
    return MeanGap(
        xy=places[known],
        normal=outline.normal[known],
        station=outline.station[known],
        covariance=covariance[np.ix_(known, known)],
        edge=figures.edge,
        stretch=_lens_stretch(measured, lens),
        relative_u=measured.scale.relative_u,
        blur=blur,
        px=px,
        gaps=len(np.unique(gap)),
        floor=floor,
        u_floor=u_floor,
        tip=tip,
        u_tip=u_tip,
        width_spread=width,
        u_width=u_width,
    )


def folded_points(measured: Measured) -> tuple[Floats, Ints]:
    """Every good edge point in the frame of its own gap.

    Returns
    -------
    xy : ndarray, shape (n, 2)
        Mm.
    gap : ndarray, shape (n,), int
        Index of the gap, that of the tooth before it in the measured arrays.
    """
    edges, fits = measured.outlines.outer, measured.fits
    middle = gap_middles(fits)
    radius, polar_angle = polar(edges.xy, fits.centre)
    gap, _ = gap_of(measured.teeth)
    whole = np.isfinite(middle[gap]) & edges.good
    away = (polar_angle - middle[gap])[whole]
    away = wrapped(away)
    out = radius[whole] * measured.scale.mm_per_px
    return np.stack([out * np.sin(away), out * np.cos(away)], axis=1), gap[whole]


def _start(measured: Measured, floor: float, top: float) -> GapOutline:
    """Theoretical gap at the depth that was found, to lay the points against at first."""
    gear = measured.gear
    shift = (floor - gear.reference_radius) / gear.module_mm + gear.rack.dedendum
    found = replace(
        gear, profile_shift=float(np.clip(shift, *FORM_SHIFTS)),
        tip_radius_mm=top + 0.05 * gear.module_mm,
    )  # fmt: skip
    return whole_gap(*half_gap(found), 0.02 * gear.module_mm)


def _averaged(xy: Floats, gap: Ints, outline: GapOutline, cell: float) -> tuple[GapOutline, Floats]:
    """Mean outline at steps of a cell, and each gap's distance from it there.

    The first turn finds the outline, the second lays the points against what was found.
    """
    for _ in range(2):
        coarse, table = _laid_against(outline, xy, gap, cell)
        with _cells_may_be_empty():
            mean = np.nanmedian(table, axis=0)
        found = coarse.xy + coarse.normal * np.nan_to_num(mean)[:, None]
        outline = _smooth(found, cell)
    return _laid_against(outline, xy, gap, cell)


def _laid_against(
    outline: GapOutline, xy: Floats, gap: Ints, cell: float
) -> tuple[GapOutline, Floats]:
    """Outline at steps of a cell, and each gap's distance from it there."""
    off, nearest = off_outline(outline, xy)
    # Cells count from the middle of the floor, so that both sides are cut up alike.
    place = np.rint(outline.station[nearest] / cell).astype(np.int64)
    first = int(place.min())
    table = _table(gap, place - first, off)
    return _at(outline, np.asarray((first + np.arange(table.shape[1])) * cell, np.float64)), table


def _smooth(xy: Floats, cell: float) -> GapOutline:
    """Fine outline through coarse places; chords would cut the fillets short."""
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    fine = np.linspace(0.0, length[-1], 8 * len(length))
    # Cubic pieces through the places, along the chords of their neighbours (Catmull and Rom).
    slope = np.gradient(xy, length, axis=0)
    before = np.clip(np.searchsorted(length, fine, side="right") - 1, 0, len(length) - 2)
    span = np.diff(length)[before, None]
    t = (fine - length[before])[:, None] / span
    first, second = xy[before], xy[before + 1]
    curve = (
        first * (1 + 2 * t) * (1 - t) ** 2
        + second * (3 - 2 * t) * t**2
        + span * t * (1 - t) * (slope[before] * (1 - t) - slope[before + 1] * t)
    )
    return evenly(curve, cell / 8)


def _at(outline: GapOutline, stations: Floats) -> GapOutline:
    """Outline at given stations."""
    xy, normal = (
        interpolated(stations, outline.station, values) for values in (outline.xy, outline.normal)
    )
    return GapOutline(xy, normal / np.hypot(*normal.T)[:, None], stations)


def _table(gap: Ints, place: Ints, off: Floats) -> Floats:
    """Mean distance of each gap's points in each cell, shape (gaps, cells); NaN for none."""
    _, row = np.unique(gap, return_inverse=True)
    rows, columns = int(row.max()) + 1, int(place.max()) + 1
    return grouped_means(row * columns + place, off, rows * columns)[0].reshape(rows, columns)


@contextmanager
def _cells_may_be_empty() -> Iterator[None]:
    """Without numpy's warnings of cells that no gap shows; they come out as NaN."""
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore", RuntimeWarning)
        yield


def _mean_and_covariance(table: Floats, noise: float) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Mean over gaps, its covariance, and the cells that enough gaps show.

    A sample covariance of few gaps is drawn towards its own diagonal, the more the fewer they are
    against the cells; the noise of one cell's points is its floor.
    """
    with _cells_may_be_empty():
        middle = np.nanmedian(table, axis=0)
        spread = np.maximum(NORMAL * np.nanmedian(np.abs(table - middle), axis=0), noise)
        table = np.where(np.abs(table - middle) < CLIP * spread, table, np.nan)
        count = np.isfinite(table).sum(axis=0)
        mean = np.nanmean(table, axis=0)
    known = count >= max(FEWEST_GAPS, 0.4 * len(table))
    off = np.where(np.isfinite(table), table - mean, 0.0)
    sample = off.T @ off / np.maximum(count - 1, 1)
    own = len(table) / (len(table) + table.shape[1])
    variance = np.maximum(np.diag(sample), noise**2)
    covariance = own * sample + np.diag(variance - own * np.diag(sample))
    return np.nan_to_num(mean), covariance / np.maximum(np.sqrt(np.outer(count, count)), 1), known


def _point_noise(measured: Measured, cell: float) -> float:
    """Noise of the mean of one cell's points in one gap, mm."""
    px, fits = measured.scale.mm_per_px, measured.fits
    return fits.scatter * px * sqrt(fits.correlation / max(cell / px, 1.0))


def _mean_of(values: Floats, u: Floats, turn: Floats) -> tuple[float, float]:
    """Mean of radii over teeth and its standard uncertainty, a wave of one turn taken out.

    The blank may stand off the axis of the teeth; that moves no mean.
    """
    seen = np.isfinite(values)
    if not seen.any():
        return float("nan"), float("nan")
    waves = [np.ones(len(turn)), np.cos(turn), np.sin(turn)][: 3 if seen.sum() >= 8 else 1]
    design, value = np.stack(waves, axis=1)[seen], values[seen]
    for _ in range(3):
        found = np.linalg.lstsq(design, value, rcond=None)[0]
        off = np.abs(value - design @ found)
        near = off <= CLIP * scatter(off) + 1e-12
        if near.all() or near.sum() < len(waves) + 3:
            break
        design, value = design[near], value[near]
    rest = value - design @ found
    own = hypot(float(np.sqrt(np.mean(rest**2))), float(np.median(u[seen])))
    return float(found[0]), own / sqrt(len(value))


def _width_spread(figures: Figures) -> tuple[float, float]:
    width = figures.gap_width[np.isfinite(figures.gap_width)]
    noise = float(np.sqrt(np.nanmean(figures.noise**2))) * figures.measuring_radius * sqrt(2)
    return float(np.std(width, ddof=1)) if len(width) > 1 else 0.0, noise


def _lens_stretch(measured: Measured, lens: Lens) -> float:
    """What the lens may stretch the teeth along the radius more than across it, as a share."""
    fits, turn = measured.fits, np.linspace(0, 2 * pi, 24, endpoint=False)
    way = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    radius, step = fits.curve.measuring_radius, 0.02 * fits.curve.measuring_radius
    outer, here, inner = (
        point_modes(lens, fits.centre + (radius + k * step) * way) for k in (1, 0, -1)
    )
    along = ((outer - inner) * way).sum(axis=-1) / (2 * step)
    across = ((here * way).sum(axis=-1)).mean(axis=-1) / radius
    return float(np.sqrt(np.sum((along.mean(axis=-1) - across) ** 2)))
