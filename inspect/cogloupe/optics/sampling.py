"""Sample an outline: one row or column of pixels across it at every crossing.

Wherever the outline crosses a row or a column of pixels (columns where the edge runs flatter than
45 degrees, rows elsewhere) that row or column is one edge sample: grey values over a few pixels,
uninterpolated, so that no pixel serves twice and the noise of neighbouring samples stays
independent. Each sample is compared with a step of the local grey levels blurred by the local
blur (a Gaussian integral), and the position is found by weighted least squares, which reaches the
information bound of the sample ``(sigma_n / A) sqrt(2 sqrt(pi) s)``.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from math import ceil, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from cogloupe.numerics.moving_average import PIECE, dot, running_mean
from cogloupe.optics.bevel import NO_BEVEL, Bevel
from cogloupe.optics.contour_following import Crossings, normals
from cogloupe.optics.grain import PLATEAU_BLURS, PLATEAU_SHARE
from cogloupe.optics.greys import Greys
from cogloupe.optics.response import blurs_out, unit_step
from cogloupe.optics.step_fit import Band, fit_steps
from cogloupe_calibration.arrays import Bools, Floats, Reals
from cogloupe_calibration.robust import median, scatter

BURNT_ENDS, BURNT_EVERY = 3, 4
"""Pixels at an end of a sample most of which touch full scale where its bright level is burnt out
(the halo of a camera that sharpens lies nearer to the edge); and the samples that are looked at for
it, every so many."""
FIRST_REACH_PX = 8
"""Reach of the profiles that tell the first blur."""
ALL_GOOD = 0.98
"""Share of good samples from which the others are not looked at again."""
MOST_NOISE, MODEL_SHARE, LEAST_STEP = 4.0, 0.02, 0.3
"""What a good sample leaves at most, in noise of a pixel and, as an edge is no perfect step, in
shares of the contrast; and the share of the usual contrast that it has at least (our own
judgement)."""
STRAY = 4.0
"""Level of a sample's own, in usual ones, from which it is no tool mark."""
LONGEST_REACH_PX = 16
"""Samples reach at most this far to each side of the edge; a wider blur is beyond use."""
LONGEST_ACROSS_BEVEL_PX = 24
"""The same where there is a bevel, and where one is looked for."""


@dataclass(frozen=True, kw_only=True)
class EdgePoints:
    """Edge samples of one closed or open outline, in order, clockwise on the picture.

    Attributes
    ----------
    xy : ndarray, shape (n, 2)
        Positions, px.
    normal : ndarray, shape (n, 2)
        Unit normals pointing out of the material.
    u : ndarray, shape (n,)
        Standard uncertainty of each position along its normal from pixel noise alone, px.
    blur : ndarray, shape (n,)
        Standard deviation of the edge's blur, pixel box included, px.
    good : ndarray, shape (n,), bool
        False where the grey profile does not look like one blurred step.
    weighed : bool
        `u` is each one's own, by what its profile leaves; else by noise that all have in common.
    doubt : ndarray, shape (n,), or None
        Standard uncertainty of each stretch as a whole, from how else it may be explained, px.
    """

    xy: Floats
    normal: Floats
    u: Floats
    blur: Floats
    good: Bools
    weighed: bool = False
    doubt: Floats | None = None

    def __len__(self) -> int:
        """Count the samples."""
        return len(self.xy)

    def take(self, chosen: NDArray[np.bool_] | NDArray[np.int64]) -> "EdgePoints":
        """Pick samples.

        Parameters
        ----------
        chosen : ndarray
            Mask or indices.
        """
        index = np.flatnonzero(chosen) if chosen.dtype == bool else chosen
        xy, normal = self.xy.take(index, axis=0), self.normal.take(index, axis=0)
        return replace(
            self, xy=xy, normal=normal, u=self.u[index], blur=self.blur[index],
            good=self.good[index], doubt=None if self.doubt is None else self.doubt[index],
        )  # fmt: skip

    def straightened(self, curvature: Floats | float) -> Floats:
        """Undo the shift that blur gives a curved edge.

        Parameters
        ----------
        curvature : ndarray, shape (n,) or float
            Curvature of the true outline, 1/px, positive where the material is convex.

        Returns
        -------
        ndarray, shape (n, 2)
            Corrected positions, px.

        Notes
        -----
        A step blurred by s along an edge of radius R is seen shifted by s^2 / 2R towards the
        centre of curvature. A row or column that crosses the edge at an angle t to its normal
        also meets the curve's sagitta; weighted as the fit weights its pixels, that adds
        ``tan^2 t / 2`` of the same.
        """
        cosine = np.abs(self.normal).max(axis=1)
        oblique = 1 + (1 / cosine**2 - 1) / 2
        shift = self.blur**2 * np.asarray(curvature) / 2 * oblique
        return np.asarray(self.xy + self.normal * shift[:, None])


