"""Which camera curve, sharpening, bevel and shadow explain the edges of a picture best."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import ceil, inf, sqrt

import numpy as np
from numpy.typing import NDArray

from cogloupe.bevel import (
    NARROWEST_PX,
    NO_BEVEL,
    STEP_BLURS,
    Bevel,
    Misfit,
    Profiles,
    misfit,
    roughness,
)
from cogloupe.bevel_fit import MOST_LIKE_GROUND, find_bevel, find_shadow, settle_bevel
from cogloupe.greys import Greys, clearest_mixture
from cogloupe.outline import Crossings, bend
from cogloupe.running import dot, median, running_mean
from cogloupe.sampling import LONGEST_ACROSS_BEVEL_PX, Fit, Samples, profiles_across, sample_edge
from cogloupe.sharpening import Sharpening, find_sharpenings, unsharpened
from cogloupe.wrong_curve import taken_wrongly

Finder = Callable[[Profiles], tuple[Bevel, Profiles]]

LOOK_REACH_PX, BEVEL_SHARE = 14, 0.2
"""How far profiles reach to either side, but no further than teeth are thick; and where a bevel is
looked for, as a share of the module (a tenth of one is a wide bevel, common practice, no source).
"""
COLOUR_IS_SRGB = 2.0
"""Factor by which the sRGB curve may fit a colour picture worse and still be believed."""
LOOK_SAMPLES, BEVEL_SAMPLES = 3000, 9000
"""Samples that are enough to tell the camera curve, and a bevel, in stretches of `LOOK_STRETCH`."""
LOOK_STRETCH = 240
NOT_SEEN = Misfit(1e9, 1.0, 1.0)
MISFIT_LOOKED_INTO = 0.003
"""A single step that fits the averaged profiles to this share of the contrast is good enough: the
band behind such a misfit moves no edge by a hundredth of a pixel (it moves them by about twice the
misfit, in blurs)."""
CLEARER = 0.9
"""Share of the roughness of brightness that another mixture of colours may have to be taken: a JPEG
file keeps colours coarser than brightness."""
UNDECIDED, RULED_OUT = 3.0, 10.0
"""Factors by which single edges must speak against a camera curve for a band that is not believed
to have no say, and to rule it out."""
BAND_BETTER = 2.0
"""Factor by which a band must fit averaged profiles better than a single edge (rendered bevels do
by 3 to 100)."""
LEAST_GAIN, SURE, SURE_OF_FAINT = 0.25, 4.0, 5.0
"""Usual misfits by which a band must bring that of a sample down, and in its own standard errors.
Rendered bevels bring it down by 1 to 3 and 6 to 70 standard errors, uneven light on the face, which
is no band, by 0.1 and 4; a faint band that all parts of the outline confirm will do."""
RESOLVED_BLURS, LEAST_UNLIKE = 1.5, 0.15
"""Width from which a band shows for what it is; a narrower one must be as unlike itself from side
to side, in differences of face and ground, to be told from blur."""
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
UNSHARPENED = 2.0
"""Factor by which edges must fit better with a sharpening undone for that to be believed."""
PINNED = 1.03
"""A band within this factor of the narrowest that is looked for was not found."""


@dataclass(frozen=True)
class Look:
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
    handicap : float
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
    handicap: float = 1.0
    bevel: Bevel = NO_BEVEL
    sharpening: Sharpening | None = None

    @property
    def curve(self) -> float:
        """Exponent of the sRGB curve's light that values are turned back to; 0 as they are."""
        return self.greys.power * self.greys.in_light

    @property
    def badness(self) -> float:
        """What tells a wrong camera curve: lopsided edges, or with a bevel all that is left."""
        left = self.misfit.by_facing if self.bevel.seen else self.misfit.overall
        return self.handicap * left

    @property
    def score(self) -> float:
        """What tells a camera that sharpens: both misfits, since halos and bevels leave either."""
        doubt = 1.0 if self.sharpening is None else UNSHARPENED
        return doubt * self.handicap * self.misfit.overall * self.misfit.by_facing


