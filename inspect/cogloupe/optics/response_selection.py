"""How the edges of a picture look by each camera curve that it may be stored by."""

from dataclasses import dataclass, replace
from math import cbrt, inf, sqrt

import numpy as np

from cogloupe.numerics.moving_average import dot, running_mean
from cogloupe.optics.bevel import NO_BEVEL, Bevel, Profiles
from cogloupe.optics.contour_following import Crossings, bend
from cogloupe.optics.greys import Greys, clearest_mixture
from cogloupe.optics.jpeg_quantisation import quantisation_step
from cogloupe.optics.misfit import STEP_BLURS, Misfit, misfit, roughness
from cogloupe.optics.response_mismatch import mismatch_of
from cogloupe.optics.sampling import Fit, Samples, profiles_across, sample_edge
from cogloupe.optics.sharpening import Sharpening
from cogloupe_calibration.robust import median

LOOK_REACH_PX = 14
"""How far profiles reach to either side, but no further than teeth are thick."""
COLOUR_IS_SRGB = 2.0
"""Factor by which the sRGB curve may fit a colour picture worse and still be believed."""
NOT_SEEN = Misfit(1e9, 1.0, 1.0)
"""Stands where too few profiles were seen: worse than any that was."""
LEAST_PROFILES = 200
"""Profiles whose averages are worth looking at: without so many straight ones, all are taken."""
STRAIGHT = (0.8, 0.99)
"""Cosine of an outline's bend within reach from which it may be straight, and from which it is: the
blur of a bend is no matter of camera or bevel."""
ROOM_SHARE, LEAST_REACH_PX = 0.7, 5
"""Share of the room beside an edge that profiles take, short of the next edge's blur; and their
least, without which a step shows no levels."""
MISFIT_LOOKED_INTO = 0.0028
"""A single step that fits the averaged profiles to this share of the contrast is good enough: the
band behind such a misfit moves no edge by a hundredth of a pixel (it moves them by about twice the
misfit, in blurs). Of 60 random pictures those without band and shadow left up to 0.0027, one with a
bevel or a shadow 0.003 or more."""
CLEARER = 0.9
"""Share of the roughness of brightness that another mixture of colours may have to be taken: a JPEG
file keeps colours coarser than brightness."""
LEAST_OF_BRIGHTNESS = 0.25
"""Share of the contrast of brightness that another mixture must have: of two greys a difference of
colours shows little more than what the file rounds."""
LINEAR, POWERS = 0.45, (0.6, 0.8, 1.2)
"""Exponents of the sRGB curve's light that are tried for other cameras, and the one that makes it
about linear."""
CURVE_SURE = 25.0
"""Factor by which one usual curve leaves less than the other from which none between is looked for:
it would move edges by less than 0.03 px."""
FOLLOWED = 0.5
"""Share of the mean square that a wrong curve leaves where levels follow the edges (rendered gears
show 0.45)."""
CURVE_FITS, CURVE_LESS, CURVE_BETTER = 4.0, 3.0, 2.0
"""Misfit up to which a usual curve is not doubted, by how much less another must leave, and by what
factor: by chance, the usual one leaves 3 and another 2 less, and JPEG files leave much with any."""
FILE_LEFT = 0.05
"""What JPEG leaves of averaged edges by any curve, in its own steps (rendered gears of quality 60
to 95 show up to that)."""
UNSHARPENED = 2.0
"""Factor by which edges must fit better with a sharpening undone for that to be believed."""


@dataclass(frozen=True, kw_only=True)
class EdgeModel:
    """The outer outline as one camera explains it, with or without a bevel or a shadow.

    Attributes
    ----------
    greys : Greys
        What was measured.
    measured : Samples
        Single steps on part of the outline.
    profiles : Profiles or None
        What it was judged by; None where too little is seen.
    misfit : Misfit
        What it leaves of them.
    half_way : float
        How far apart the two camera curves put an edge, in blurs.
    contrast : float
        Difference of grey between gear and ground as stored, as a share of full scale.
    prior : float
        Factor by which the curve may fit better and still not be believed.
    bevel : Bevel
        The bevel or shadow it goes with.
    sharpening : Sharpening or None
        What the camera did that was undone first.
    """

    greys: Greys
    measured: Samples
    profiles: Profiles | None
    misfit: Misfit
    half_way: float
    contrast: float
    prior: float = 1.0
    bevel: Bevel = NO_BEVEL
    sharpening: Sharpening | None = None

    @property
    def curve(self) -> float:
        """Exponent of the sRGB curve's light that values are turned back to; 0 as they are."""
        return self.greys.power * self.greys.in_light

    @property
    def penalty(self) -> float:
        """What tells a wrong camera curve: lopsided edges, or with a bevel all that is left."""
        left = self.misfit.by_facing if self.bevel.seen else self.misfit.overall
        return self.prior * left

    @property
    def score(self) -> float:
        """What tells a camera that sharpens: both misfits, since halos and bevels leave either."""
        doubt = 1.0 if self.sharpening is None else UNSHARPENED
        return doubt * self.prior * self.misfit.overall * self.misfit.by_facing


