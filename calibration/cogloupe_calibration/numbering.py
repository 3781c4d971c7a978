"""Give rulings their whole numbers: spacing, lean and count from rough places."""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from cogloupe_calibration.arrays import Floats, Ints
from cogloupe_calibration.errors import CalibrationError
from cogloupe_calibration.robust import scatter

# Two neighbouring gaps of a ruled scale agree within this, tilt and rough places included.
SPACING_AGREES_REL = 0.10
TUKEY = 4.685
"""Tuning constant of Tukey's biweight, 95 % efficient under normal noise (common practice)."""
LEAST_SCATTER_PX = 0.02
"""Scatter that points are taken to have at least, so that perfect pictures divide by something."""
LARGEST_LEAN = 0.05
"""How far lines may still lean, as a slope, in a picture already turned along them: 3 degrees."""
_NOT_EVEN = "no even rulings found: {}; fill the picture with the scale, in focus and square to it"


@dataclass(frozen=True)
class RowModel:
    """Place of line n at t: u = c0 + c1 n + c2 t + c3 n^2 + c4 n t, px.

    `c3` is a spacing that grows along the scale, `c4` lines that spread like a fan; both are what
    a tilted scale shows.
    """

    terms: Floats

    def place(self, number: Floats | Ints, t: Floats) -> Floats:
        """Place of lines at t, shape (m,)."""
        return np.asarray(row_design(number, t) @ self.terms, dtype=np.float64)

    def number(self, u: Floats, t: Floats) -> Floats:
        """Number at a place, whole on a line; of any one shape."""
        c = self.terms
        number = (u - c[0] - c[2] * t) / (c[1] + c[4] * t)
        # The quadratic term is small: once more with it known nearly.
        return np.asarray((u - c[0] - c[2] * t - c[3] * number**2) / (c[1] + c[4] * t))

    def spacing(self, number: Floats | Ints, t: Floats) -> Floats:
        """Local distance to the next line, shape (m,)."""
        c = self.terms
        return np.asarray(c[1] + 2 * c[3] * number + c[4] * t, dtype=np.float64)


def row_design(number: Floats | Ints, t: Floats) -> Floats:
    """Columns that `RowModel.terms` multiply, shape (m, 5)."""
    n = np.asarray(number, dtype=np.float64)
    return np.stack([np.ones_like(n), n, t, n**2, n * t], axis=1)


def rough_spacing(band: Ints, u: Floats) -> float:
    """Commonest distance between neighbouring candidates of a band, px.

    Bands and places are (m,), places rising within a band.

    Raises
    ------
    CalibrationError
        Where no distance comes often.

    Notes
    -----
    The smallest distance with good support is taken: bands that only the longer fifth and tenth
    lines cross show multiples of it.
    """
    gaps = np.sort(np.diff(u)[np.diff(band) == 0])
    low, high = (gaps * (1 + sign * SPACING_AGREES_REL) for sign in (-1, 1))
    support = np.searchsorted(gaps, high, "right") - np.searchsorted(gaps, low, "left")
    if gaps.size == 0 or support.max() < 4:
        raise CalibrationError(_NOT_EVEN.format(f"{gaps.size} gaps seen, no four of them alike"))
    smallest = gaps[np.argmax(support >= 0.3 * support.max())]
    # From the first gap of the group to the middle of the group.
    for _ in range(3):
        smallest = np.mean(gaps[np.abs(gaps / smallest - 1) <= SPACING_AGREES_REL])
    return float(smallest)


def number_lines(u: Floats, t: Floats, spacing: float) -> tuple[Ints, RowModel]:
    """Number candidates along the scale.

    Parameters
    ----------
    u, t : ndarray, shape (m,)
        Rough places; a few may be dirt.
    spacing : float
        Rough distance of neighbouring lines, px.

    Returns
    -------
    number : ndarray, shape (m,), int
        Nearest line of each candidate, 0 near the middle.
    model : RowModel

    Raises
    ------
    CalibrationError
        Where most candidates do not lie on evenly spaced lines.

    Notes
    -----
    Spacing and lean are those at which the candidates beat together best (largest
    |sum exp(2 pi i u / spacing)|); then numbers and model are refined in turn.
    """
    spacing, lean = _best_beat(u, t, spacing)
    phase = np.angle(np.mean(np.exp(2j * np.pi * (u - lean * t) / spacing)))
    middle = np.median(u - lean * t)
    first = middle - (middle / spacing - phase / (2 * np.pi) + 0.5) % 1 * spacing + spacing / 2
    model = RowModel(np.array([first, spacing, lean, 0.0, 0.0]))
    number = np.zeros(len(u), dtype=np.int64)
    for _ in range(6):
        number = number + _steps(u - model.place(number, t), model.spacing(number, t))
        number = number + _steps(u - model.place(number, t), model.spacing(number, t))
        model, _ = robust_fit(u, t, number)
    _check_on_lines(u - model.place(number, t), spacing)
    return number, model


def _best_beat(u: Floats, t: Floats, spacing: float) -> tuple[float, float]:
    lean = 0.0
    reach_u, reach_t = max(float(np.ptp(u)), spacing), max(float(np.ptp(t)), spacing)
    step = spacing / (6 * reach_t)
    leans = np.arange(-LARGEST_LEAN, LARGEST_LEAN + step, step)
    # Further off than a fifth of a division at the ends, the spacing is refined by the numbers.
    spacings = spacing * (1 + np.arange(-40, 41) * min(spacing / (8 * reach_u), 0.002))
    for _ in range(2):
        lean = leans[np.argmax([_beat(u - each * t, spacing) for each in leans])]
        spacing = spacings[np.argmax([_beat(u - lean * t, each) for each in spacings])]
    return float(spacing), float(lean)


def _beat(place: Floats, spacing: float) -> float:
    return float(abs(np.mean(np.exp(2j * np.pi * (place - place.mean()) / spacing))))


def _steps(residual: Floats, spacing: Floats) -> Ints:
    return np.asarray(np.round(residual / spacing), dtype=np.int64)


def _check_on_lines(residual: Floats, spacing: float) -> None:
    # Evenly strewn candidates lie within a sixth of a line by chance in a third of the cases; five
    # standard deviations of that count also cover that the best spacing was sought.
    share = float(np.mean(np.abs(residual) < spacing / 6))
    if share < max(0.6, 1 / 3 + 5 * sqrt(2 / 9 / len(residual))):
        seen = f"only {100 * share:.0f} % of {len(residual)} features lie on evenly spaced lines"
        raise CalibrationError(_NOT_EVEN.format(seen))


def robust_fit(u: Floats, t: Floats, number: Ints) -> tuple[RowModel, NDArray[np.bool_]]:
    """Fit the row model to points (m,), those off their line weighted down.

    Gives also which points lie within five robust standard deviations.

    Notes
    -----
    Tukey's biweight, tuned at 4.685 standard deviations (95 % efficiency for normal errors), the
    scatter from the median absolute residual.
    """
    design = row_design(number, t)
    size = np.maximum(np.abs(design).max(axis=0), 1e-12)
    weight = np.ones(len(u))
    for _ in range(12):
        root = np.sqrt(weight)
        # The smallest solution leaves terms at zero that the points cannot tell (one band, say).
        terms = np.linalg.lstsq(root[:, None] * design / size, root * u, rcond=1e-9)[0] / size
        residual = u - design @ terms
        size_of_error = max(scatter(residual), LEAST_SCATTER_PX)
        weight = np.clip(1 - (residual / (TUKEY * size_of_error)) ** 2, 0, None) ** 2
    return RowModel(terms), np.abs(residual) < 5 * size_of_error
