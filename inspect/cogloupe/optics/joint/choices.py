"""Which explanation an outline calls for: curve of the camera, colours, and terms of the edges.

Terms are switched on one after the other, and only where the whole outline is explained better by
them: by enough for it to matter, and surely, in the standard errors that parts of the outline show.
What was nearly believed instead is kept: what it would have made of the edges is a doubt about
them (`choice_uncertainty`).
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cmp_to_key, reduce
from math import ceil

import numpy as np

from cogloupe.numerics.moving_average import dot, running_mean
from cogloupe.optics.joint.colours import other_mixture
from cogloupe.optics.joint.crossings import Crossings
from cogloupe.optics.joint.evidence import gain, lopsided, odds, unexplained, words
from cogloupe.optics.joint.explanation import Fit, Look, look
from cogloupe.optics.joint.first_places import FIRST_BLUR_PX, FirstPlaces, first_places
from cogloupe.optics.joint.forward_model import Kind, Shadow
from cogloupe.optics.joint.profiles import profiles_across
from cogloupe.optics.joint.shared_terms import Frame
from cogloupe.optics.joint.wide_greys import WideGreys
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.robust import median

SAMPLES = 2400
"""Samples that are enough to choose by."""
EXPLAINED = 0.0028
"""What plain edges may leave of averaged profiles, as a share of the contrast, without anything
else being looked for: behind it no edge moves by a hundredth of a pixel."""
LEAST_GAIN, SURE = 0.25, 4.0
"""Gain of a profile, in natural logarithms, and in its own standard errors, from which a term is
believed."""
HARDLY = 0.1
"""Gain of a profile up to which a term is left out again."""
CURVES, COLOUR_IS_SRGB = (0.0, 1.0), 2.0
"""Exponents of the light of the sRGB curve, 0 for values in proportion to light; and the factor by
which that curve may fit a colour picture worse and still be believed."""
CURVE_FITS, CURVE_BETTER = 6.0, 0.25
"""What an averaged edge may leave, in its errors, and fit; and the share of what a usual curve
leaves that another must bring it down to."""
LINEAR, POWERS = 0.45, (0.6, 0.8, 1.2)
"""Exponents of the sRGB curve's light that are tried for other cameras, and the one that makes it
about linear."""
NARROW_BLURS, NARROW_SHIFTS = (1.4, 2.6), (0.0, 0.6, 1.0)
"""Widths of a band that are begun with, in blurs, and how far out of the single edge, in widths."""
WIDE_PX, SHARPER = (2.4, 3.4, 4.6, 6.2, 8.4), (1.0, 0.5, 0.3)
"""Widths of a band that are looked for in single profiles; and blurs, as shares of the single
edge's, which takes a band for more blur."""
CARRIED_ON, SAME_PX = 4, 0.2
"""Beginnings of a band that are carried on to the end; and how far apart their edges lie on the
mean where they are not one and the same."""
APART_BLURS = 1.8
"""Width in blurs from which a band's two edges are told apart in single profiles."""
WIDEST_TRIED = 2
"""Wide bands that are begun with, of those looked for in single profiles."""
PLATEAU_PX, SLANT = 6.0, 1.42
"""How far beyond the places that come into question profiles are looked at, and how much less far
those that run aslant reach along the normal."""
LIKE_SIDE, LIKE_BLUR, RESOLVED_BLURS = 0.08, 0.3, 1.5
"""How much the light of a band differs from that of the face beside it, and of the ground, in the
usual difference of both, where it is neither of them; how far beyond both, or unlike from side to
side, that of a narrow one must be not to be only blur; and the width up to which it is narrow."""
SHARPEST_PX = 0.7
"""Blur below which none is tried with a wide band: a lens and a pixel's own width hardly leave less
(our own judgement)."""
FAINTEST = 0.03
"""Share of the ground's light that a shadow takes at least."""
FIRST_SHADOW = Shadow(shade=0.2, fall=(0.0, 0.0), soft_px=4.0)
"""Shadow that a fit begins with: of middling light, and falling nowhere yet."""
DEEP_FALLS_PX, DEEP_SOFT_PX, DEEPEST = (3.0, 5.0, 8.0), 1.0, 0.9
"""How far a shadow that was taken for a band falls, how soft its border is, and most of the light
that it takes, where its fit begins."""
VOTERS, BETTER = 9, 0.3
"""Neighbours that choose between two places, and the gain of a profile from which they do."""
AGREE_PX, AGREE_SHARE, CAP_PX = 0.5, 0.8, 3.0
"""Two mixtures of colours agree where this share of their edges lie so near to one another; and how
far apart an edge of theirs counts."""
CLEARER, UNCLEAR_PX, COLOURS_ODDS = 0.7, 0.5, 0.25
"""Uncertainty, in that of brightness, from which another mixture is believed that agrees with it;
the one, px, up to which one that does not; and the chance that the other one was right."""
STRAY_PX, TURNS, RIDGE = 1.2, 20, 1e-3
"""How far flanks stray from where all say, standard deviation; turns of asking them, and what keeps
terms that nothing tells at none."""
EDGES, EDGE_CHANCES, ASTRAY = (0.0, -1.0, 1.0), (0.6, 0.2, 0.2), 0.007
"""Edges that a step may have been taken for, in widths of the band, and their chances; and that of
anything else."""
FURTHER_OUT = (0.5, 0.0)
"""How far out of where all say together asking begins, in widths of the band."""


