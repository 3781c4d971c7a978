"""Profile deviations of every flank over the evaluation range."""

from dataclasses import dataclass
from math import cos, sqrt, tan

import numpy as np
from numpy.typing import NDArray

from cogloupe.measure import Measured

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ProfileFigures:
    """Profile deviations of every flank, teeth in the order of their numbers, µm.

    Attributes
    ----------
    trace : ndarray, shape (z, 2, bins)
        Deviation out of the material over the evaluation range, mean taken off.
    roll : ndarray, shape (bins,)
        Roll length of the bins, mm.
    total, form, slope : ndarray, shape (z, 2)
        F_a, f_fa, f_Ha, and their standard uncertainties u_total, u_form, u_slope.
    angle : ndarray, shape (z, 2)
        Pressure angle of the involute each flank follows, rad; u_angle likewise.
    """

    trace: Floats
    roll: Floats
    total: Floats
    u_total: Floats
    form: Floats
    u_form: Floats
    slope: Floats
    u_slope: Floats
    angle: Floats
    u_angle: Floats


def work_out_profiles(measured: Measured, first: int, bins: int = 12) -> ProfileFigures:
    """Profile deviations of every flank over the evaluation range.

    Parameters
    ----------
    measured : Measured
    first : int
        Index of tooth 1 in the measured arrays.
    bins : int
        Stretches of roll length the trace is averaged over.

    Returns
    -------
    ProfileFigures

    Notes
    -----
    f_Ha is the rise of the fitted line over the range (ISO 1328-1: positive when the profile
    leaves the material towards the tip). f_fa and F_a are ranges of the averaged trace without
    and with that line; noise alone gives such ranges a size, which is put into their uncertainty
    so that it is not taken for form.
    """
    fits, px = measured.fits, measured.scale.mm_per_px
    arm, points = fits.curve.measuring_arm, fits.points
    low, high = fits.curve.roll_range
    z = len(fits.unwound)
    cell = np.clip(((points.roll - low) / (high - low) * bins).astype(int), 0, bins - 1)
    line = (fits.unwound - fits.nominal).ravel()[points.flank]
    out = points.sign * (points.unwound - line) * points.arm * arm[points.flank % 2] * px * 1000
    use = fits.used & np.isfinite(out)
    index = (points.flank * bins + cell)[use]
    count = np.bincount(index, minlength=2 * z * bins)
    total = np.bincount(index, out[use], 2 * z * bins)
    trace = np.where(count > 0, total / np.maximum(count, 1), np.nan).reshape(2 * z, bins)
    middle = low + (np.arange(bins) + 0.5) / bins * (high - low)
    sign = np.tile([-1.0, 1.0], z)
    relative = (sign * fits.slope.ravel()) * np.tile(arm, z)
    u_relative = np.hypot(fits.u_slope.ravel() * np.tile(arm, z), measured.scale.relative_u)
    rise = relative * (high - low) * px * 1000
    along = relative[:, None] * (middle - middle.mean()) * px * 1000
    centred = trace - _row_mean(trace)
    level = (
        fits.scatter
        * px
        * 1000
        * sqrt(fits.correlation)
        / np.sqrt(np.maximum(np.median(count.reshape(-1, bins), axis=1), 1))
    )
    # The expected range of n normal values is about 1.1 sqrt(2 ln n) standard deviations twice.
    chance = 2 * 0.82 * sqrt(2 * np.log(bins)) * level
    alpha = measured.gear.rack.pressure_angle
    angle = np.arccos(np.clip(cos(alpha) * (1 + relative), -1, 1))

    def by_tooth(values: Floats) -> Floats:
        return np.roll(values.reshape(z, 2, *values.shape[1:]), -first, axis=0)

    u_rise = np.abs((high - low) * px * 1000 * u_relative)
    u_range = np.where(np.isfinite(rise), np.hypot(chance / 2, sqrt(2) * level), np.nan)
    return ProfileFigures(
        by_tooth(centred), middle * px, by_tooth(_row_range(centred)),
        by_tooth(np.hypot(u_range, u_rise)), by_tooth(_row_range(centred - along)),
        by_tooth(u_range), by_tooth(rise), by_tooth(u_rise), by_tooth(angle),
        by_tooth(u_relative / tan(alpha)),
    )  # fmt: skip


def _row_mean(rows: Floats) -> Floats:
    count = np.isfinite(rows).sum(axis=1, keepdims=True)
    return np.where(count > 0, np.nansum(rows, axis=1, keepdims=True) / np.maximum(count, 1), 0.0)


def _row_range(rows: Floats) -> Floats:
    seen = np.isfinite(rows)
    high = np.where(seen, rows, -np.inf).max(axis=1)
    low = np.where(seen, rows, np.inf).min(axis=1)
    return np.where(seen.sum(axis=1) >= 3, high - low, np.nan)
