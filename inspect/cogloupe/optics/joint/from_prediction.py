"""Measure a gear from the outline that was predicted for it: no grey level divides anything.

Rows and columns of pixels are crossed along the prediction, part of them tells how the picture's
edges are to be explained (`choices`), and then every one of them is measured.
"""

from collections.abc import Iterable
from dataclasses import replace
from math import hypot, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe.finding.colour import LUMA
from cogloupe.finding.segmentation import Region
from cogloupe.numerics.moving_average import PIECE, dot, running_mean
from cogloupe.optics.contour_following import normals
from cogloupe.optics.grain import PLATEAU_BLURS
from cogloupe.optics.joint.choice_uncertainty import SMOOTH, Doubts, doubts_of
from cogloupe.optics.joint.choices import Choice, Predicted, choose, thinned
from cogloupe.optics.joint.crossings import Crossings, crossings_of
from cogloupe.optics.joint.explanation import Fit, Look, look
from cogloupe.optics.joint.profiles import in_sight
from cogloupe.optics.joint.shared_terms import Frame
from cogloupe.optics.joint.wide_greys import WideGreys
from cogloupe.optics.outlines import BEVEL_DOUBT, BURNT_DOUBT, EdgeChoice, Outlines
from cogloupe.optics.sampling import LEAST_STEP, EdgePoints
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.robust import median, scatter

FIRST_BLUR_PX = 1.2
"""Blur that the fit of a whole outline begins with, about that of a focused picture."""
REACH, REACH_IN_MODULES = (6, 12), 0.22
"""Least and most pixels of a profile to either side, and the most in modules of a gear, beyond
which the next flank lies."""
SMOOTH_PX = 9
"""Samples over which an outline is smoothed before it is crossed anew."""
BURNT_ENDS, BURNT_EVERY = 3, 4
"""Pixels at an end of a sample most of which touch full scale where its bright level is burnt out
(the halo of a camera that sharpens lies nearer to the edge); and the samples that are looked at for
it, every so many."""
UNSURE = 2.0
"""Uncertainty of a place, in the usual one, from which an edge between nearly equal lights is not
seen: with the usual noise, `LEAST_STEP` leaves three times as much; in a clean shadow, less."""
LEFT_OUT, ROUNDED = 4.0, 0.02
"""What a good sample leaves at most, in what the usual one does, beyond what whole greys and the
model leave in any case, as a share of the step."""
NOISE_SAMPLES, TEXTURE_EVERY = 1000, 7
"""Samples that tell the noise, to 1 % with their dozens of pixels; one in so many that tells what
is chance in the texture."""
FEWEST_LOCAL = 200
"""Samples of a hole from which light beside it is followed from stretch to stretch."""


def measure_outlines(pixels: NDArray[Any], region: Region, edge: EdgeChoice) -> Outlines:
    """Measure the edges near the outlines that were predicted for a gear.

    Positions in px of the full picture.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3)
        Upright photograph.
    region : Region
        With outlines.
    edge : {'outer', 'inner'}
        Which edge of a bevel to measure, where there is one.
    """
    weights = LUMA if pixels.ndim == 3 else None
    greys = WideGreys.of(pixels, weights)
    whole = in_sight(greys, crossings_of(region.outline))
    every = thinned(len(whole))
    index = np.arange(0, len(whole), every)
    predicted = Predicted(whole.take(index), region.reach_px)
    fit = Fit(
        greys=greys, frame=Frame.about(region.outline), reach=_reach(region), every=every,
        spread=np.array([FIRST_BLUR_PX, 0, 0, 0, 0, 0]),
    )  # fmt: skip
    choice = choose(fit, predicted, region.coloured)

    def by_choice(choice: Choice) -> Outlines:
        out = np.interp(np.arange(len(whole)), index, predicted.off(choice.best.crossings))
        outer = _measured(choice.best.fit, whole.recentred(out))
        holes = [_hole(outer.fit, region, line) for line in region.holes]
        inwards = outer.fit.kind.width_px if edge == "inner" else 0.0
        return _outlines(choice, outer, holes, inwards)

    looks = [choice.best, *(other.look for other in choice.others)]
    return replace(
        by_choice(choice),
        otherwise=tuple(_points(one, 0.0) for one in looks),
        odds=(0.5, *(other.odds for other in choice.others)),
        by_explanation=lambda number: by_choice(Choice(looks[number], ())),
    )


def _reach(region: Region) -> int:
    """Pixels of a profile to each side."""
    if region.teeth < 1:
        return REACH[1]
    module = 2 * region.tip_radius / (region.teeth + 2)
    return int(np.clip(REACH_IN_MODULES * module, *REACH))


def _measured(fit: Fit, path: Crossings) -> Look:
    """Measure every row and column that the edge crosses."""
    xy = np.asarray(running_mean(path.moved().T, SMOOTH_PX).T, np.float64)
    return look(replace(fit, every=1), in_sight(fit.greys, crossings_of(xy)))


