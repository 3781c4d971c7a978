"""Find straight parallel rulings on a picture and where each lies, to a fraction of a pixel.

The picture is never resampled: pixels are gathered in narrow bands that run along the scale, and
averaged by their own place across the rulings. Frame: u along the scale, t along the rulings,
u = x cos(a) + y sin(a), t = -x sin(a) + y cos(a), pixels.
"""

from dataclasses import dataclass
from math import atan, cos, pi, sin, sqrt

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.signal import find_peaks, peak_widths

from cogloupe_calibration.arrays import Floats, Ints
from cogloupe_calibration.errors import CalibrationError

BIN_PX = 0.5
"""How finely a band is averaged along the scale: it blurs by 0.14 px, half of what a pixel does."""
BANDS, MIN_BAND_PX = 24, 8.0
"""Bands across the picture, so that numerals and lines of several lengths fall into bands of their
own, and the pixels below which averaging would not help (our own judgement)."""
# Highest over lowest of a thousand values of white noise is about 6.5 standard deviations.
SIGNIFICANT = 8.0
# A smear or a numeral's stroke is weaker than a line of the same band, or hits few bands. Where
# blur runs the short lines into each other, the longer ones by themselves stand out much more.
WEAKEST_LINE = 0.3
_NO_RULINGS = "no rulings found: {}; fill the picture with the scale, in focus and evenly lit"


@dataclass(frozen=True, kw_only=True)
class Bands:
    """The picture averaged along the rulings.

    Attributes
    ----------
    angle : float
        Direction of u on the picture, rad.
    u, t, value : ndarray, shape (b, k)
        Mean place and mean grey value of the pixels in each bin; u rises along k.
    count : ndarray, shape (b, k)
        Pixels in each bin; 0 where there are none.
    start : float
        u at which bin 0 begins.
    noise : float
        Standard deviation of one pixel along the rulings.
    """

    angle: float
    u: Floats
    t: Floats
    value: Floats
    count: Floats
    start: float
    noise: float


def rulings_direction(grey: Floats) -> float:
    """Direction across the rulings, along the scale: angle on the picture, rad, in (-pi/2, pi/2].

    Raises
    ------
    CalibrationError
        Where the picture is blank.

    Notes
    -----
    The commonest direction of the grey gradient, weighted by its square; edges of the rule and
    line ends lie elsewhere and do not pull it.
    """
    soft = cv2.GaussianBlur(grey, (0, 0), 1.5)
    gx, gy = cv2.Scharr(soft, cv2.CV_64F, 1, 0), cv2.Scharr(soft, cv2.CV_64F, 0, 1)
    weight = gx**2 + gy**2
    # Below a rounding error of the grey values there is nothing to see.
    if weight.max() <= 1e-18 * max(1.0, float(np.abs(grey).max())) ** 2:
        raise CalibrationError(_NO_RULINGS.format("the picture is blank"))
    angle = np.asarray(np.arctan2(gy, gx) % pi, dtype=np.float64)
    return _commonest_direction(angle, np.asarray(weight, dtype=np.float64))


def _commonest_direction(angle: Floats, weight: Floats) -> float:
    histogram = np.bincount((angle * 180 / pi).astype(int).ravel() % 180, weight.ravel(), 180)
    top = np.deg2rad(int(np.argmax(gaussian_filter1d(histogram, 2.0, mode="wrap"))) + 0.5)
    for _ in range(3):
        offset = (angle - top + pi / 2) % pi - pi / 2
        near = np.abs(offset) < np.deg2rad(4)
        top += float(np.average(offset[near], weights=weight[near]))
    return float((top + pi / 2) % pi - pi / 2)


def gather_bands(grey: Floats, angle: float) -> Bands:
    """Average a picture along its rulings, band by band, at the scale's direction, rad."""
    y, x = np.indices(grey.shape, dtype=np.float64)
    u = (x * cos(angle) + y * sin(angle)).ravel()
    t = (-x * sin(angle) + y * cos(angle)).ravel()
    band = max(MIN_BAND_PX, float(np.ptp(t)) / BANDS)
    row = ((t - t.min()) / band).astype(np.int64)
    column = ((u - u.min()) / BIN_PX).astype(np.int64)
    shape = (int(row.max()) + 1, int(column.max()) + 1)
    return _average(angle, row * shape[1] + column, shape, np.stack([u, t, grey.ravel()]))