@dataclass(frozen=True)
class Other:
    """What might be right instead.

    Attributes
    ----------
    source : str
        What was chosen between: ``curve``, ``bevel``, ``shadow`` or ``colours``.
    odds : float
        Chance that it is right.
    """

    source: str
    look: Look
    odds: float


@dataclass(frozen=True)
class Choice:
    """The explanation chosen, of one in so many samples, and what might be right instead."""

    best: Look
    others: tuple[Other, ...]


@dataclass(frozen=True)
class Predicted:
    """A predicted outline: its crossings, and how far off it the edge may lie, px."""

    crossings: Crossings
    reach_px: float

    def near(
        self,
        greys: WideGreys,
        width_px: float = 0.0,
        blur_px: float = FIRST_BLUR_PX,
        widest_px: float | None = None,
    ) -> FirstPlaces:
        """Find the edge within reach; see `first_places`. Costs of one widest band compare."""
        far = self.reach_px + (width_px if widest_px is None else widest_px) + PLATEAU_PX
        profiles = profiles_across(greys, self.crossings, ceil(SLANT * far))
        return first_places(profiles, self.reach_px, far, width_px, blur_px)

    def off(self, crossings: Crossings) -> Floats:
        """How far out of the prediction crossings of the same rows lie, px along the normals."""
        moved = crossings.moved() - self.crossings.moved()
        return np.asarray((moved * self.crossings.normal).sum(axis=1))


def thinned(samples: int) -> int:
    """One in how many samples of an outline is enough to choose by."""
    return max(1, ceil(samples / SAMPLES))


def choose(fit: Fit, predicted: Predicted, coloured: bool) -> Choice:
    """Choose how the edges of an outline are explained.

    Parameters
    ----------
    fit : Fit
        Brightness, to begin with.
    predicted : Predicted
        One in so many samples of the predicted outline.
    coloured : bool
        The picture has colours, so that others than brightness may be measured.
    """
    start = predicted.crossings.recentred(predicted.near(fit.greys).out)
    plain = _by_curve([look(with_curve(fit, curve), start) for curve in CURVES])
    if unexplained(plain[0]) < EXPLAINED:
        best = _any_curve(plain)
        return Choice(best, (_other_curve(best, plain[best is plain[0]]),))
    usual = [1.0] if coloured else CURVES
    local = replace(plain[0].fit, local=True, kind=Kind(powers=(1, 1)))
    base = _by_curve([look(with_curve(local, c), plain[0].crossings) for c in usual])[0]
    hued = _in_colours(base, predicted) if coloured else None
    chosen = _with_terms(_again(base), predicted, hued)
    best = chosen.best
    others = [*chosen.others]
    other = CURVES[0] if best.fit.greys.curve else CURVES[1]
    best, worse = _by_curve([best, look(with_curve(best.fit, other), best.crossings, free=True)])
    others.append(_other_curve(best, worse))
    if hued is not None:
        best, worse = _clearer(best, hued)
        if best is hued:
            others = []  # ties between explanations of brightness do not move edges of colour
        others.append(Other("colours", worse, COLOURS_ODDS))
    return Choice(best, tuple(others))


def with_curve(fit: Fit, curve: float) -> Fit:
    """Fit light as another camera's curve has it."""
    return replace(fit, greys=fit.greys.by_curve(curve))


def _by_curve(looks: Iterable[Look]) -> list[Look]:
    """Looks by several curves, best first."""
    return sorted(looks, key=_penalty)


