"""Where the flanks of a gear stand off their places, and how two such patterns lie together.

Arrays run over tooth and side, ``[k, 0]`` the left flank of tooth k + 1; NaN is "not seen".
Lengths are µm on the measuring circle, or seconds of arc where two gears differ in size.
"""

from dataclasses import dataclass
from math import pi, radians, sin, sqrt
from typing import Literal

import numpy as np
from scipy.special import ndtri

from cogloupe.reading.flank_table import flank_array
from cogloupe.reading.models import Reading
from cogloupe_calibration.arrays import Floats

How = Literal["number", "mark", "pattern"]

SMOOTH_WAVES = (1, 2)
"""Waves a turn that a lens, a lean or a datum off its place leave."""
MATCH_LEVEL = 0.01
"""Chance that two unrelated patterns are taken to match."""
SURE_BY = 9.0
"""The best place is taken only where it explains the patterns better than the next best by so much
in chi-square (a likelihood ratio of about 90)."""


@dataclass(frozen=True)
class Pattern:
    """Place errors of the flanks of one reading.

    Attributes
    ----------
    place : ndarray, shape (z, 2)
        Each flank's place less its ideal one, the mean of its side taken off; positive clockwise.
    u_own : float
        Standard uncertainty of a flank's place that is its own (edge noise and fit).
    u_smooth : tuple of float
        RMS over the flanks of what is not known of lens, lean and datum, as a wave once and one
        twice a turn (`SMOOTH_WAVES`).
    u_single : ndarray, shape (z, 2)
        Standard uncertainty of every single pitch, all sources.
    """

    place: Floats
    u_own: float
    u_smooth: tuple[float, float]
    u_single: Floats

    @property
    def single(self) -> Floats:
        """Single pitch deviations, shape (z, 2)."""
        return single_pitches(self.place)

    @property
    def seen(self) -> float:
        """Share of the flanks that were seen."""
        return float(np.isfinite(self.place).mean())


def pattern_of(reading: Reading, in_arc: bool = False) -> Pattern:
    """Pattern of a reading in µm on the measuring circle, or in seconds of arc about the datum.

    Notes
    -----
    The budget says how much of a pitch's uncertainty is each flank's own; where it is silent all
    of it is taken so. A wave of h in a turn is in a single pitch by 2 sin(h pi / z) of its height,
    so the rest of the single and of the cumulative pitch's uncertainty tell the two waves apart.
    """
    unit = arc_per_um(reading) if in_arc else 1.0
    place = flank_array(reading, "cumulative_pitch_um")
    u_single = flank_array(reading, "u_single_pitch_um")
    u_sum = flank_array(reading, "u_cumulative_pitch_um")
    whole = _rms(u_single)
    stated = [
        line.contribution
        for line in reading.budget
        if line.figure.replace("_", " ").startswith("single pitch") and "noise" in line.source
    ]
    pair = min(float(np.hypot.reduce(stated)), whole) if stated else whole
    smooth = _smooth_waves(
        max(_rms(u_sum) ** 2 - pair**2, 0.0) / 2, max(whole**2 - pair**2, 0.0), len(place)
    )
    return Pattern(
        unit * centred(place), unit * pair / sqrt(2), (unit * smooth[0], unit * smooth[1]),
        unit * u_single,
    )  # fmt: skip


def arc_per_um(reading: Reading) -> float:
    """Seconds of arc about the datum that a µm on the measuring circle spans."""
    return 1e-3 / (reading.gear.measuring_diameter_mm / 2) / radians(1 / 3600)


def _smooth_waves(in_place: float, in_single: float, teeth: int) -> tuple[float, float]:
    """Sizes of `SMOOTH_WAVES` from their mean squares in places and in single pitches."""
    once, twice = (4 * sin(pi * h / teeth) ** 2 for h in SMOOTH_WAVES)
    share = (in_single - once * in_place) / (twice - once)
    share = min(max(share, 0.0), in_place)
    return sqrt(in_place - share), sqrt(share)


def _rms(values: Floats) -> float:
    seen = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(seen**2))) if seen.size else 0.0


def centred(place: Floats) -> Floats:
    """Take the mean of each side off place errors (..., z, 2)."""
    seen = np.isfinite(place)
    count = np.maximum(seen.sum(axis=-2, keepdims=True), 1)
    return np.asarray(place - np.where(seen, place, 0.0).sum(axis=-2, keepdims=True) / count)


def single_pitches(place: Floats) -> Floats:
    """Single pitches of place errors (..., z, 2): each place less that of the tooth before."""
    return np.asarray(place - np.roll(place, 1, axis=-2))


def turned(values: Floats, shift: int) -> Floats:
    """Renumber teeth (z, ...): row k of the result is the tooth with index ``k + shift``."""
    return np.roll(values, -shift, axis=0)


def mirrored(place: Floats) -> Floats:
    """The pattern (z, 2) as it is seen from the gear's other face.

    Teeth the other way round, sides exchanged, clockwise become anticlockwise.
    """
    return -place[::-1, ::-1]


