"""Put the measured flanks into a reading, so that the gear can be run with another."""

from itertools import zip_longest
from math import sqrt

import numpy as np

from cogloupe.evaluation.pitch_and_runout import Figures
from cogloupe.evaluation.profile import ProfileFigures, common_slope_doubt
from cogloupe.evaluation.shapes import Shapes
from cogloupe.fits.datum import Axes
from cogloupe.fits.measured_gear import Measured
from cogloupe.numerics.missing import number
from cogloupe.reading.flank_models import FlankCurves, Flanks, FlankSource
from cogloupe_calibration.arrays import Floats

FORM_DIGITS, FINE_DIGITS, OUTLINE_DIGITS = 2, 4, 5
"""Decimals that are kept of µm, and of mm: no picture shows more."""


def build_flank_curves(
    measured: Measured, axes: Axes, figures: Figures, profiles: ProfileFigures, shapes: Shapes
) -> FlankCurves | None:
    """Forms of the flanks, and the parts of what is not known of their places.

    None for straight-sided teeth, whose sides nothing states.

    Parameters
    ----------
    measured, axes, figures, profiles, shapes
        What was worked out.
    """
    if measured.wheel.flank.name == "straight":
        return None
    scale, px = measured.scale, measured.scale.mm_per_px
    low, high = profiles.roll_range
    um = 1000 * figures.measuring_radius
    x, y = (measured.fits.centre - axes.datum) * px
    with_edge = scale.by_edge * figures.edge / px
    left, right = np.swapaxes(_forms(profiles), 0, 1)
    of_modes = sum(mode.stretch**2 for mode in figures.modes)
    return FlankCurves(
        axis_from_datum_mm=(float(x), float(y)),
        along_mm=tuple(float(v) for v in profiles.roll),
        left_form_um=tuple(_kept(row) for row in left),
        right_form_um=tuple(_kept(row) for row in right),
        u_point_um=profiles.noise,
        u_place_left_um=_kept(figures.noise[:, 0] * um, FINE_DIGITS),
        u_place_right_um=_kept(figures.noise[:, 1] * um, FINE_DIGITS),
        u_slope_left_um=_kept(profiles.own_slope[:, 0], FINE_DIGITS),
        u_slope_right_um=_kept(profiles.own_slope[:, 1], FINE_DIGITS),
        u_slope_common_um=1000 * common_slope_doubt(measured) * (high - low),
        u_edge_um=1000 * figures.edge,
        u_scale=sqrt(max(scale.relative_u**2 - scale.stretch**2 - with_edge**2, 0.0)),
        u_stretch=sqrt(max(scale.stretch**2 - of_modes, 0.0)),
        edge_on_scale=with_edge,
        sources=_sources(figures, profiles),
        gap_xy_mm=_mean_gap(shapes),
    )


def _sources(figures: Figures, profiles: ProfileFigures) -> tuple[FlankSource, ...]:
    """Common sources; those of the lens come first and in one order, in places and slopes."""
    um = 1000 * figures.measuring_radius
    flat = np.zeros_like(figures.noise)
    found = []
    for mode, tilt in zip_longest(figures.modes, profiles.tilts[: len(figures.modes)]):
        slope = flat if tilt is None else tilt
        found.append(
            FlankSource(
                left_place_um=_kept(mode.position[:, 0] * um, FINE_DIGITS),
                right_place_um=_kept(mode.position[:, 1] * um, FINE_DIGITS),
                left_slope_um=_kept(slope[:, 0], FINE_DIGITS),
                right_slope_um=_kept(slope[:, 1], FINE_DIGITS),
                stretch=mode.stretch,
            )
        )
    return tuple(found)


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


def _kept(values: Floats, digits: int = FORM_DIGITS) -> Flanks:
    return tuple(number(v) for v in np.round(values, digits))