def _penalty(found: Look) -> float:
    """How badly a curve fits: a camera's colour picture is sRGB unless another leaves nothing."""
    if not found.sound:
        return np.inf
    left = lopsided(found)
    if found.fit.greys.weights is None or found.fit.greys.curve == 1.0:
        return left
    return max(COLOUR_IS_SRGB * left, CURVE_FITS) if left < CURVE_FITS else np.inf


def _any_curve(looks: list[Look]) -> Look:
    """The best of looks by the usual curves, or one between where neither fits and it does."""
    best = looks[0]
    if _penalty(best) < CURVE_FITS:
        return best
    tried = {one.fit.greys.curve or LINEAR: one for one in looks}
    tried |= {power: look(with_curve(best.fit, power), best.crossings) for power in POWERS}
    powers = sorted(tried)
    left = [lopsided(tried[power]) for power in powers]
    first = max(min(int(np.argmin(left)) - 1, len(powers) - 3), 0)
    low, middle, high = powers[first : first + 3]
    hollow, slope, _ = np.polyfit([low, middle, high], left[first : first + 3], 2)
    if hollow <= 0:
        return best
    power = min(max(float(-slope / (2 * hollow)), low), high)
    found = look(with_curve(best.fit, power), best.crossings)
    fits = lopsided(found) < min(CURVE_FITS, CURVE_BETTER * _penalty(best))
    return found if fits else best


def _other_curve(best: Look, other: Look) -> Other:
    left, worse = _penalty(best), _penalty(other)
    return Other("curve", other, left / (left + worse) if np.isfinite(worse) else 0.0)


def _best(looks: list[Look]) -> Look:
    """The look that explains most profiles best."""
    return reduce(lambda one, two: two if gain(one, two)[0] > 0 else one, looks)


def _again(found: Look) -> Look:
    """The look about the edges that it found, where those that a start was far off from settle."""
    return look(found.fit, found.crossings)


def _best_first(one: Look, two: Look) -> int:
    return 1 if gain(one, two)[0] > 0 else -1


def _in_colours(base: Look, predicted: Predicted) -> Look | None:
    """The outline in a mixture of colours in which the gear vanishes, where there is one."""
    weights = other_mixture(base)
    if weights is None:
        return None
    greys = replace(base.fit.greys.by_curve(1.0), weights=weights)
    start = predicted.crossings.recentred(predicted.near(greys).out)
    found = look(replace(base.fit, greys=greys), start)
    return _again(found) if found.sound else None


def _clearer(bright: Look, hued: Look) -> tuple[Look, Look]:
    """Brightness and another mixture, the one to be believed first.

    Where they agree, or brightness shows a bevel as well, the one that knows its edges better;
    where not, the outer edges: a bevel is of the gear's colour. Where they only differ in a shadow
    that brightness shows, the other one takes it for the gear.
    """
    apart, shadow = hued.off(bright), bright.fit.kind.shadow
    lit = bright.crossings.normal @ (shadow.fall if shadow else (0.0, 0.0)) <= 0
    agree, agree_in_light = (
        np.quantile(np.abs(part), AGREE_SHARE) < AGREE_PX for part in (apart, apart[lit])
    )
    clear = median(hued.placed.u)
    if agree or bright.fit.kind.banded:
        return (hued, bright) if clear < CLEARER * median(bright.placed.u) else (bright, hued)
    outer = float(np.mean(np.clip(apart[lit], -CAP_PX, CAP_PX))) > 0 and clear < UNCLEAR_PX
    return (hued, bright) if outer and not agree_in_light else (bright, hued)


def _with_terms(base: Look, predicted: Predicted, hued: Look | None) -> Choice:
    """The look with a band, and with a shadow, as far as they pay."""
    banded = [one for one in _banded(base, predicted, hued) if one.sound]
    single = _best([base, *(one for one in banded if not _sensible(one))])
    bands = [one for one in banded if _sensible(one)]
    first = _best(bands) if bands else base
    if gain(base, first)[0] > 0:  # what its flanks make of it is what is to be believed
        bands = [_agreed(first, predicted), *(one for one in bands if one is not first)]
    best = _better(base, [single, *bands[:1]])
    tried = [("bevel", one) for one in bands if one is not best]
    agreed = _agreed(base, predicted) if best is base else best
    shaded = _better(agreed, [_shaded(agreed)])
    if best is not base:
        shaded = _better(shaded, [_shaded(base)])
    if shaded is not agreed:
        tried.append(("shadow", agreed))
    deep = _deep_shadow(shaded)
    if deep is not None:
        return Choice(deep.look, (replace(deep, source="bevel", look=shaded),))
    best = _simpler(shaded)
    told = best if best.fit.kind.banded else _best([best, single])
    others = [Other(source, one, odds(gain(one, told)[1])) for source, one in tried if one.sound]
    if best.fit.kind.banded:
        others.append(Other("bevel", base, odds(gain(single, best)[1])))
    return Choice(best, tuple(others))


