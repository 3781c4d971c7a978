"""Waves in the places of the flanks, each side by itself, tested against what the reading allows.

A wave of n a turn is fitted to the left and to the right flanks together, with the covariance of
`observed_pattern.Observed`; edge noise alone gives every wave some size, so each is held against
the chance that one of all the waves looked at came out as large.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, degrees, hypot, pi

import numpy as np
from scipy.stats import chi2

from cogloupe.causes.model import Background, fresh
from cogloupe.causes.observed_pattern import Observed
from cogloupe.causes.pattern_layout import OUT
from cogloupe.causes.pattern_parts import with_shared
from cogloupe_calibration.arrays import Floats

CHANCE = 0.05
"""Chance that noise alone makes any of the waves pass for found."""


@dataclass(frozen=True, kw_only=True)
class Harmonic:
    """A wave that comes round so many times in a turn.

    Attributes
    ----------
    amplitude_um, u_amplitude_um : (float, float)
        Of left and right flanks, each way from the mean; u with k = 1.
    apart_deg : float
        Phase of the left wave less that of the right, in degrees of the wave, at the same place
        on the measuring circle.
    found : bool
        More than noise and camera would make by chance, and larger than U on one side at least.
    camera : float
        Share of the variance of its u that is the camera's (lens, lean).
    """

    per_turn: int
    amplitude_um: tuple[float, float]
    u_amplitude_um: tuple[float, float]
    apart_deg: float
    found: bool
    camera: float


def harmonics(observed: Observed, most: int = 0) -> tuple[Harmonic, ...]:
    """Fit all waves, one after the other.

    From once a turn on; nothing where the teeth themselves are the datum is left of the
    eccentricity in the first.

    Parameters
    ----------
    most : int
        Up to how many a turn; 0 for half the teeth.
    """
    z = observed.design.teeth
    background = fresh(observed).background("none", 0.0)
    last = most or max((z - 1) // 2, 1)
    limit = float(chi2.isf(CHANCE / last, 4))
    return tuple(_harmonic(observed, background, n, limit) for n in range(1, last + 1))


def _harmonic(observed: Observed, background: Background, n: int, limit: float) -> Harmonic:
    z, seen = observed.design.teeth, observed.seen
    columns = _columns(z, n)[:, seen]
    inner = columns @ background.omega @ columns.T
    inverse = np.asarray(np.linalg.pinv(inner, hermitian=True), np.float64)
    size = inverse @ (columns @ background.residual)
    gain = float(size @ (columns @ background.residual))
    pairs = (size[:2], size[2:])
    lengths = [hypot(*pair) for pair in pairs]
    u = [
        _u_length(pair, inverse[k : k + 2, k : k + 2])
        for pair, k in zip(pairs, (0, 2), strict=True)
    ]
    # Where the camera's errors are left out of the covariance, what remains is noise.
    noise = np.linalg.pinv((columns / observed.noise[seen] ** 2) @ columns.T, hermitian=True)
    camera = 1 - float(np.trace(noise)) / max(float(np.trace(inverse)), 1e-30)
    left, right = (degrees(atan2(pair[1], pair[0])) for pair in pairs)
    return Harmonic(
        per_turn=n,
        amplitude_um=(lengths[0], lengths[1]),
        u_amplitude_um=(u[0], u[1]),
        apart_deg=(left - right + 180) % 360 - 180,
        found=gain > limit and any(a > 2 * v for a, v in zip(lengths, u, strict=True)),
        camera=float(np.clip(camera, 0, 1)),
    )


def _columns(teeth: int, n: int) -> Floats:
    """Cosine and sine for the left flanks, then for the right; shape (4, 2 z + 10)."""
    at = 2 * pi * n * (np.arange(teeth)[:, None] + 0.25 * OUT) / teeth
    flanks = np.zeros((4, teeth, 2))
    for side in (0, 1):
        flanks[2 * side, :, side] = np.cos(at[:, side])
        flanks[2 * side + 1, :, side] = np.sin(at[:, side])
    return with_shared(flanks.reshape(4, -1))


def _u_length(pair: Floats, covariance: Floats) -> float:
    along = pair / max(hypot(*pair), 1e-12)
    return float(np.sqrt(max(float(along @ covariance @ along), 0.0)))


def found_only(waves: Sequence[Harmonic]) -> list[Harmonic]:
    """Those that are more than chance, largest first."""
    found = [wave for wave in waves if wave.found]
    return sorted(found, key=lambda wave: max(wave.amplitude_um), reverse=True)