def response_candidates(
    greys: Greys, crossings: Crossings, coloured: bool, fit: Fit
) -> list[EdgeModel]:
    """An outline's single edges as stored in proportion to light, and by the sRGB curve.

    Two, best first; one where nothing is seen.

    Parameters
    ----------
    greys : Greys
        What is measured.
    crossings : Crossings
        Part of the outline.
    coloured : bool
        The picture has colours, so that others than brightness may be measured.
    fit : Fit
        How samples of the teeth are fitted.
    """
    reach = profile_reach(fit)
    fit = replace(fit, grained=False)
    first = sample_edge(greys, crossings, fit)
    if not len(first.points):
        return [
            EdgeModel(
                greys=greys,
                measured=first,
                profiles=None,
                misfit=NOT_SEEN,
                half_way=0.0,
                contrast=1.0,
            )
        ]
    one = _look(greys, first, 0.0, first.contrast / greys.full_scale, reach)
    light = replace(greys, in_light=True)
    if not coloured and explained([one]):
        other = _foreseen(one, light)
        if other.misfit.overall > CURVE_SURE * max(one.misfit.overall, CURVE_FITS):
            return [replace(one, half_way=other.half_way), other]
    fit = replace(fit, blur=median(first.points.blur))
    light, second = _clearest(light, crossings, coloured, fit, reach)
    if light.weights is not greys.weights:
        # What is left tells the curve only where the same colours are measured.
        first = sample_edge(mixed := replace(greys, weights=light.weights), crossings, fit)
        one = _look(mixed, first, 0.0, first.contrast / greys.full_scale, reach)
    apart = abs(_typical_place(second) - _typical_place(first))
    # A camera's colour picture is sRGB unless the edges speak clearly against it.
    prior = COLOUR_IS_SRGB if coloured else 1.0
    models = [
        replace(one, half_way=apart, prior=prior),
        _look(light, second, apart, one.contrast, reach),
    ]
    return sorted(models, key=lambda model: model.penalty)


def _foreseen(model: EdgeModel, greys: Greys) -> EdgeModel:
    """The model by another curve as it would be if this one were right: of edges, without them."""
    wrong = mismatch_of(np.median(model.measured.levels, axis=1), greys)
    near = np.abs(wrong.distance) < STEP_BLURS
    square = float(np.mean(wrong.left[near] ** 2)) / model.misfit.error**2
    left = Misfit(1 + FOLLOWED * square, model.misfit.by_facing, model.misfit.error)
    return replace(model, greys=greys, misfit=left, half_way=abs(wrong.move))


def _clearest(
    greys: Greys, crossings: Crossings, coloured: bool, fit: Fit, reach: int
) -> tuple[Greys, Samples]:
    """Single steps in brightness, or in the mixture of colours where that is clearer."""
    measured = sample_edge(greys, crossings, fit)
    mixture = clearest_mixture(greys, crossings.inside, crossings.step, reach) if coloured else None
    if mixture is None:
        return greys, measured
    mixed = replace(greys, weights=mixture)
    other = sample_edge(mixed, crossings, fit)
    if other.contrast < LEAST_OF_BRIGHTNESS * measured.contrast:
        return greys, measured
    clearer = _roughness(mixed, other, reach) < CLEARER * _roughness(greys, measured, reach)
    return (mixed, other) if clearer else (greys, measured)


def _roughness(greys: Greys, measured: Samples, reach: int) -> float:
    profiles = long_profiles(greys, measured, reach)
    return inf if profiles is None else roughness(profiles)


def _typical_place(measured: Samples) -> float:
    """How far out of the crossings' pixels the edge lies in the middle, in blurs."""
    return median(measured.place / measured.points.blur)


def with_any_curve(models: list[EdgeModel], few: Crossings, fit: Fit) -> list[EdgeModel]:
    """Put a model by a curve of its own first, where neither usual one fits and it does.

    Parameters
    ----------
    models : list of EdgeModel
        By the usual curves, best first.
    few : Crossings
        Part of the outline.
    """
    best = models[0]
    if blind(models):
        return models
    left = best.misfit.overall
    if left < CURVE_FITS or CURVE_SURE * left < models[-1].misfit.overall:
        return models
    believed = _beside_file(best, few)
    if believed * left < CURVE_FITS:
        return models
    fit = replace(fit, grained=False, blur=median(best.measured.points.blur))
    reach = profile_reach(fit)

    def model(power: float) -> EdgeModel:
        greys = replace(best.greys, in_light=True, power=power)
        measured = sample_edge(greys, few, fit)
        one = _look(greys, measured, best.half_way, best.contrast, reach)
        return replace(one, prior=max(usual.prior for usual in models))

    tried = {one.curve or LINEAR: one for one in models}
    tried |= {power: model(power) for power in POWERS}
    powers = sorted(tried)
    misfits = [tried[power].misfit.overall for power in powers]
    first = max(min(int(np.argmin(misfits)) - 1, len(powers) - 3), 0)
    low, middle, high = powers[first : first + 3]
    hollow, slope, _ = np.polyfit([low, middle, high], misfits[first : first + 3], 2)
    if hollow <= 0:
        return models
    found = model(min(max(float(-slope / (2 * hollow)), low), high))
    most = min(best.penalty - CURVE_LESS / believed, best.penalty / CURVE_BETTER)
    return [found, *models] if found.penalty < most else models