def _average(angle: float, cell: Ints, shape: tuple[int, int], pixels: Floats) -> Bands:
    u, t, grey = pixels
    size = shape[0] * shape[1]
    count = np.bincount(cell, minlength=size).astype(np.float64)
    some = np.maximum(count, 1)
    u_mean, t_mean, value = (np.bincount(cell, a, size) / some for a in (u, t, grey))
    square = np.bincount(cell, (grey - value[cell]) ** 2, size)
    well_filled = count >= 4
    noise = sqrt(float(np.median(square[well_filled] / (count[well_filled] - 1))))
    u_mean, t_mean, value, count = (a.reshape(shape) for a in (u_mean, t_mean, value, count))
    return Bands(
        angle=angle, u=u_mean, t=t_mean, value=value, count=count, start=float(u.min()), noise=noise
    )


def _even_profile(bands: Bands, row: int) -> tuple[Floats, Floats, float]:
    """One band on a grid of one pixel: places, values, standard error of a value."""
    # Bins cut short by the border of the picture are noisier than the error says.
    filled = bands.count[row][bands.count[row] > 0]
    seen = bands.count[row] > 0.25 * np.median(filled) if filled.size else filled > 0
    u, value, count = bands.u[row, seen], bands.value[row, seen], bands.count[row, seen]
    places = np.arange(np.ceil(u[0]), u[-1]) if u.size else np.empty(0)
    error = bands.noise / sqrt(float(np.median(count))) if u.size else 0.0
    return places, np.interp(places, u, value), error


def lines_are_dark(bands: Bands) -> bool:
    """Tell dark lines on light ground from light lines on dark.

    True for dark lines. Lines as wide as their gaps give either, and the same period.

    Notes
    -----
    Lines are the rarer grey value, so the profile is skewed to their side.
    """
    skew = 0.0
    for row in range(len(bands.u)):
        places, value, _ = _even_profile(bands, row)
        if places.size > 20:
            # Longer than a few divisions: takes out uneven light, leaves the lines.
            skew += float(np.sum((value - gaussian_filter1d(value, places.size / 12)) ** 3))
    return skew < 0


def find_candidates(bands: Bands, dark: bool) -> tuple[Ints, Floats, Floats, float]:
    """Rough places of line-like features, band by band.

    Gives bands, places u and t (m,), good to a fraction of a pixel, and the median full width at
    half height, px.

    Raises
    ------
    CalibrationError
        Where nothing stands out of the noise.
    """
    found = [_peaks(bands, row, -1.0 if dark else 1.0) for row in range(len(bands.u))]
    row = np.repeat(np.arange(len(found)), [len(peaks) for peaks in found])
    peaks = np.concatenate(found)
    if len(peaks) < 2:
        raise CalibrationError(_NO_RULINGS.format("nothing stands out of the noise"))
    keep = peaks[:, 1] > WEAKEST_LINE * band_medians(row, peaks[:, 1])
    row, peaks = row[keep], peaks[keep]
    t = np.array([np.average(bands.t[k], weights=bands.count[k]) for k in range(len(bands.t))])
    return row, peaks[:, 0], t[row], float(np.median(peaks[:, 2]))


def band_medians(band: Ints, value: Floats) -> Floats:
    """Median of the values (m,) of each value's own band (m,)."""
    medians = np.zeros(int(band.max(initial=0)) + 1)
    for row in np.unique(band):
        medians[row] = np.median(value[band == row])
    return medians[band]


def _peaks(bands: Bands, row: int, sign: float) -> Floats:
    """Place, prominence and width of the peaks of one band, shape (n, 3)."""
    places, value, error = _even_profile(bands, row)
    if places.size < 20:
        return np.empty((0, 3))
    value = gaussian_filter1d(sign * value, 1.0)
    top, properties = find_peaks(value, prominence=SIGNIFICANT * error + 1e-12)
    before, here, after = value[top - 1], value[top], value[top + 1]
    shift = (before - after) / (2 * (before - 2 * here + after))
    width = peak_widths(value, top, rel_height=0.5)[0]
    return np.column_stack([places[top] + shift, properties["prominences"], width])


def turned(angle: float, lean: float) -> float:
    """Direction along the scale, rad, square to the lines where they lean by du/dt."""
    return angle - atan(lean)