def best_looks(greys: Greys, crossings: Crossings, coloured: bool, fit: Fit) -> list[Look]:
    """Look at an outline as each camera that may be behind the picture, and for a bevel or shadow.

    Light is stored in proportion, by the sRGB curve, or by one like it; and stored values may have
    been sharpened.

    Parameters
    ----------
    greys : Greys
        What is measured.
    crossings : Crossings
        The outline.
    coloured : bool
        The picture has colours.
    fit : Fit
        How samples of the teeth are fitted.

    Returns
    -------
    list of Look
        Best first; the first with a bevel or a shadow where there is one.
    """
    few = crossings.take(_stretches(len(crossings.step), LOOK_SAMPLES))
    plain = _looks(greys, few, coloured, fit, _reach(fit))
    if _blind(plain) or _explained(plain):
        return _with_any_curve(plain, few, fit)
    versions = [plain, *_unsharpened(plain, few, coloured, fit)]
    undone = versions[-1][0].sharpening
    # What clipping leaves of a halo is not to be told from a band.
    if _explained(versions[-1]) or (undone and undone.clipped):
        return versions[-1]
    reach = _bevel_reach(fit)
    banded = [_banded(looks, reach, find_bevel) for looks in versions]
    chosen = int(np.argmin([looks[0].score for looks in banded]))
    single = versions[chosen]
    many = crossings.take(_stretches(len(crossings.step), BEVEL_SAMPLES))
    believed = _believed(banded[chosen], single, many, fit, reach)
    if believed is None:
        shaded = _banded(single, _reach(fit), find_shadow)
        believed = _believed(shaded, single, many, fit, _reach(fit))
    return believed or _by_bands(single, banded[chosen])


def _by_bands(single: list[Look], banded: list[Look]) -> list[Look]:
    """Single edges in the order of the bands, where they do not themselves tell the curve."""
    curves = [look.curve for look in banded]
    open_to = [look for look in single if look.badness < UNDECIDED * single[0].badness]
    open_to.sort(key=lambda look: curves.index(look.curve))
    return [*open_to, *single[len(open_to) :]]


def _believed(
    banded: list[Look], single: list[Look], many: Crossings, fit: Fit, reach: int
) -> list[Look] | None:
    """Looks with the band or the shadow as more of the outline confirms it; None where not."""
    best, *others = banded
    bevel = _settled(many, best, fit, reach) if _worth(best, single) else None
    return None if bevel is None else [replace(best, bevel=bevel), *others]


def _worth(banded: Look, single: list[Look]) -> bool:
    """Whether a band or a shadow explains enough to be looked into."""
    bevel = banded.bevel
    possible = bevel.seen and bevel.share[0] < MOST_LIKE_GROUND
    return bool(possible and BAND_BETTER * banded.badness < _left(single))


def _blind(looks: list[Look]) -> bool:
    """Whether too little is seen to look further."""
    profiles = looks[0].profiles
    return profiles is None or profiles.short_of_level


def _explained(looks: list[Look]) -> bool:
    """Whether single edges leave little."""
    return _left(looks) < MISFIT_LOOKED_INTO**2


def _with_any_curve(looks: list[Look], few: Crossings, fit: Fit) -> list[Look]:
    """The same looks, after one by a curve of its own where neither usual one fits and it does."""
    best = looks[0]
    if _blind(looks):
        return looks
    left = best.misfit.overall
    if left < CURVE_FITS or CURVE_SURE * left < looks[-1].misfit.overall:
        return looks
    fit = replace(fit, grained=False, blur=median(best.measured.points.blur))
    reach = _reach(fit)

    def look(power: float) -> Look:
        greys = replace(best.greys, in_light=True, power=power)
        measured = sample_edge(greys, few, fit)
        return _look(greys, measured, best.half_way, best.contrast, reach)

    tried = {one.curve or LINEAR: one for one in looks}
    tried |= {power: look(power) for power in POWERS}
    powers = sorted(tried)
    misfits = [tried[power].misfit.overall for power in powers]
    first = max(min(int(np.argmin(misfits)) - 1, len(powers) - 3), 0)
    low, middle, high = powers[first : first + 3]
    hollow, slope, _ = np.polyfit([low, middle, high], misfits[first : first + 3], 2)
    if hollow <= 0:
        return looks
    found = look(min(max(float(-slope / (2 * hollow)), low), high))
    most = min(best.badness - CURVE_LESS, best.badness / CURVE_BETTER)
    return [found, *looks] if found.badness < most else looks


