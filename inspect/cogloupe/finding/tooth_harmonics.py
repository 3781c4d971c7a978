"""Harmonics that theoretical teeth have round the turn, to hold against a picture's.

The directions of edges are laid out by angle and by the logarithm of the radius. A gear's edges
there repeat with its teeth, so its only harmonics are multiples of their number; each is a function
of the row.
"""

from functools import cache
from math import pi

import numpy as np
from numpy.typing import NDArray

from cogloupe_calibration.arrays import Floats, Ints

Spectrum = NDArray[np.complex64]

ROW, ROWS, ROWS_PADDED = 0.008, 320, 512
"""Step from row to row in the logarithm of the radius; rows (from the least radius on to 13 times
that); and rows with room for the longest tooth."""
HARMONICS = 3
PRESSURE_ANGLE = np.radians(20.0)
ADDENDUM, DEDENDUM = 1.0, 1.25
"""Of the tooth that pictures are held against, in modules: the usual rack's. Gears of others are
near enough; what their teeth really are is measured later."""


@cache
def theory(fewest: int, most: int) -> tuple[Ints, Spectrum, Spectrum, Floats]:
    """Harmonics of theoretical teeth along the rows, for all numbers between two.

    Returns
    -------
    numbers : ndarray, shape (m,), int
    ahead, behind : ndarray, shape (m, HARMONICS, ROWS_PADDED), complex64
        Spectra along the rows, row 0 at the tip, of the harmonics n = k z and n = -k z.
    length : ndarray, shape (m,)
        Of the outline for each tooth, modules.
    """
    from scipy import fft

    numbers = np.arange(fewest, most + 1)
    tables = [tooth_harmonics(int(z)) for z in numbers]
    rows = np.array([table for table, _ in tables])
    spectra = np.asarray(fft.fft(rows, axis=-1), np.complex64)
    return numbers, spectra[:, 0], spectra[:, 1], np.array([length for _, length in tables])


def tooth_harmonics(teeth: int) -> tuple[Floats, float]:
    """Harmonics of a theoretical tooth's edge directions, row by row.

    Returns
    -------
    ndarray, shape (2, HARMONICS, ROWS_PADDED)
        Ahead and behind; row 0 at the tip, inner rows counted back from the end.
    float
        Length of the outline for each tooth, in modules.

    Notes
    -----
    A right flank at the angle h from the tooth's centre runs at the pressure angle a against the
    radius, so its normal's doubled angle against the radius is ``-exp(-2 i a)``, the left one's its
    conjugate: together they give ``-2 cos(2 a + n h)`` to the harmonic n. Lands and floors face
    outwards: 1.
    """
    tip, root, radius, half, lean = _half_tooth(teeth)
    n = teeth * np.arange(1, HARMONICS + 1)[:, None]
    length = (tip - root) / len(radius) / np.cos(lean)
    land = 2 * tip * np.sin(n * half[-1]) / n
    gap = pi / teeth - half[0]
    floor = 2 * root * np.sin(n * gap) / n * np.cos(n * pi / teeth)
    at = np.log(np.append(radius, [tip, root]) / tip) / ROW
    sides = [
        np.concatenate([-2 * np.cos(2 * lean + sign * n * half) * length, land, floor], axis=1)
        for sign in (1, -1)
    ]
    table = _between_rows(at, np.concatenate(sides))
    full = float(2 * length.sum() + 2 * tip * half[-1] + 2 * root * gap)
    return table.reshape(2, HARMONICS, ROWS_PADDED), full


def _half_tooth(teeth: int) -> tuple[float, float, Floats, Floats, Floats]:
    """Tip and root radius, and radii, half angles and lean of a flank, in modules and rad."""
    tip, root = teeth / 2 + ADDENDUM, teeth / 2 - DEDENDUM
    pieces = max(24, int(np.log(tip / root) / ROW * 4))
    radius = root + (np.arange(pieces) + 0.5) / pieces * (tip - root)
    lean = np.arccos(np.clip(teeth / 2 * np.cos(PRESSURE_ANGLE) / radius, -1, 1))
    half = pi / (2 * teeth) + (np.tan(PRESSURE_ANGLE) - PRESSURE_ANGLE) - (np.tan(lean) - lean)
    return tip, root, radius, np.maximum(half, 0.0), lean


def _between_rows(at: Floats, values: Floats) -> Floats:
    """Lay values, shape (m, n), out over rows: each is shared by the two rows it lies between."""
    low = np.floor(at).astype(int)
    share = at - low
    places = np.arange(len(values))[:, None] * ROWS_PADDED
    total = np.zeros(len(values) * ROWS_PADDED)
    for row, part in ((low, 1 - share), (low + 1, share)):
        cells = (places + row % ROWS_PADDED).ravel()
        total += np.bincount(cells, (values * part).ravel(), len(total))
    return total.reshape(len(values), ROWS_PADDED)