@dataclass(frozen=True, kw_only=True)
class Samples:
    """Samples of one outline with what they were fitted from.

    `levels` (2, n) are the greys of material and ground beside each sample, `place` (n,) is where
    the edge lies, in steps from the pixel inside; `residual` (n, k) is what the fit leaves of the
    profiles, and `z` (n, k) how far their pixels lie out of the edge, in blurs.
    """

    points: EdgePoints
    contrast: float
    noise: float
    burnt: float
    levels: Floats
    place: Floats
    crossings: Crossings
    residual: Reals
    z: Reals

    @cached_property
    def texture(self) -> float:
        """How much the levels beside the outline vary, as a share of the contrast."""
        return _texture(self.residual, self.z) / max(self.contrast, 1e-6)


@dataclass(frozen=True)
class Fit:
    """How samples are to be fitted.

    `room_px` is how far profiles may reach without running into the next flank; a good first `blur`
    spares turns; `grained` weighs pixels by the grain beside the edge.
    """

    room_px: float
    bevel: Bevel = NO_BEVEL
    blur: float | None = None
    grained: bool = True

    @property
    def longest(self) -> int:
        """Reach of the longest profiles."""
        bevelled = self.bevel.width_px > 0
        most = LONGEST_ACROSS_BEVEL_PX if bevelled else LONGEST_REACH_PX
        return int(np.clip(self.room_px, 5, most))