def _beside_file(model: EdgeModel, few: Crossings) -> float:
    """Share of what a model leaves of averaged edges that the rounding of a JPEG file does not."""
    step = quantisation_step(model.greys.pixels, few.inside + np.array(model.greys.corner))
    left = FILE_LEFT * step / (255 * model.contrast)
    return 1 / (1 + (left / model.misfit.error) ** 2)


def _look(
    greys: Greys, measured: Samples, half_way: float, contrast: float, reach: int
) -> EdgeModel:
    """See how single steps fit."""
    profiles = long_profiles(greys, measured, reach)
    left = NOT_SEEN if profiles is None else misfit(profiles, greys)
    return EdgeModel(
        greys=greys,
        measured=measured,
        profiles=profiles,
        misfit=left,
        half_way=half_way,
        contrast=contrast,
    )


def long_profiles(greys: Greys, measured: Samples, reach: int) -> Profiles | None:
    """Take longer profiles on smooth stretches of an outline; None where too few are seen.

    Parameters
    ----------
    measured : Samples
        Single steps on stretches of it.
    reach : int
        Pixels to each side.
    """
    normal = measured.points.normal
    turn = bend(normal, reach)
    # The stretches were cut out of the outline: normals are wrong where they meet.
    jump = np.abs(np.roll(measured.points.xy, -1, axis=0) - measured.points.xy).max(axis=1) > 3
    usable = measured.points.good & (running_mean(1.0 * jump, 2 * reach) == 0)
    # The blur of a bend is no matter of camera or bevel: on small teeth only the straighter half.
    straight = max(STRAIGHT[0], median(turn[usable])) if usable.any() else STRAIGHT[0]
    kept = np.flatnonzero(usable & (turn >= min(straight, STRAIGHT[1])))
    if len(kept) < LEAST_PROFILES:
        kept = np.flatnonzero(usable)
    crossings = measured.crossings.take(kept)
    values, offsets, inside = profiles_across(greys, crossings, reach)
    kept = kept[inside]
    if len(kept) < LEAST_PROFILES or measured.burnt > 0.5:
        return None
    points = measured.points.take(kept)
    cosine = np.abs(dot(points.normal, crossings.step.take(inside, axis=0)))
    return Profiles(
        grey=values,
        offsets=offsets,
        cosine=cosine,
        normal=points.normal,
        xy=points.xy,
        place=measured.place[kept],
        blur=points.blur,
        weight=np.ones_like(values),
    )


def explained(models: list[EdgeModel]) -> bool:
    """Tell whether single edges leave little."""
    return left_by_facing(models) < MISFIT_LOOKED_INTO**2


def blind(models: list[EdgeModel]) -> bool:
    """Tell whether too little is seen to look further."""
    profiles = models[0].profiles
    return profiles is None or profiles.short_of_level


def left_by_facing(models: list[EdgeModel]) -> float:
    """Mean square that the better of some models leaves by the way the outline faces."""
    return min(model.prior * model.misfit.by_facing for model in models)


def profile_reach(fit: Fit) -> int:
    """How far the profiles reach by which single edges are judged, px to each side."""
    return int(np.clip(ROOM_SHARE * fit.room_px, LEAST_REACH_PX, LOOK_REACH_PX))


def curve_doubt(best: EdgeModel, others: list[EdgeModel]) -> float:
    """Say what doubt about the camera curve does to the place of every edge.

    Standard uncertainty, in blurs: half of what lies between the curves where the picture does not
    tell, the less the better one explains the edges than the other.

    Parameters
    ----------
    best : EdgeModel
        The model that was believed.
    others : list of EdgeModel
        The others, best first.

    Notes
    -----
    A picture that was stored by the sRGB curve and blurred once more, as copies are that were
    scaled, looks like one stored in proportion to light. With a share r of its blur from before it
    was stored, its edges are off by r times what lies between the curves, but lopsided by r cubed
    alone: cumulants add, and the later blur has no third one. So of the mean square that is left
    beyond chance, which leaves 1, counts the sixth root; edges may lie anywhere up to there.
    """
    if not others:
        return 0.5 * best.half_way
    other = others[0]
    # Beside a band, single edges are judged by what the band is: what is left by facing.
    alike = best.bevel.seen == other.bevel.seen
    left, worse = (
        model.penalty if alike else model.prior * model.misfit.by_facing for model in (best, other)
    )
    told = 0.5 * min(1.0, sqrt(left / worse))
    if best.curve > 0 or best.bevel.seen:
        return best.half_way * told
    lopsided = max(left - 1.0, 0.0) / worse
    return best.half_way * max(told, min(1.0, cbrt(sqrt(lopsided))) / sqrt(3))
