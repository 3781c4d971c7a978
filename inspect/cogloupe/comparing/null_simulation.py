"""Pairs of gears between which nothing changed, drawn from the two that were measured.

What two readings differ by without any change on the machine has two sources: the uncertainty of
both readings, and, where they are of different gears, the luck of the teeth: a machine that
scatters leaves another largest error on every gear. Pairs drawn here have both, so that any figure
can be held against its own play.

Model of different gears: waves that stand above the scatter are the machine's or the mounting's
and are the same in both; what is left is a stationary scatter round the turn (circular
autoregression of first order), drawn anew for each gear, both flanks of a tooth together, with
tails as heavy as those that were measured (Student's distribution of the same fourth moment), so
that a machine with now and then a bad tooth is not taken for a steady one.
"""

from dataclasses import dataclass
from math import inf, isfinite, pi

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainccinv, gammaincinv

from cogloupe.comparing.tooth_pattern import SMOOTH_WAVES, Pattern, centred, turned, wave_basis
from cogloupe_calibration.arrays import Floats

WAVE_LEVEL = 1e-4
"""Chance that scatter alone is taken for a wave, over all harmonics, if its level were known. It is
told by a few harmonics only, so that 1 to 4 in 100 pairs of made-up gears show a false wave."""
LEAST_FOR_TAILS, LEAST_HARMONICS = 8, 8
"""Fewer teeth tell no tails of their scatter, fewer harmonics no level of it."""
LEAST_SEEN = 0.75
"""With fewer flanks seen no wave is told from scatter."""
_AT_ONCE = 600_000
"""Numbers drawn at a time, so that memory stays below some 50 MB."""
_LINKS = np.linspace(-0.3, 0.9, 25)
"""Links of neighbouring teeth that are tried: from steps that are made good on the next tooth to a
drive that wanders."""


@dataclass(frozen=True, kw_only=True)
class Scatter:
    """What two patterns share.

    Attributes
    ----------
    harmonics : tuple of int
        Waves that stand above the scatter in either.
    waves : tuple of ndarray, shape (z, 2)
        The waves of each gear, brought to the size they have in common.
    size : float
        Standard deviation of the scatter of places, measuring noise taken off.
    link : float
        Correlation of neighbouring teeth.
    sides : ndarray, shape (2, 2)
        Covariance of the scatter of left and right, of unit mean variance.
    freedom : float
        Of the Student distribution with tails as heavy; infinite for a normal one.
    """

    harmonics: tuple[int, ...]
    waves: tuple[Floats, Floats]
    size: float
    link: float
    sides: Floats
    freedom: float


def common_scatter(first: Pattern, second: Pattern) -> Scatter:
    """Find the waves and the scatter that two gears of one machine would share.

    Patterns are in one unit; the tooth counts may differ.
    """
    both = (first, second)
    harmonics = waves_above_scatter(first, second)
    fitted = [_waves(p.place, harmonics) for p in both]
    power = [(np.abs(f) ** 2).mean(axis=1) for f in fitted]  # of each harmonic
    shared = np.sqrt((power[0] + power[1]) / 2)
    waves, rest = [], []
    for pattern, fit, own in zip(both, fitted, power, strict=True):
        basis = _complex_basis(len(pattern.place), harmonics)
        scale = shared / np.sqrt(np.where(own > 0, own, 1.0))
        waves.append((basis @ (fit * scale[:, None])).real)
        rest.append(pattern.place - (basis @ fit).real)
    link = _autoregressive_coefficient([r for r in rest if r.size])
    size = _size(both, rest, harmonics)
    plain = [_whitened(r, link) for r in rest]
    return Scatter(
        harmonics=harmonics,
        waves=(waves[0], waves[1]),
        size=size,
        link=link,
        sides=_sides(plain),
        freedom=_freedom(np.concatenate(plain)),
    )


def _size(both: tuple[Pattern, Pattern], rest: list[Floats], harmonics: tuple[int, ...]) -> float:
    """Standard deviation of what is left without the waves, less what measuring adds."""
    square, freedom = 0.0, 0
    for pattern, values in zip(both, rest, strict=True):
        free = max(int(np.isfinite(values).sum()) - 2 * (1 + 2 * len(harmonics)), 0)
        left = [
            u for h, u in zip(SMOOTH_WAVES, pattern.u_smooth, strict=True) if h not in harmonics
        ]
        measuring = pattern.u_own**2 + sum(u**2 for u in left)
        square += float(np.nansum(centred(values) ** 2)) - free * measuring
        freedom += free
    return float(np.sqrt(max(square, 0.0) / max(freedom, 1)))