def _simpler(best: Look) -> Look:
    """The look without slopes of light across the edges, where they hardly help."""
    fit = replace(best.fit, kind=replace(best.fit.kind, powers=(0, 0)))
    even = look(fit, best.crossings, free=True)
    return even if even.sound and gain(best, even)[0] > -HARDLY else best


def _better(best: Look, tried: Iterable[Look]) -> Look:
    """The best of what was tried, where it is surely better by enough, and makes sense.

    A band that is no other than the face or the ground beside it says that there is one edge: what
    explains less than it is only more freedom for their light.
    """
    sound = [one for one in tried if one.sound]
    if not sound:
        return best
    found = _best(sound)
    more, sure = gain(best, found)
    return found if more > LEAST_GAIN and sure > SURE and _sensible(found) else best


def _sensible(found: Look) -> bool:
    """Whether a band is neither the face nor more blur, and a shadow is one."""
    kind = found.fit.kind
    if kind.shadow is not None and kind.shadow.shade < FAINTEST:
        return False
    if not kind.banded:
        return True
    rise = np.copysign(median(np.abs(found.rise)), median(found.rise))
    light = found.state.levels[-1]
    inner, outer = (found.smooth(light - side) / rise for side in found.sides)
    if kind.width_px > RESOLVED_BLURS * median(found.blur):
        return min(float(np.mean(side**2)) for side in (inner, outer)) > LIKE_SIDE**2
    return max(-float(np.mean(inner)), float(np.mean(outer)), float(np.std(inner))) > LIKE_BLUR


def _banded(base: Look, predicted: Predicted, hued: Look | None) -> Iterator[Look]:
    """Looks with a band along the edges: the width free, from several starts."""
    begun = [
        look(fit, start, rounds=1, free=True) for fit, start in _band_starts(base, predicted, hued)
    ]
    begun = sorted((one for one in begun if one.sound), key=cmp_to_key(_best_first))
    for one in _unlike(begun)[:CARRIED_ON]:
        yield look(one.fit, one.crossings, free=True)


def _unlike(looks: list[Look]) -> list[Look]:
    """Those of looks that see the edges elsewhere than any before them."""
    kept: list[Look] = []
    for one in looks:
        if all(float(np.mean(np.abs(one.off(other)))) > SAME_PX for other in kept):
            kept.append(one)
    return kept


def _with_band(fit: Fit, width: float, blur: float) -> Fit:
    spread = fit.spread * (blur / float(fit.spread[0]))
    return replace(fit, spread=spread, kind=replace(fit.kind, width_px=width))


def _band_starts(
    base: Look, predicted: Predicted, hued: Look | None
) -> Iterator[tuple[Fit, Crossings]]:
    """Bands to begin with: the single edge may be either of two, or now one, now the other.

    A wide band shows for what it is in single profiles; a narrow one takes all of them together.
    """
    blur = median(base.blur)
    for width in NARROW_BLURS:
        fit = _with_band(base.fit, width * blur, blur)
        for shift in NARROW_SHIFTS:
            yield fit, base.crossings.recentred(shift * width * blur)
        if hued is not None:
            yield fit, hued.crossings
    sharper = [share * blur for share in SHARPER if share * blur > SHARPEST_PX]
    pairs = [
        (width, sharp) for width in WIDE_PX for sharp in sharper if width > APART_BLURS * sharp
    ]
    first = [predicted.near(base.fit.greys, *pair, max(WIDE_PX)) for pair in pairs]
    for index in np.argsort([found.cost for found in first])[:WIDEST_TRIED]:
        width, sharp = pairs[index]
        yield _with_band(base.fit, width, sharp), predicted.crossings.recentred(first[index].out)


def _agreed(best: Look, predicted: Predicted) -> Look:
    """A banded look whose flanks were all tried where most of them say that the outline is.

    A step beside a band can be taken for either of its edges, and so can a whole side of the gear:
    where most of them lie is asked from further out as well.
    """
    again = _again(best)
    for further in sorted({share * best.fit.kind.width_px for share in FURTHER_OUT}, reverse=True):
        start = _voted(best, predicted, further)
        anew = look(best.fit, predicted.crossings.recentred(start))
        if anew.sound:
            merged = _either(anew, again, predicted)
            best = merged if merged.sound and gain(best, merged)[0] > 0 else best
    return best