@dataclass(frozen=True)
class Alignment:
    """Which tooth of the second reading is which of the first.

    Attributes
    ----------
    shift : int
        Tooth of index k in the first is the tooth of index ``k + shift`` in the second.
    how : {'number', 'mark', 'pattern'}
        What told it.
    sure : bool
        The patterns match in this one place beyond chance.
    correlation : float
        Correlation of the single pitches in this place; NaN where too few were seen.
    flipped : bool
        Seen from the other face the second would match, and as it is it does not.
    """

    shift: int
    how: How
    sure: bool
    correlation: float
    flipped: bool


def align(first: Pattern, second: Pattern, shift: int | None = None) -> Alignment:
    """Lay the second pattern over the first, or turn it by a known number of teeth (0: by numbers).

    By the pattern where it matches in one place only, else tooth by number.
    """
    score, gain = _scores(first, second.single, second.u_own)
    best = int(np.argmax(score))
    fits = bool(score[best] > chance_correlation(len(score)))
    sure = fits and gain > SURE_BY
    other, _ = _scores(first, single_pitches(mirrored(second.place)), second.u_own)
    flipped = not fits and bool(other.max() > chance_correlation(len(score)))
    if shift is not None:
        how: How = "mark" if shift else "number"
    else:
        how, shift = ("pattern", best) if sure else ("number", 0)
    return Alignment(shift, how, sure and best == shift, float(score[shift]), flipped)


def _scores(first: Pattern, single: Floats, u_own: float) -> tuple[Floats, float]:
    """Correlation of the single pitches at every shift, and how far the best is ahead.

    Chi-square is counted with the noise of both readings, and never as if a pattern repeated
    better than to a tenth of itself (dirt, burrs and another edge move flanks by such amounts).
    """
    ours = first.single
    z = len(ours)
    score, misfit = np.zeros(z), np.full(z, np.inf)
    noise = 2 * (first.u_own**2 + u_own**2) + (0.1 * _rms(ours)) ** 2
    for shift in range(z):
        theirs = turned(single, shift)
        both = np.isfinite(ours) & np.isfinite(theirs)
        if both.sum() < max(8, z):
            continue
        a, b = ours[both], theirs[both]
        power = float(np.sqrt(np.mean(a**2) * np.mean(b**2)))
        score[shift] = np.mean(a * b) / power if power > 0 else 0.0
        misfit[shift] = np.mean((a - b) ** 2) / max(noise, 1e-12) * z
    ranked = np.sort(misfit)
    return score, float(ranked[1] - ranked[0]) if np.isfinite(ranked[1]) else 0.0


def chance_correlation(teeth: int) -> float:
    """Correlation that unrelated patterns reach at some shift with the chance `MATCH_LEVEL`.

    By Fisher's transformation with 2 z / 3 free values: both sides of a tooth move together, and
    neighbouring pitches share a flank.
    """
    limit = float(ndtri(1 - MATCH_LEVEL / teeth)) / sqrt(max(2 * teeth / 3 - 3, 1.0))
    return float(np.tanh(limit))


def wave_basis(teeth: int, harmonics: tuple[int, ...]) -> Floats:
    """Mean, cosines and sines of n waves a turn at every tooth, (teeth, 1 + 2 n)."""
    angle = 2 * pi / teeth * np.arange(teeth)
    waves = [w(h * angle) for h in harmonics for w in (np.cos, np.sin)]
    return np.stack([np.ones(teeth), *waves], axis=1)


def amplitudes(place: Floats, harmonics: tuple[int, ...]) -> Floats:
    """Amplitudes (..., n) of n waves a turn of place errors, root mean square of both sides.

    Place errors (..., z, 2) have NaN at the same flanks throughout; waves and mean are fitted
    together.
    """
    power: Floats = np.zeros((*place.shape[:-2], len(harmonics)))
    for side in (0, 1):
        values = place[..., side]
        seen = np.isfinite(values.reshape(-1, values.shape[-1])[0])
        fit = np.linalg.pinv(wave_basis(len(seen), harmonics)[seen])
        parts = (values[..., seen] @ fit.T)[..., 1:]
        power += (parts**2).reshape(*parts.shape[:-1], -1, 2).sum(axis=-1) / 2
    return np.asarray(np.sqrt(power))


def without_waves(place: Floats, harmonics: tuple[int, ...]) -> Floats:
    """Take some waves and the mean out of each side of place errors (..., z, 2).

    They have NaN at the same flanks throughout.
    """
    out = np.array(place)
    for side in (0, 1):
        values = out[..., side]
        seen = np.isfinite(values.reshape(-1, values.shape[-1])[0])
        basis = wave_basis(len(seen), harmonics)[seen]
        out[..., seen, side] -= values[..., seen] @ np.linalg.pinv(basis).T @ basis.T
    return out


def spread(place: Floats) -> Floats:
    """Standard deviation (..., 2) of the single pitches of place errors (..., z, 2), by side."""
    return np.asarray(np.nanstd(single_pitches(place), axis=-2))


def scatter(place: Floats) -> Floats:
    """Standard deviation of the single pitches without the once-a-turn wave, both sides together.

    Of place errors (..., z, 2).
    """
    return np.asarray(np.sqrt((spread(without_waves(place, (1,))) ** 2).mean(axis=-1)))