def _sides(plain: list[Floats]) -> Floats:
    """Covariance of left and right; each gear counts with its own size taken out."""
    sums = [p.T @ p for p in plain if len(p)]
    together = sum((c / np.trace(c) for c in sums if np.trace(c) > 0), np.zeros((2, 2)))
    whole = float(np.trace(together))
    return np.asarray(2 * together / whole if whole > 0 else np.eye(2))


def _freedom(plain: Floats) -> float:
    """Freedom of the Student distribution with the fourth moment of the scatter.

    Both gears are taken with their common size: one with a few bad teeth must not pass for one
    with more scatter.
    """
    size = plain.std(axis=0) if len(plain) >= LEAST_FOR_TAILS else np.zeros(2)
    if not (size > 0).all():
        return inf
    n = len(plain)
    excess = float(((plain / size) ** 4).mean()) - 3 * (n - 1) / (n + 1)
    return 4 + 6 / excess if excess > 0 else inf


def _complex_basis(teeth: int, harmonics: tuple[int, ...]) -> NDArray[np.complex128]:
    angle = 2 * pi / teeth * np.arange(teeth)
    return np.asarray(np.exp(1j * np.outer(angle, np.array(harmonics, dtype=float))))


def _waves(place: Floats, harmonics: tuple[int, ...]) -> NDArray[np.complex128]:
    """Complex amplitudes, shape (n, 2), of each harmonic and side: ``a - i b``."""
    out = np.zeros((len(harmonics), 2), complex)
    for side in (0, 1):
        seen = np.isfinite(place[:, side])
        if harmonics and seen.sum() > 2 * len(harmonics) + 1:
            basis = wave_basis(len(place), harmonics)[seen]
            parts = np.linalg.lstsq(basis, place[seen, side], rcond=None)[0][1:]
            out[:, side] = parts[0::2] - 1j * parts[1::2]
    return out