def _hole(fit: Fit, region: Region, line: Floats) -> Look:
    """Measure the edge of a hole, which may have a bevel like the teeth, or none."""
    crossings = in_sight(fit.greys, crossings_of(line[::-1]))
    predicted = Predicted(crossings, region.reach_px)
    local = fit.local and len(crossings) > FEWEST_LOCAL
    looks = []
    for width in {0.0, fit.kind.width_px}:
        start = crossings.recentred(predicted.near(fit.greys, width).out)
        kind = replace(fit.kind, width_px=width)
        looks.append(_measured(replace(fit, local=local, kind=kind), start))
    return min(looks, key=lambda one: float(one.word.mean()))


def _outlines(choice: Choice, outer: Look, holes: Iterable[Look], inwards: float) -> Outlines:
    fit = outer.fit
    noise = scatter(outer.placed.left[:, :: max(1, len(outer.profiles) // NOISE_SAMPLES)])
    rise = median(np.abs(outer.rise))
    levels = np.median(np.stack(outer.sides), axis=1)
    burnt, blur = _burnt(outer), median(outer.blur)
    doubts = doubts_of(choice)
    points, usual = _doubted(_points(outer, inwards), choice, doubts)
    return Outlines(
        outer=points,
        holes=tuple(_points(hole, inwards) for hole in holes),
        contrast=fit.greys.contrast(levels),
        noise=noise / max(rise, 1e-9),
        blur_px=blur,
        burnt=burnt,
        curve=fit.greys.curve,
        u_level_px=hypot(
            doubts.common_px, BURNT_DOUBT * burnt * blur, BEVEL_DOUBT * fit.kind.width_px
        ),
        bevel_px=fit.kind.width_px,
        u_bevel_px=usual,
        mixed=fit.greys.mixed,
        sharpening=0.0,
        texture=_texture(outer) / max(rise, 1e-9),
        by_level=False,
    )


def _doubted(points: EdgePoints, choice: Choice, doubts: Doubts) -> tuple[EdgePoints, float]:
    """Edge points with what the choices leave in doubt, beyond the usual, which is told as well."""
    from scipy.spatial import cKDTree  # slow to import, and seldom needed

    best = choice.best
    there = best.crossings.moved()
    near = cKDTree(there).query(points.xy)[1]
    # All samples were fitted anew from those that were chosen by: where they ended elsewhere, the
    # light beside the edge does not hold it.
    anew = dot(points.xy - there[near], best.crossings.normal[near])
    anew = running_mean((anew - median(anew))[None], SMOOTH * best.fit.every)[0]
    own = np.hypot(doubts.own_px[near], anew / sqrt(2))
    usual = median(own)
    beyond = np.sqrt(np.maximum(own**2 - usual**2, 0.0))
    xy = points.xy + doubts.shift_px * points.normal
    return replace(points, xy=xy, doubt=beyond), usual


def _points(found: Look, inwards: float) -> EdgePoints:
    """Edge points of an outline."""
    crossings, placed = found.crossings, found.placed
    xy = crossings.moved()
    normal = normals(xy)
    normal *= np.where(dot(normal, crossings.step) < 0, -1.0, 1.0)[:, None]
    left = np.sqrt(np.einsum("kn,kn->n", placed.left, placed.left) / found.profiles.pixels)
    usual = median(found.step)
    seen = (found.step > LEAST_STEP * usual) | (placed.u < UNSURE * median(placed.u))
    good = seen & (left < LEFT_OUT * median(left) + ROUNDED * usual)
    return EdgePoints(
        xy=xy - inwards * normal, normal=normal, u=placed.u, blur=found.blur, good=good,
        weighed=True,
    )  # fmt: skip


def _burnt(found: Look) -> float:
    """Share of the samples that touch full scale."""
    few = found.profiles.crossings.take(np.arange(0, len(found.profiles), BURNT_EVERY))
    offsets = found.profiles.offsets[[*range(BURNT_ENDS), *range(-BURNT_ENDS, 0)]]
    full = found.fit.greys.burnt(few.inside, few.step, offsets).T.reshape(2, BURNT_ENDS, -1)
    return float(np.mean((full.mean(axis=1) > 0.5).any(axis=0)))


def _texture(found: Look) -> float:
    """Size of what the levels beside a short flank miss, both sides together, noise taken off.

    Plateau pixels are averaged over a dozen neighbouring samples, about what lies beside a flank of
    small teeth; a level that is off there moves the whole flank.
    """
    left = found.placed.left
    z = (found.profiles.distance - found.placed.out.astype(np.float32)) / found.blur
    squares = 0.0
    for side in (z < -PLATEAU_BLURS, z > PLATEAU_BLURS):
        seen = left[:, ::TEXTURE_EVERY][side[:, ::TEXTURE_EVERY]]
        if not len(seen):
            continue
        count = running_mean(side.sum(axis=0, dtype=float), PIECE)
        total = running_mean(np.einsum("kn,kn->n", side, left), PIECE)
        mean = total / np.maximum(count, 1e-9)
        by_chance = scatter(seen) ** 2 / max(median(count) * PIECE, 1)
        squares += max(scatter(mean) ** 2 - by_chance, 0.0)
    return sqrt(squares)