def _unsharpened(plain: list[Look], few: Crossings, coloured: bool, fit: Fit) -> list[list[Look]]:
    """Looks at the picture before its camera sharpened it, as it may have, the best last."""
    stored = next(look for look in plain if not look.greys.in_light)
    weights = stored.greys.weights
    # Cameras sharpen brightness, of which a difference of colours says nothing.
    if stored.profiles is None or (weights is not None and weights.min() < 0):
        return []
    undone = []
    for sharpening in find_sharpenings(stored.profiles, stored.greys.full_scale):
        greys = unsharpened(stored.greys, sharpening)
        looks = _looks(greys, few, coloured, fit, _reach(fit))
        if _blind(looks):
            continue
        undone.append([replace(look, sharpening=sharpening) for look in looks])
        if _explained(undone[-1]):
            break
    undone.sort(key=lambda looks: -looks[0].score)
    # A bevel may hide a halo from either misfit.
    return [
        looks
        for looks in undone
        if looks[0].score < plain[0].score or UNSHARPENED * _left(looks) < _left(plain)
    ]


def _left(looks: list[Look]) -> float:
    return min(look.handicap * look.misfit.by_facing for look in looks)


def _banded(plain: list[Look], reach: int, find: Finder) -> list[Look]:
    """The same looks, best first, with the bands or shadows that suit them best."""
    possible = [look for look in plain if look.badness < RULED_OUT * plain[0].badness]
    banded = [(_with_bevel(look, reach, find), look.badness) for look in possible]
    # Misfits in shares of the contrast say nothing where other colours are measured.
    alike = len({str(look.greys.weights) for look in possible}) == 1

    def badness(pair: tuple[Look, float]) -> float:
        """A narrow band can pass for a camera curve, so single edges have a say as well."""
        look, single = pair
        return single * (look.score if alike else look.handicap * look.misfit.overall)

    return [*(look for look, _ in sorted(banded, key=badness)), *plain[len(possible) :]]


def _with_bevel(look: Look, reach: int, find: Finder) -> Look:
    """The same look with the band or the shadow that suits it best."""
    profiles = _profiles(look.greys, look.measured, reach)
    if profiles is None:
        return look
    bevel, profiles = find(profiles)
    if 0 < bevel.width_px < PINNED * NARROWEST_PX:
        return look
    left = misfit(profiles, look.greys, bevel)
    return replace(look, profiles=profiles, misfit=left, bevel=bevel)


def _settled(crossings: Crossings, look: Look, fit: Fit, reach: int) -> Bevel | None:
    """The bevel of a look as more of the outline has it; None where it is not surely there."""
    blur = None if look.profiles is None else median(look.profiles.blur)
    fit = replace(fit, bevel=look.bevel, blur=blur, grained=False)
    profiles = _profiles(look.greys, sample_edge(look.greys, crossings, fit), reach)
    if profiles is None:
        return None
    bevel, gain, sure = settle_bevel(profiles, look.bevel)
    if sure < SURE or (gain < LEAST_GAIN and sure < SURE_OF_FAINT):
        return None
    if look.bevel.width_px:
        # A narrow band of one light all round is only another blur.
        resolved = bevel.width_px > RESOLVED_BLURS * median(profiles.blur)
        if bevel.width_px < PINNED * NARROWEST_PX or not (resolved or bevel.unlike > LEAST_UNLIKE):
            return None
    return bevel