def waves_above_scatter(*patterns: Pattern) -> tuple[int, ...]:
    """Harmonics of the place errors that stand above the scatter of the others, in all patterns.

    Waves in a turn; empty where less than three quarters of the flanks were seen.

    Notes
    -----
    The scatter's own spectrum is that of a first-order autoregression through the logarithms of
    the periodogram by least absolute values, which a few strong waves hardly move. The powers of n
    gears, each over its own level, add up to a gamma variable of shape n where there is only
    scatter. They are judged by their sum, because the sum says nothing of which gear has more: a
    wave picked where one gear's is high by luck would then differ from the other's.
    """
    count = min((len(p.place) - 1) // 2 for p in patterns)
    if min(p.seen for p in patterns) < LEAST_SEEN or count < 3:
        return ()
    powers = [_over_scatter(p)[:count] for p in patterns]
    total = np.sum(powers, axis=0)
    level = float(np.median(total)) / float(gammaincinv(len(patterns), 0.5))
    limit = float(gammainccinv(len(patterns), WAVE_LEVEL / count))
    return tuple(int(h) for h in 1 + np.flatnonzero(total > level * limit))


def _over_scatter(pattern: Pattern) -> Floats:
    """Power of each harmonic over the scatter's, of median 1."""
    power = _periodogram(centred(pattern.place))
    angle = 2 * pi * np.arange(1, len(power) + 1) / len(pattern.place)
    relative = power / _spectrum(_autoregressive_coefficient([pattern.place]), angle)
    middle = float(np.median(relative))
    return np.asarray(relative / middle if middle > 0 else np.zeros_like(relative))


def _periodogram(place: Floats) -> Floats:
    """Power of harmonics 1 to (z - 1) / 2, both sides together; unseen flanks count as right."""
    count = (len(place) - 1) // 2
    parts = np.fft.fft(np.nan_to_num(place), axis=0)[1 : count + 1]
    return np.asarray((np.abs(parts) ** 2).sum(axis=1) / max(np.isfinite(place).sum(), 1))


def _spectrum(link: float, angle: Floats) -> Floats:
    """Spectrum of a first-order autoregression of unit variance."""
    return np.asarray((1 - link**2) / (1 - 2 * link * np.cos(angle) + link**2))


def _autoregressive_coefficient(places: list[Floats]) -> float:
    """Correlation of neighbours that best fits the logarithms of the periodograms."""
    misfit = np.zeros(len(_LINKS))
    for place in places:
        power = _periodogram(centred(place))
        harmonic = np.arange(1, len(power) + 1)
        angle = 2 * pi * harmonic / len(place)
        kept = power > 1e-9 * power.max(initial=0.0)  # fitted waves leave nothing behind
        if len(power) >= LEAST_HARMONICS:  # mounting and lens are no scatter
            kept &= ~np.isin(harmonic, SMOOTH_WAVES)
        for k, link in enumerate(_LINKS):
            off = np.log(power[kept]) - np.log(_spectrum(link, angle[kept]))
            misfit[k] += np.abs(off - np.median(off)).sum() if off.size else 0.0
    return float(_LINKS[int(np.argmin(misfit))]) if misfit.any() else 0.0


def _whitened(rest: Floats, link: float) -> Floats:
    """Residuals of the teeth seen on both sides, with the correlation of neighbours taken out."""
    shape = _spectrum(link, 2 * pi * np.arange(len(rest)) / len(rest))[:, None]
    parts = np.fft.fft(np.nan_to_num(centred(rest)), axis=0) / np.sqrt(shape)
    return np.asarray(np.fft.ifft(parts, axis=0).real[np.isfinite(rest).all(axis=1)])


def null_pair_count(teeth: int, wanted: int) -> int:
    """How many pairs are drawn, so that memory stays small on gears of many teeth."""
    return min(wanted, max(_AT_ONCE // teeth, 999))


def null_pairs_of_machine(
    first: Pattern, second: Pattern, count: int, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Pairs of different gears from one unchanged machine, as drawn with the waves of two measured.

    Place errors (count, z, 2) of both as they would be measured, with the noise and the unseen
    flanks of each.
    """
    scatter = common_scatter(first, second)
    drawn = [wave + _drawn_scatter(scatter, count, len(wave), rng) for wave in scatter.waves]
    return _as_measured((drawn[0], drawn[1]), (first, second), count, rng)


def _drawn_scatter(scatter: Scatter, count: int, teeth: int, rng: np.random.Generator) -> Floats:
    root = np.linalg.cholesky(scatter.sides + 1e-9 * np.eye(2))
    drawn = rng.standard_normal((count, teeth, 2)) @ root.T
    if isfinite(scatter.freedom):
        weight = (scatter.freedom - 2) / rng.chisquare(scatter.freedom, (count, teeth, 1))
        drawn *= np.sqrt(weight)
    shape = _spectrum(scatter.link, 2 * pi * np.arange(teeth) / teeth)
    parts = np.fft.fft(drawn, axis=1) * np.sqrt(shape)[:, None]
    return np.asarray(scatter.size * np.fft.ifft(parts, axis=1).real)


def null_pairs_of_gear(
    first: Pattern, second: Pattern, shift: int, count: int, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Pairs of readings of one gear that did not change: place errors (count, z, 2) of both.

    Each is in its own numbering: tooth of index k in the first is ``k + shift`` in the second.
    """
    theirs = turned(second.place, shift)
    seen = np.isfinite(np.stack([first.place, theirs]))
    total = np.where(seen, np.stack([first.place, theirs]), 0.0).sum(axis=0)
    gear = total / np.maximum(seen.sum(axis=0), 1)
    bases = (gear[None], turned(gear, -shift)[None])
    return _as_measured(bases, (first, second), count, rng)


def _as_measured(
    bases: tuple[Floats, Floats],
    patterns: tuple[Pattern, Pattern],
    count: int,
    rng: np.random.Generator,
) -> tuple[Floats, Floats]:
    """Lay both readings' uncertainty over true patterns, and hide what was not seen.

    Lens and lean are drawn for each reading: most of that allowance is for how the gear lay, which
    even the same camera in the same place does not repeat.
    """
    out = []
    for base, pattern in zip(bases, patterns, strict=True):
        parts = rng.standard_normal((count, len(SMOOTH_WAVES), 2))
        own = pattern.u_own * rng.standard_normal((count, *pattern.place.shape))
        parts *= np.array(pattern.u_smooth)[:, None]
        waves = wave_basis(len(pattern.place), SMOOTH_WAVES)[:, 1:]
        smooth = parts.reshape(count, -1) @ waves.T
        hidden = np.where(np.isfinite(pattern.place), 0.0, np.nan)
        out.append(base + own + smooth[..., None] + hidden)
    return out[0], out[1]