def _either(one: Look, two: Look, predicted: Predicted) -> Look:
    """The first of two looks, and the second where it is surely the better one."""
    said = [running_mean(word[None], VOTERS)[0] for word in words(one, two)]
    places = [predicted.off(each.crossings) for each in (one, two)]
    out = np.where(said[1] < said[0] - BETTER, places[1], places[0])
    return look(one.fit, predicted.crossings.recentred(out), free=True)


def _voted(best: Look, predicted: Predicted, further_px: float) -> Floats:
    """Where a band's outline lies by what most samples say, each at either edge of it or astray.

    A mixture of normal distributions, from a start that lies further out than all say together.
    """
    off = predicted.off(best.crossings)
    terms = _as_laid(predicted.crossings, best.fit.frame)
    found = np.linalg.lstsq(terms, off, rcond=None)[0]
    found[0] += further_px
    edges = best.fit.kind.width_px * np.array(EDGES)[:, None]
    for _ in range(TURNS):
        rest = (off - terms @ found - edges) / STRAY_PX
        chance = np.array(EDGE_CHANCES)[:, None] * np.exp(-(rest**2) / 2)
        chance /= chance.sum(axis=0) + ASTRAY
        weight = chance.sum(axis=0)
        wish = weight * off - (chance * edges).sum(axis=0)
        normal = terms.T @ (terms * weight[:, None])
        found = np.linalg.solve(normal + RIDGE * np.eye(len(found)), terms.T @ wish)
    return np.asarray(terms @ found)


def _as_laid(crossings: Crossings, frame: Frame) -> Floats:
    """Ways in which a whole outline may be laid wrongly: wider, moved, turned, seen aslant."""
    normal = crossings.normal
    place = (crossings.moved() - frame.centre) / frame.reach
    outwards = dot(normal, place)[:, None] * place
    stretched = (normal[:, :, None] * place[:, None]).reshape(len(normal), -1)
    return np.concatenate([np.ones((len(normal), 1)), normal, stretched, outwards], axis=1)


def _deep_shadow(banded: Look) -> Other | None:
    """A shadow in place of a band, where it explains a gear darker than the ground better.

    A deep shadow has two edges as a band has, but it is nowhere brighter than the ground, and it
    falls one way; where it does, the outline is the inner one. Both are compared without slopes of
    light across the edges, which a narrow band lets stand for anything. The odds are the band's.
    """
    kind, (_, ground) = banded.fit.kind, banded.sides
    if not kind.banded or kind.shadow is not None or median(banded.rise) <= 0:
        return None
    lost = banded.smooth(ground - banded.state.levels[-1]) / median(banded.rise)
    if np.mean(np.minimum(lost, 0) ** 2) > LIKE_SIDE**2 or lost.max() <= 0:
        return None
    shade = float(np.clip(lost.max() * median(banded.rise) / median(ground), FAINTEST, DEEPEST))
    normal = banded.crossings.normal
    way = normal.T @ np.maximum(lost, 0)
    begun = []
    for length in DEEP_FALLS_PX:
        fall = length * way / np.hypot(*way)
        shadow = Shadow(shade=shade, fall=(fall[0], fall[1]), soft_px=DEEP_SOFT_PX)
        start = banded.crossings.recentred(-np.maximum(kind.width_px, normal @ fall))
        begun.append(look(_even(banded.fit, shadow), start, rounds=1, free=True))
    sound = [one for one in begun if one.sound]
    if not sound:
        return None
    best = _best(sound)
    found = look(best.fit, best.crossings, free=True)
    even = look(_even(banded.fit), banded.crossings, free=True)
    more, sure = gain(even, found)
    return Other("shadow", found, odds(sure)) if more > LEAST_GAIN and _sensible(found) else None


def _even(fit: Fit, shadow: Shadow | None = None) -> Fit:
    """A fit without slopes of light across the edges, and with a shadow in place of a band."""
    kind = Kind(width_px=fit.kind.width_px) if shadow is None else Kind(shadow=shadow)
    return replace(fit, kind=kind)


def _shaded(best: Look) -> Look:
    fit = replace(best.fit, kind=replace(best.fit.kind, shadow=FIRST_SHADOW))
    return look(fit, best.crossings, free=True)
