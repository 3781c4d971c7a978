"""Put the measured flanks into a reading, so that the gear can be run with another."""

from math import sqrt

import numpy as np

from cogloupe.figures.pitch import Figures
from cogloupe.figures.profile import ProfileFigures, common_slope_doubt
from cogloupe.figures.shapes import Shapes
from cogloupe.fits.datum import Axes
from cogloupe.fits.measured import Measured
from cogloupe.numerics.missing import number
from cogloupe.reading.flank_models import FlankCurves, FlankSource
from cogloupe_calibration.arrays import Floats

FORM_DIGITS, OUTLINE_DIGITS = 2, 5
"""Decimals that are kept: hundredths of a µm, which no picture shows."""


def build_flank_curves(
    measured: Measured, axes: Axes, figures: Figures, profiles: ProfileFigures, shapes: Shapes
) -> FlankCurves | None:
    """Forms of the flanks, and the parts of what is not known of their places.

    Parameters
    ----------
    measured, axes, figures, profiles, shapes
        What was worked out.

    Returns
    -------
    FlankCurves or None
        None for straight-sided teeth, whose sides nothing states.
    """
    if measured.wheel.flank.name == "straight":
        return None
    scale, px = measured.scale, measured.scale.mm_per_px
    low, high = profiles.roll_range
    um = 1000 * figures.measuring_radius
    x, y = (measured.fits.centre - axes.datum) * px
    with_edge = scale.by_edge * figures.edge / px
    left, right = np.swapaxes(_forms(profiles), 0, 1)
    own_left, own_right = (figures.noise * um).T
    return FlankCurves(
        axis_from_datum_mm=(float(x), float(y)),
        along_mm=tuple(float(v) for v in profiles.roll),
        left_form_um=tuple(_kept(row) for row in left),
        right_form_um=tuple(_kept(row) for row in right),
        u_point_um=profiles.noise,
        u_place_left_um=_kept(own_left, 4),
        u_place_right_um=_kept(own_right, 4),
        u_slope_common_um=1000 * common_slope_doubt(measured) * (high - low),
        u_edge_um=1000 * figures.edge,
        u_scale=sqrt(max(scale.relative_u**2 - with_edge**2, 0.0)),
        edge_on_scale=with_edge,
        sources=tuple(
            FlankSource(
                name=mode.name,
                left_um=_kept(mode.position[:, 0] * um, 4),
                right_um=_kept(mode.position[:, 1] * um, 4),
            )
            for mode in figures.modes
        ),
        gap_xy_mm=_mean_gap(shapes),
    )


def _forms(profiles: ProfileFigures) -> Floats:
    """What place and slope leave of every trace, µm, shape (z, 2, cells)."""
    low, high = profiles.roll_range
    share = (profiles.roll - low) / (high - low) - 0.5
    return np.asarray(profiles.trace - profiles.slope[..., None] * share)


def _mean_gap(shapes: Shapes) -> tuple[tuple[float, float], ...]:
    """Mean outline of the gaps as seen; empty where there is none."""
    sheet = shapes.traces
    if sheet is None:
        return ()
    seen = np.isfinite(sheet.mean_um)
    xy = (sheet.xy_mm + sheet.normal * sheet.mean_um[:, None] / 1000)[seen]
    return tuple((x, y) for x, y in np.round(xy, OUTLINE_DIGITS).tolist())


def _kept(values: Floats, digits: int = FORM_DIGITS) -> tuple[float | None, ...]:
    return tuple(number(v) for v in np.round(values, digits))
