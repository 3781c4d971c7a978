"""What tells two explanations of an outline apart: one likelihood, and what averaged edges leave.

Looks at the same samples are compared by the logarithm of what each leaves of every profile; the
mean over the outline, and the spread over parts of it, tell how much better one explains them and
how surely. A camera's curve bends all edges by the same little, so it is told by their average.
"""

from math import exp, sqrt

import numpy as np

from cogloupe.numerics.moving_average import dot
from cogloupe.optics.joint.explanation import Look
from cogloupe.optics.joint.joint_fit import trust
from cogloupe_calibration.arrays import Bools, Floats, Ints, Reals
from cogloupe_calibration.robust import median

PARTS = 40
"""Parts of an outline whose words are compared."""
MOST_GAIN = 3.0
"""A profile's word counts for no more, in natural logarithms: dirt has no say."""
STEP_BLURS, BIN_BLURS = 2.5, 0.5
"""Where a step tells the camera's curve, and how finely that is looked at."""
LEAST_SEEN, SUREST = 1 / 8, 50.0
"""Pixels of a zone, by the profiles of a piece, whose mean is looked at; how sure, in logarithms of
odds, an explanation is at most: a chance of 1e-22 might as well be none."""
PIECE, ZONES = 24, (-2.2, -0.7, 0.7, 2.2)
"""Profiles that are averaged to see what is unexplained, and the borders of the parts across the
edge that are, in blurs."""


def gain(one: Look, two: Look) -> tuple[float, float]:
    """By how much more the second look explains the profiles than the first, and how surely.

    Parameters
    ----------
    one, two : Look
        At the same samples.

    Returns
    -------
    mean : float
        Of the gain of a profile, in natural logarithms.
    sure : float
        The same in its own standard errors, from parts of the outline.
    """
    more = np.clip(np.subtract(*words(one, two)), -MOST_GAIN, MOST_GAIN)
    parts = np.array([part.mean() for part in np.array_split(more, PARTS)])
    error = max(float(parts.std(ddof=1)) / sqrt(PARTS), 1e-9)
    return float(parts.mean()), float(parts.mean()) / error


def words(one: Look, two: Look) -> tuple[Floats, Floats]:
    """The words of two looks at the same samples, on the pixels that both of them take in.

    Profiles are taken about where each look sees the edge; where one of them lies further out, it
    would else be better by the marks of the face that it leaves out.
    """
    here, there = one.profiles.crossings, two.profiles.crossings
    further: Ints = dot(there.inside - here.inside, here.step).astype(np.int64)
    offsets = one.profiles.offsets[:, None]

    def common(shift: Ints) -> Bools:
        return np.asarray((offsets + shift >= offsets[0]) & (offsets + shift <= offsets[-1]))

    return one.word_on(common(-further)), two.word_on(common(further))


def odds(sure: float) -> float:
    """Chance that the explanation which was not believed is right, for how surely the other is."""
    return 1 / (1 + exp(min(max(sure, 0.0), SUREST)))


def lopsided(found: Look) -> float:
    """How far averaged edges are from their model, in the errors that parts of the outline show.

    Mean square over distances across the edge; about 1 where chance explains it. A wrong camera
    curve leaves more: it bends the blurred step.
    """
    left = found.left_as_stored
    bins = np.floor((_blurs_out(found) + STEP_BLURS) / BIN_BLURS).astype(np.int64)
    count = int(2 * STEP_BLURS / BIN_BLURS)
    part = np.arange(left.shape[1]) * PARTS // left.shape[1]
    near = (bins >= 0) & (bins < count)
    weights, totals = _sums((bins + part * count)[near], PARTS * count, found, left, near)
    weights, totals = weights.reshape(PARTS, count), totals.reshape(PARTS, count)
    mean = totals.sum(axis=0) / np.maximum(weights.sum(axis=0), 1e-9)
    apart = totals / np.maximum(weights, 1e-9) - mean
    error = np.maximum(apart.std(axis=0, ddof=1) / sqrt(PARTS), 1e-9)
    square = float(np.mean((mean / error) ** 2))
    return square if np.isfinite(square) else np.inf


def unexplained(found: Look) -> float:
    """What is left of averaged profiles beyond what chance leaves, root mean square.

    As a share of the contrast.
    """
    left, samples = found.placed.left, len(found.profiles)
    zone = np.digitize(_blurs_out(found), ZONES)
    pieces = max(1, samples // PIECE)
    piece = np.minimum(np.arange(samples) // PIECE, pieces - 1)
    every = np.ones(left.shape, bool)
    cells = (len(ZONES) + 1) * pieces
    count, total = _sums((zone * pieces + piece)[every], cells, found, left, every)
    seen = count > LEAST_SEEN * PIECE
    noise = median(np.einsum("kn,kn->n", left, left) / found.profiles.pixels)
    square = float(((total[seen] / count[seen]) ** 2 - noise / count[seen]).mean())
    return sqrt(max(square, 0.0)) / max(median(np.abs(found.rise)), 1e-9)


def _blurs_out(found: Look) -> Reals:
    """Distance of every pixel out of its edge, in blurs."""
    out = found.profiles.distance - found.placed.out.astype(np.float32)
    return np.asarray(out / found.blur.astype(np.float32))


def _sums(cell: Ints, cells: int, found: Look, left: Reals, chosen: Reals) -> tuple[Floats, Floats]:
    """Weights, and weighed sums of what is left, of the chosen pixels in cells."""
    weight = np.minimum(trust(found.placed.left, found.profiles.pixels), 1.0)
    weights = np.broadcast_to(weight, left.shape)[chosen]
    count, total = (np.bincount(cell, w, cells) for w in (weights, weights * left[chosen]))
    return np.asarray(count, np.float64), np.asarray(total, np.float64)