def _stretches(samples: int, wanted: int) -> NDArray[np.int64]:
    """Long stretches spread round an outline, which tell camera and bevel as well as all of it."""
    index = np.arange(samples)
    every = ceil(samples / wanted)
    return np.asarray(index[(index // LOOK_STRETCH) % every == 0])


def _looks(greys: Greys, crossings: Crossings, coloured: bool, fit: Fit, reach: int) -> list[Look]:
    """One or two looks without a bevel, best first."""
    fit = replace(fit, grained=False)
    first = sample_edge(greys, crossings, fit)
    if not len(first.points):
        return [Look(greys, first, None, NOT_SEEN, 0.0, 1.0)]
    one = _look(greys, first, 0.0, first.contrast / greys.full_scale, reach)
    light = replace(greys, in_light=True)
    if not coloured and _explained([one]):
        other = _foreseen(one, light)
        if other.misfit.overall > CURVE_SURE * max(one.misfit.overall, CURVE_FITS):
            return [replace(one, half_way=other.half_way), other]
    fit = replace(fit, blur=median(first.points.blur))
    light, second = _clearest(light, crossings, coloured, fit, reach)
    apart = abs(_typical_place(second) - _typical_place(first))
    # A camera's colour picture is sRGB unless the edges speak clearly against it.
    handicap = COLOUR_IS_SRGB if coloured else 1.0
    looks = [
        replace(one, half_way=apart, handicap=handicap),
        _look(light, second, apart, one.contrast, reach),
    ]
    return sorted(looks, key=lambda look: look.badness)


def _foreseen(look: Look, greys: Greys) -> Look:
    """The look by another curve as it would be if this one were right: of edges, without them."""
    wrong = taken_wrongly(np.median(look.measured.levels, axis=1), greys)
    near = np.abs(wrong.distance) < STEP_BLURS
    square = float(np.mean(wrong.left[near] ** 2)) / look.misfit.error**2
    left = Misfit(1 + FOLLOWED * square, look.misfit.by_facing, look.misfit.error)
    return replace(look, greys=greys, misfit=left, half_way=abs(wrong.move))


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
    clearer = _roughness(mixed, other, reach) < CLEARER * _roughness(greys, measured, reach)
    return (mixed, other) if clearer else (greys, measured)


def _roughness(greys: Greys, measured: Samples, reach: int) -> float:
    profiles = _profiles(greys, measured, reach)
    return inf if profiles is None else roughness(profiles)


def _typical_place(measured: Samples) -> float:
    """How far out of the crossings' pixels the edge lies in the middle, in blurs."""
    return median(measured.place / measured.points.blur)


def _reach(fit: Fit) -> int:
    return int(np.clip(0.7 * fit.room_px, 5, LOOK_REACH_PX))


def _bevel_reach(fit: Fit) -> int:
    return int(np.clip(BEVEL_SHARE * fit.room_px, _reach(fit), LONGEST_ACROSS_BEVEL_PX))


def _look(greys: Greys, measured: Samples, half_way: float, contrast: float, reach: int) -> Look:
    """See how single steps fit."""
    profiles = _profiles(greys, measured, reach)
    left = NOT_SEEN if profiles is None else misfit(profiles, greys)
    return Look(greys, measured, profiles, left, half_way, contrast)


def _profiles(greys: Greys, measured: Samples, reach: int) -> Profiles | None:
    """Take longer profiles on smooth stretches of the outline; None where too few are seen."""
    normal = measured.points.normal
    turn = bend(normal, reach)
    # The stretches were cut out of the outline: normals are wrong where they meet.
    jump = np.abs(np.roll(measured.points.xy, -1, axis=0) - measured.points.xy).max(axis=1) > 3
    usable = measured.points.good & (running_mean(1.0 * jump, 2 * reach) == 0)
    # The blur of a bend is no matter of camera or bevel: on small teeth only the straighter half.
    straight = max(0.8, median(turn[usable])) if usable.any() else 0.8
    kept = np.flatnonzero(usable & (turn >= min(straight, 0.99)))
    if len(kept) < 200:
        kept = np.flatnonzero(usable)
    crossings = measured.crossings.take(kept)
    values, offsets, inside = profiles_across(greys, crossings, reach)
    kept = kept[inside]
    if len(kept) < 200 or measured.burnt > 0.5:
        return None
    points = measured.points.take(kept)
    cosine = np.abs(dot(points.normal, crossings.step.take(inside, axis=0)))
    return Profiles(
        values, offsets, cosine, points.normal, points.xy, measured.place[kept], points.blur,
        np.ones_like(values),
    )  # fmt: skip


def curve_doubt(best: Look, others: list[Look]) -> float:
    """Say what doubt about the camera curve does to the place of every edge.

    Parameters
    ----------
    best : Look
        The look that was believed.
    others : list of Look
        The others, best first.

    Returns
    -------
    float
        Standard uncertainty, in blurs: half of what lies between the curves where the picture
        does not tell, the less the better one explains the edges than the other.
    """
    if not others:
        return 0.5 * best.half_way
    return 0.5 * best.half_way * sqrt(best.badness / others[0].badness)