def sample_edge(greys: Greys, crossings: Crossings, fit: Fit) -> Samples:
    """Fit every sample of one outline; without those that the picture's border cuts off.

    Parameters
    ----------
    greys : Greys
        What is measured.
    crossings : Crossings
        Where the outline passes between pixels, in its order.
    fit : Fit
        How.
    """
    blur, reach = fit.blur or _first_blur(greys, crossings), 0
    width = fit.bevel.width_px
    while reach != (reach := min(fit.longest, _reach(blur, width))):
        profiles, offsets, kept = profiles_across(greys, crossings, reach)
        if len(profiles) == 0:
            return _nothing_measured(crossings)
        seen = crossings.take(kept)
        cosine = np.abs(dot(seen.normal, seen.step)).astype(np.float32)
        band = _band(fit.bevel, seen)
        steps = fit_steps(profiles, offsets, cosine, seen.normal, blur, band, fit.grained)
        blur = max(blur, median(steps.blur))
    t, s, levels, residual = steps.place, steps.blur, steps.levels, steps.residual
    # A thousand profiles tell the noise as well as all of them.
    noise = scatter(residual[:: max(1, len(residual) // 1000)])
    contrast = levels[1] - levels[0]
    xy = seen.inside + t[:, None] * seen.step
    typical = median(np.abs(contrast))
    u = noise / np.maximum(np.abs(contrast), 1e-6) * np.sqrt(2 * sqrt(pi) * s * cosine)
    z = blurs_out(offsets, t, cosine / s)
    most = MOST_NOISE * noise + MODEL_SHARE * typical
    good = _rms(residual) < most
    if np.mean(good) < ALL_GOOD:  # tool marks are no fault of the edge
        good |= _rms(_levelled(residual, z, width / s, typical)) < most
    good &= np.abs(contrast) > LEAST_STEP * typical
    few = slice(None, None, BURNT_EVERY)
    ends = offsets.astype(np.int64)[[*range(BURNT_ENDS), *range(-BURNT_ENDS, 0)]]
    full = greys.burnt(seen.inside[few], seen.step[few], ends).reshape(-1, 2, BURNT_ENDS)
    burnt = float(np.mean((full.mean(axis=2) > 0.5).any(axis=1)))
    normal = _tangent_normals(xy, seen.step)
    points = EdgePoints(xy=xy, normal=normal, u=u, blur=s, good=good)
    return Samples(
        points=points,
        contrast=typical,
        noise=noise,
        burnt=burnt,
        levels=levels,
        place=t,
        crossings=seen,
        residual=residual,
        z=z,
    )


def _band(bevel: Bevel, seen: Crossings) -> Band | None:
    return bevel.along(bevel.terms(seen.normal, seen.inside)) if bevel.seen else None


def _rms(residual: Reals) -> Floats:
    return np.asarray(np.sqrt(np.mean(residual**2, axis=1)))


def _levelled(residual: Reals, z: Reals, band: Floats, typical: float) -> Reals:
    """Residuals about levels of each sample's own, which may stray as far as they usually do."""
    z = z.astype(np.float32)
    face = 1 - unit_step(z + band[:, None].astype(np.float32))[0]
    left = residual
    for share in (face, unit_step(z)[0]):
        plateau = share > PLATEAU_SHARE
        own = (plateau * residual).sum(axis=1) / np.maximum(plateau.sum(axis=1), 1)
        most = STRAY * median(np.abs(own)) + MODEL_SHARE * typical
        left = left - share * np.clip(own, -most, most)[:, None]
    return left


def _texture(residual: Reals, z: Reals) -> float:
    """Size of what the levels beside a short flank miss, both sides together, noise taken off.

    Plateau pixels are averaged over a dozen neighbouring samples, about what lies beside a flank of
    small teeth; a level that is off there moves the whole flank.
    """
    squares = 0.0
    for side in (z < -PLATEAU_BLURS, z > PLATEAU_BLURS):
        seen = residual[::7][side[::7]]
        if not len(seen):
            continue
        count = running_mean(side.sum(axis=1, dtype=float), PIECE)
        total = running_mean(dot(side, residual), PIECE)
        mean = total / np.maximum(count, 1e-9)
        pixel = scatter(seen) ** 2
        by_chance = pixel / max(median(count) * PIECE, 1)
        squares += max(scatter(mean) ** 2 - by_chance, 0.0)
    return sqrt(squares)


def _nothing_measured(crossings: Crossings) -> Samples:
    empty, none = np.empty(0), np.empty((0, 0))
    nowhere = np.empty((0, 2))
    points = EdgePoints(xy=nowhere, normal=nowhere, u=empty, blur=empty, good=np.empty(0, bool))
    return Samples(
        points=points,
        contrast=1.0,
        noise=1.0,
        burnt=0.0,
        levels=np.empty((2, 0)),
        place=empty,
        crossings=crossings,
        residual=none,
        z=none,
    )


def _tangent_normals(xy: Floats, steps: NDArray[np.int64]) -> Floats:
    """Normals from the measured positions, turned to the ground side."""
    normal = normals(xy)
    return np.asarray(normal * np.where(dot(normal, steps) < 0, -1.0, 1.0)[:, None])


def _reach(blur: float, bevel_px: float) -> int:
    """Pixels to each side that a sample needs: the whole slope, a band and some level."""
    return max(ceil(3 * blur + bevel_px) + 3, 5)


def profiles_across(
    greys: Greys, crossings: Crossings, reach: int
) -> tuple[Reals, Reals, NDArray[np.int64]]:
    """Take grey values across an outline, from material to ground.

    Parameters
    ----------
    reach : int
        Pixels to each side.

    Returns
    -------
    profiles : ndarray, shape (n, 2 reach), float32
    offsets : ndarray, shape (2 reach,), float32
        Distance of each pixel from the crossing's pixel inside, px.
    kept : ndarray, shape (n,)
        Indices of the crossings whose profiles lie within the picture.
    """
    offsets = np.arange(-reach + 1, reach + 1)
    # Along the outline in memory, which is fast: see `response.blurs_out`.
    ends = crossings.inside.T + crossings.step.T * offsets[[0, -1], None, None]
    frame = np.array(greys.shape[::-1])[:, None]
    kept = np.flatnonzero(((ends >= 0) & (ends < frame)).reshape(4, -1).all(axis=0))
    seen = crossings.take(kept)
    profiles = greys.along(seen.inside, seen.step, offsets)
    return profiles, offsets.astype(np.float32), kept


def _first_blur(greys: Greys, crossings: Crossings) -> float:
    """Blur from the steepest slope of the typical profile: A / (s sqrt(2 pi))."""
    few = crossings.take(np.arange(0, len(crossings.step), 8))
    profiles, _, kept = profiles_across(greys, few, FIRST_REACH_PX)
    if len(profiles) == 0:
        return 1.0
    cosine = np.abs(dot(few.normal, few.step))[kept]
    steepest = median(np.abs(np.diff(profiles, axis=1)).max(axis=1) / cosine)
    height = median(np.abs(profiles[:, :2].mean(axis=1) - profiles[:, -2:].mean(axis=1)))
    return float(np.clip(height / max(steepest, 1e-9) / sqrt(2 * pi), 0.4, 5.0))
