"""The arithmetic of uncertainty: how doubts of edges, scale and common sources reach a figure.

Combination after JCGM 100:2008 (GUM): standard uncertainties, k = 1. What a source does to the
flanks is worked out in `modes`. Angles rad, lengths px unless named otherwise.
"""

from collections.abc import Callable
from math import cos, sqrt

import numpy as np
from numpy.typing import NDArray

from cogloupe.uncertainty.modes import Mode
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.scale import Scale

DRAWS = 300
"""Draws of the true values behind a largest difference: its uncertainty to 4 % of itself."""
LEAST_NOISE = 1e-6
"""Least own uncertainty of a value, in the range of them all: nothing is exact."""
NOTHING = 1e-9
"""The same where all are alike, rad or mm: far below what any picture tells."""
HALVINGS = 30
"""Of the bracket in which a variance is looked for: it is then known to a billionth of it."""


def combined(parts: tuple[Floats, ...]) -> Floats:
    """Combine independent standard uncertainties; root of the sum of squares.

    Parameters
    ----------
    parts : tuple of ndarray
        Arrays of one shape.
    """
    return np.asarray(np.sqrt(sum(part**2 for part in parts)))


def pitch_uncertainty(
    noise: Floats, modes: tuple[Mode, ...], radius: float
) -> tuple[Floats, Floats]:
    """Standard uncertainties of single and cumulative pitch of every flank.

    Parameters
    ----------
    noise : ndarray, shape (z, 2)
        Standard uncertainty of each flank's angle from edge noise and fit, rad.
    modes : tuple of Mode
        Sources that move the flanks together.
    radius : float
        Measuring radius, in the result's unit.

    Returns
    -------
    single, cumulative : ndarray, shape (z, 2)
        In that unit; the cumulative one is against tooth 1 (or the first flank seen).
    """
    before = np.roll(noise, 1, axis=0)
    single = [np.hypot(noise, before)]
    single += [mode.position - np.roll(mode.position, 1, axis=0) for mode in modes]
    first = np.stack([_first(column) for column in noise.T])
    cumulative = [np.where(_is_first(noise), 0.0, np.hypot(noise, first))]
    for mode in modes:
        start = np.stack(
            [_first(np.where(np.isfinite(n), m, np.nan))
             for m, n in zip(mode.position.T, noise.T, strict=True)]
        )  # fmt: skip
        cumulative.append(mode.position - start)
    return combined(tuple(single)) * radius, combined(tuple(cumulative)) * radius


def place_uncertainty(noise: Floats, modes: tuple[Mode, ...], radius: float) -> Floats:
    """Standard uncertainty of every flank's place about the mean place of its side.

    Parameters
    ----------
    noise : ndarray, shape (z, 2)
        Standard uncertainty of each flank's angle from edge noise and fit, rad; NaN where not seen.
    modes : tuple of Mode
        Sources that move the flanks together.
    radius : float
        Measuring radius, in the result's unit.

    Returns
    -------
    ndarray, shape (z, 2)
        In that unit. What moves all flanks of a side alike moves their mean too, and drops out.
    """
    seen = np.isfinite(noise)
    count = np.maximum(seen.sum(axis=0), 1)
    of_mean = np.nansum(noise**2, axis=0) / count**2
    own = np.sqrt(noise**2 * (1 - 2 / count) + of_mean)
    shifts = [mode.position - np.nansum(np.where(seen, mode.position, 0.0), axis=0) / count
              for mode in modes]  # fmt: skip
    return combined((own, *shifts)) * radius


def _first(column: Floats) -> float:
    seen = column[np.isfinite(column)]
    return float(seen[0]) if len(seen) else float("nan")


def _is_first(values: Floats) -> NDArray[np.bool_]:
    seen = np.isfinite(values)
    return np.asarray(seen & (np.cumsum(seen, axis=0) == 1))


def total_range(values: Floats, u_noise: float, modes: tuple[Floats, ...]) -> tuple[float, float]:
    """Range (largest less smallest) of a set of values and its standard uncertainty.

    Parameters
    ----------
    values : ndarray, shape (n,)
        NaN where not seen.
    u_noise : float
        Standard uncertainty of each value that is its own.
    modes : tuple of ndarray, shape (n,)
        Changes of the values with each common source.

    Returns
    -------
    value, u : float
        NaN where nothing was seen. The two extremes carry the noise of two values; each common
        source acts by the difference of its effects at the two.
    """
    if not np.isfinite(values).any():
        return float("nan"), float("nan")
    high, low = int(np.nanargmax(values)), int(np.nanargmin(values))
    parts = [sqrt(2) * u_noise, *(float(mode[high] - mode[low]) for mode in modes)]
    return float(values[high] - values[low]), float(np.sqrt(np.sum(np.square(parts))))


