"""Marks of a ruled scale that a picture hardly shows: faint ones, and those that blur has merged.

Taking every fifth line for the divisions would make the scale five times too small.
"""

from math import pi, sqrt

import numpy as np

from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.line_fit import LinePoints, LineShape, bin_windows
from cogloupe_calibration.numbering import RowModel
from cogloupe_calibration.rulings import Bands

PARTS = (10, 5, 2)
"""Ways in which rules part the space between longer lines (common practice, no source)."""
# Of the height of a line, laid over each other; less may be grain of the ground.
FAINTEST_MARK = 0.005
SURE_WAVE, LEAST_BANDS = 4.0, 2
"""How much stronger than what lies beside it a wave is believed, and in how many bands (our own
judgement)."""
BESIDE = (-0.36, -0.27, 0.27, 0.36)
"""Where beside a wave is looked, in harmonics of the lines: between those of every fifth and every
tenth line."""
# Shorter waves do not pass through a camera's pixels.
SHORTEST_WAVE_PX = 2.5
# By how much sharpening and odd edges of the lines may raise their own harmonics.
OWN_HARMONIC = 2.0


def finer_marks(bands: Bands, points: LinePoints, model: RowModel, shape: LineShape) -> int:
    """Look for marks that divide the space between the lines evenly.

    2, 5 or 10 where there are marks that make so many parts; else 1.
    """
    return max(_faint_parts(bands, points, model, shape), _blurred_parts(bands, model, shape))


def _faint_parts(bands: Bands, points: LinePoints, model: RowModel, shape: LineShape) -> int:
    """Parts by marks that stand out where all spaces are laid over each other.

    Marks on the lines' flanks, within one and a half reaches, are not asked for.
    """
    period = abs(float(model.terms[1]))
    phase, height = _between(bands, points, period)
    for parts in PARTS:
        inner = np.arange(1, parts) / parts
        inner = inner[np.minimum(inner, 1 - inner) * period > 1.5 * shape.reach]
        at = np.array([_contrast(phase, height, place, 0.25 / parts) for place in inner])
        if at.size and np.all(at > FAINTEST_MARK):
            return parts
    return 1


def _between(bands: Bands, points: LinePoints, period: float) -> tuple[Floats, Floats]:
    """Phase in the space after each line and grey there as a fraction of the line's height."""
    index, inside = bin_windows(bands, points.u + period / 2, period / 2)
    rows = points.band[:, None]
    phase = (bands.u[rows, index] - points.u[:, None]) / period
    height = bands.value[rows, index] / points.amplitude[:, None]
    good = inside[:, None] & (bands.count[rows, index] > 0) & (phase >= 0) & (phase <= 1)
    # Each space about its own mean, so that uneven light does not strew the stack.
    mean = np.sum(np.where(good, height, 0.0), axis=1) / np.maximum(good.sum(axis=1), 1)
    centred = height - mean[:, None]
    return phase[good], centred[good]


def _contrast(phase: Floats, height: Floats, place: float, half: float) -> float:
    """How far the stack stands out at a place above both its sides; 0 where not significant."""
    middle, left, right = (
        height[np.abs(phase - place - side * 2 * half) < half / 2] for side in (0, -1, 1)
    )
    if min(middle.size, left.size, right.size) < 4:
        return 0.0
    steps = [middle.mean() - side.mean() for side in (left, right)]
    error = sqrt(middle.var() / middle.size + max(s.var() / s.size for s in (left, right)))
    return float(min(steps)) if min(steps) > 4 * error else 0.0


def _blurred_parts(bands: Bands, model: RowModel, shape: LineShape) -> int:
    """Parts by the wave that lines leave which blur has run into each other.

    It is below the noise of one line, but seen in a band's whole length. The lines that are seen
    have such a harmonic too: as narrow as can be, of the same blur, they have
    ``exp(-2 pi^2 (m^2 - 1) (blur / period)^2)`` of the first. How strong a wave grain and numerals
    make is seen beside it.
    """
    period = abs(float(model.terms[1]))
    first = _harmonic(bands, model, 1.0)
    for parts in PARTS:
        if period / parts < SHORTEST_WAVE_PX:
            continue
        beside = np.max([_harmonic(bands, model, parts + off) for off in BESIDE], axis=0)
        own = np.exp(-2 * (pi * shape.blur / period) ** 2 * (parts**2 - 1)) * first
        stand_out = _harmonic(bands, model, parts) > SURE_WAVE * beside + OWN_HARMONIC * own
        if np.count_nonzero(stand_out) >= LEAST_BANDS:
            return parts
    return 1


def _harmonic(bands: Bands, model: RowModel, order: float) -> Floats:
    """Amplitude of a harmonic of the lines in every band."""
    number = model.number(bands.u, bands.t)
    filled = bands.count > 0
    low = np.min(np.where(filled, number, np.inf), axis=1, keepdims=True)
    high = np.max(np.where(filled, number, -np.inf), axis=1, keepdims=True)
    # Fading in and out keeps uneven light from passing for a wave.
    along = np.where(filled, (number - low) / np.maximum(high - low, 1e-9), 0.0)
    weight = bands.count * np.sin(pi * along) ** 2
    whole = np.maximum(weight.sum(axis=1, keepdims=True), 1e-9)
    mean = np.sum(weight * bands.value, axis=1, keepdims=True) / whole
    turn = np.where(filled, np.exp(-2j * pi * order * number), 0.0)
    wave = np.sum(weight * (bands.value - mean) * turn, axis=1) / whole[:, 0]
    return np.asarray(np.abs(wave), dtype=np.float64)
