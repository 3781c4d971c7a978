"""How far the outline of every gap lies off the theoretical one, all along it.

Frame as in `gap_theory`; lengths mm.
"""

import numpy as np

from cogloupe.evaluation.drawing_data import GapSheet
from cogloupe.fits.measured_gear import Measured
from cogloupe.forms.gap_outline import interpolated
from cogloupe.forms.gap_theory import GapTheory
from cogloupe.numerics.grouped import grouped_means
from cogloupe_calibration.arrays import Floats, Ints

CELLS, CELL_PX = 96, 1.5
"""Most cells that an outline is averaged in, and the fewest px in one."""
CORNER_BLURS = 2.0
"""What is left out below the tips, in blurs: their corners are not in the theory."""


def gap_traces(
    measured: Measured, theory: GapTheory, points: tuple[Floats, Ints], first: int
) -> GapSheet:
    """Average the points of every gap along the theoretical outline.

    Parameters
    ----------
    points : (ndarray, shape (n, 2), ndarray, shape (n,), int)
        Points in the frame of their gap, and their gap.
    first : int
        Index of the gap after tooth 1.

    Notes
    -----
    A point belongs to the place of the outline that lies in the same direction from the middle of
    the tip circle's opening: every gap that widens outwards is seen whole from there.
    """
    px, blur = measured.scale.mm_per_px, measured.outlines.blur_px
    xy, gap = points
    top = theory.wheel.tip_radius
    low = np.hypot(*xy.T) < _own_top(measured, points, top) - CORNER_BLURS * blur * px
    xy, gap = xy[low], gap[low]
    seen = theory.shown
    rising = np.maximum.accumulate(_direction(seen.xy, top))
    station = np.interp(_direction(xy, top), rising, seen.station)
    place, normal = (interpolated(station, seen.station, v) for v in (seen.xy, seen.normal))
    off = ((xy - place) * normal).sum(axis=1) * 1000
    edges = _cells(seen.station, CELL_PX * px)
    cell = np.clip(np.searchsorted(edges, station) - 1, 0, len(edges) - 2)
    table = np.roll(_means(gap, cell, off, measured.wheel.teeth, len(edges) - 1), -first, axis=0)
    middle = (edges[1:] + edges[:-1]) / 2
    drawn = theory.drawn
    count = np.isfinite(table).sum(axis=0)
    mean = np.where(count > 0, np.nansum(table, axis=0) / np.maximum(count, 1), np.nan)
    return GapSheet(
        interpolated(middle, drawn.station, drawn.xy),
        interpolated(middle, drawn.station, drawn.normal), table, mean,
    )  # fmt: skip


def _own_top(measured: Measured, points: tuple[Floats, Ints], top: float) -> Floats:
    """Tip radius of the tooth that each point belongs to: a blank off centre has low ones."""
    xy, gap = points
    tooth = np.where(xy[:, 0] > 0, gap + 1, gap) % measured.wheel.teeth
    own = measured.tips.value[tooth] * measured.scale.mm_per_px
    return np.where(np.isfinite(own), own, top)


def _direction(xy: Floats, top: float) -> Floats:
    """Direction of points from the middle of the opening, from the right flank to the left."""
    return np.arctan2(xy[:, 0], top - xy[:, 1])


def _cells(station: Floats, least: float) -> Floats:
    """Borders of equal cells along the outline."""
    length = float(station[-1] - station[0])
    count = int(np.clip(length / least, 8, CELLS))
    return np.linspace(station[0], station[-1], count + 1)


def _means(gap: Ints, cell: Ints, off: Floats, gaps: int, cells: int) -> Floats:
    """Mean of the points in each cell of each gap; NaN where there is none."""
    return grouped_means(gap * cells + cell, off, gaps * cells)[0].reshape(gaps, cells)