def plausible(values: Floats, u: Floats, turn: Floats) -> Floats:
    """Draw true values that measured ones leave plausible.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Measured round the gear; NaN where not seen.
    u : ndarray, shape (n,)
        Their own standard uncertainties.
    turn : ndarray, shape (n,)
        Their polar angles, rad.

    Returns
    -------
    ndarray, shape (DRAWS, m)
        For the m values seen.

    Notes
    -----
    Noise makes the largest of many values look larger than it is. What noise explains of their
    first harmonic, and of the scatter about it, is taken out before noise is drawn (empirical
    Bayes), so that the draws vary as the true values do: a value of which little is known is drawn
    among the others, and not as far out as its own uncertainty alone would let it lie. Propagation
    by draws: JCGM 101:2008. The draws are the same for the same values.
    """
    seen = np.isfinite(values)
    value, own, angle = values[seen], u[seen], turn[seen]
    if len(value) < 2 or not own.any():
        return np.repeat(value[None], DRAWS, axis=0)
    noise = np.maximum(own, max(LEAST_NOISE * np.ptp(value), NOTHING)) ** 2
    waves = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    waves = waves - waves.mean(axis=0)
    mean, scatter, wave = _true_variances(value, noise, waves)
    about = np.eye(len(value)) - waves @ np.linalg.pinv(waves)
    prior = scatter * about + wave * waves @ waves.T
    gain = prior @ np.linalg.inv(prior + np.diag(noise))
    size, way = np.linalg.eigh(prior - gain @ prior)
    root = way * np.sqrt(np.maximum(size, 0.0))
    drawn = np.random.default_rng(DRAWS).standard_normal((DRAWS, len(value)))
    return np.asarray(mean + gain @ (value - mean) + drawn @ root.T)


def _true_variances(value: Floats, noise: Floats, waves: Floats) -> tuple[float, float, float]:
    """Mean of values, and the variances of true ones about their first harmonic and of its sizes.

    One standard deviation of a sum of squares: what lies within it is not evidence of more than
    noise.
    """
    design = np.column_stack([np.ones_like(value), waves])

    def onto(more: float) -> Floats:
        weighted = design.T / (noise + more)
        return np.asarray(np.linalg.pinv(weighted @ design) @ weighted)

    def strayed(more: float) -> float:
        return float(np.sum((value - design @ (onto(more) @ value)) ** 2 / (noise + more)))

    spare = max(len(value) - 3, 1)
    scatter = _beyond_noise(strayed, spare, len(value) * float(np.var(value)))
    sizes = onto(scatter)
    mean, *size = sizes @ value
    own, axes = np.linalg.eigh((sizes[1:] * noise) @ sizes[1:].T)
    squares = (axes.T @ np.array(size)) ** 2
    wave = _beyond_noise(lambda more: float(np.sum(squares / (own + more))), 2, squares.sum())
    return float(mean), scatter, wave


def _beyond_noise(misfit: Callable[[float], float], freedoms: int, squares: float) -> float:
    """Variance that must be added to noise for a sum of squares, in variances, to be its usual."""
    usual = freedoms + sqrt(2 * freedoms)
    low, high = 0.0, squares / usual
    if misfit(low) <= usual:
        return 0.0
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if misfit(middle) > usual else (low, middle)
    return high


def of_draws(measured: float, drawn: Floats) -> float:
    """Standard uncertainty of a figure from draws of its true value.

    Root mean square distance of the draws from the measured figure.

    Parameters
    ----------
    drawn : ndarray, shape (n,)
    """
    return float(np.sqrt(np.mean((drawn - measured) ** 2)))


def edges_and_scale(edge: float, scale: Scale, by_edges: float, by_scale: float) -> float:
    """Standard uncertainty of a length from the level of the edges and the scale.

    Mm. Where the scale was taken from edges of the same picture, what moves all edges moves it too,
    and the two effects are added with their signs.

    Parameters
    ----------
    edge : float
        Standard uncertainty of all edges together, mm along the normal.
    by_edges : float
        Growth of the length for each mm that all edges move out of the material.
    by_scale : float
        Growth of the length, mm, for each whole that the scale grows by.
    """
    moved = scale.by_edge / scale.mm_per_px
    apart = scale.relative_u**2 - (moved * edge) ** 2
    return float(np.hypot(edge * (by_edges + by_scale * moved), by_scale * sqrt(max(apart, 0.0))))


def thickness_edge(edge: float, pressure_angle: float) -> float:
    """Change of a thickness when both flanks' edges move out of the material together.

    ``2 edge / cos a``.

    Parameters
    ----------
    edge : float
        Movement along the normals.
    pressure_angle : float
        At the measuring circle, rad.
    """
    return 2 * edge / cos(pressure_angle)
