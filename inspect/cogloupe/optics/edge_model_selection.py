"""Which camera curve, sharpening, bevel and shadow explain the edges of a picture best."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from math import ceil

import numpy as np
from numpy.typing import NDArray

from cogloupe.optics.bevel import NARROWEST_PX, Bevel, Profiles
from cogloupe.optics.bevel_fit import (
    find_bevel,
    find_shadow,
    like_ground,
    settle_bevel,
    shadow_without_band,
)
from cogloupe.optics.contour_following import Crossings
from cogloupe.optics.greys import Greys
from cogloupe.optics.misfit import misfit
from cogloupe.optics.response_selection import (
    CURVE_BETTER,
    UNSHARPENED,
    EdgeModel,
    blind,
    explained,
    left_by_facing,
    long_profiles,
    profile_reach,
    response_candidates,
    with_any_curve,
)
from cogloupe.optics.sampling import LONGEST_ACROSS_BEVEL_PX, Fit, sample_edge
from cogloupe.optics.sharpening import find_sharpenings, unsharpened
from cogloupe_calibration.robust import median

Finder = Callable[[EdgeModel, int], EdgeModel]

BEVEL_SHARE = 0.2
"""How far profiles reach where a bevel is looked for, as a share of the module (a tenth of one is a
wide bevel, common practice, no source)."""
RESPONSE_SAMPLES, BEVEL_SAMPLES = 3000, 9000
"""Samples that are enough to tell the camera curve, and a bevel, in stretches of
`SAMPLE_STRETCH`."""
SAMPLE_STRETCH = 240
"""Neighbouring samples that are kept together: levels, marks and bends are told by neighbours over
far less, and the stretches still come from all round the gear (our own judgement)."""
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
HOPELESS = 4.0
"""Factor by which a sharpening with a band must leave more than a band does by itself for the other
camera curve, and a sharpening much like it, not to be tried (our own judgement)."""
RESOLVED_BLURS, LEAST_UNLIKE = 1.5, 0.15
"""Width from which a band shows for what it is; a narrower one must be as unlike itself from side
to side, in differences of face and ground, to be told from blur."""
LIKE_FACE = 0.15
"""Light of a band, and its change from side to side, up to which it may be the face itself beside a
shadow."""
PINNED = 1.03
"""A band within this factor of the narrowest that is looked for was not found."""


def select_edge_model(
    greys: Greys, crossings: Crossings, coloured: bool, fit: Fit
) -> list[EdgeModel]:
    """Look at an outline as each camera that may be behind the picture, and for a bevel or shadow.

    Light is stored in proportion, by the sRGB curve, or by one like it; and stored values may have
    been sharpened.

    Best first; the first with a bevel or a shadow where there is one.

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
    """
    few = crossings.take(_stretches(len(crossings.step), RESPONSE_SAMPLES))
    plain = response_candidates(greys, few, coloured, fit)
    if blind(plain):
        return plain
    if explained(plain):
        return _curve_or_sharpening(plain, few, coloured, fit)
    undone = _unsharpened(plain, few, coloured, fit)
    likeliest = undone[-1] if undone else plain
    sharpening = likeliest[0].sharpening
    # What clipping leaves of a halo is not to be told from a band.
    if explained(likeliest) or (sharpening and sharpening.clipped):
        return likeliest
    reach = _bevel_reach(fit)
    single, banded = min(_versions(plain, undone, reach), key=lambda models: models[1][0].score)
    many = crossings.take(_stretches(len(crossings.step), BEVEL_SAMPLES))
    believed = _believed(banded, single, many, fit, reach)
    if believed is None:
        best, *others = banded
        bare = _bare(best)
        believed = _believed([bare, *others], single, many, fit, reach) if bare else None
    if believed is None:
        shaded = _banded(single, profile_reach(fit), _with_shadow)
        believed = _believed(shaded, single, many, fit, profile_reach(fit))
    return believed or _by_bands(single, banded)


def _curve_or_sharpening(
    plain: list[EdgeModel], few: Crossings, coloured: bool, fit: Fit
) -> list[EdgeModel]:
    """Single edges by a curve of their own or unsharpened, where no usual curve fits."""
    curved = with_any_curve(plain, few, fit)
    if curved[0] is plain[0]:
        return plain
    undone = _unsharpened(plain, few, coloured, fit)
    # Cameras that sharpen are commoner than those of an odd curve.
    sharp = bool(undone) and undone[-1][0].penalty < CURVE_BETTER * curved[0].penalty
    return undone[-1] if sharp else curved


def _by_bands(single: list[EdgeModel], banded: list[EdgeModel]) -> list[EdgeModel]:
    """Single edges in the order of the bands, where they do not themselves tell the curve."""
    curves = [model.curve for model in banded]
    open_to = [model for model in single if model.penalty < UNDECIDED * single[0].penalty]
    open_to.sort(key=lambda model: curves.index(model.curve))
    return [*open_to, *single[len(open_to) :]]


def _believed(
    banded: list[EdgeModel], single: list[EdgeModel], many: Crossings, fit: Fit, reach: int
) -> list[EdgeModel] | None:
    """Looks with the band or the shadow as more of the outline confirms it; None where not."""
    best, *others = banded
    bevel = _settled(many, best, fit, reach) if _worth(best, single) else None
    return None if bevel is None else [replace(best, bevel=bevel), *others]


def _worth(banded: EdgeModel, single: list[EdgeModel]) -> bool:
    """Whether a band or a shadow explains enough to be looked into."""
    bevel = banded.bevel
    if not bevel.seen or like_ground(bevel, not banded.greys.mixed):
        return False
    clearly = BAND_BETTER**2 * banded.score < min(model.score for model in single)
    return clearly or BAND_BETTER * banded.penalty < left_by_facing(single)


def _unsharpened(
    plain: list[EdgeModel], few: Crossings, coloured: bool, fit: Fit
) -> list[list[EdgeModel]]:
    """Looks at the picture before its camera sharpened it, as it may have, the best last."""
    stored = next(model for model in plain if not model.greys.in_light)
    weights = stored.greys.weights
    # Cameras sharpen brightness, of which a difference of colours says nothing.
    if stored.profiles is None or (weights is not None and weights.min() < 0):
        return []
    undone = []
    for sharpening in find_sharpenings(stored.profiles, stored.greys.full_scale):
        greys = unsharpened(stored.greys, sharpening)
        models = response_candidates(greys, few, coloured, fit)
        if blind(models):
            continue
        undone.append([replace(model, sharpening=sharpening) for model in models])
        if explained(undone[-1]):
            break
    undone.sort(key=lambda models: -models[0].score)
    # A bevel may hide a halo from either misfit.
    return [
        models
        for models in undone
        if models[0].score < plain[0].score
        or UNSHARPENED * left_by_facing(models) < left_by_facing(plain)
    ]


def _versions(
    plain: list[EdgeModel], undone: list[list[EdgeModel]], reach: int
) -> Iterator[tuple[list[EdgeModel], list[EdgeModel]]]:
    """Single edges, and the same with bands, as stored and with sharpenings undone, the best last.

    Where the likeliest sharpening is hopeless by its likeliest curve, no other is tried.
    """
    stored = _banded(plain, reach, _with_band)
    yield plain, stored
    for models in reversed(undone):
        first = _with_band(models[0], reach)
        if first.score > HOPELESS * stored[0].score:
            return
        yield models, _banded(models, reach, _with_band, first)


def _banded(
    plain: list[EdgeModel], reach: int, find: Finder, first: EdgeModel | None = None
) -> list[EdgeModel]:
    """The same models, best first, with the bands or shadows that suit them best.

    The first one's may be known.
    """
    best, *others = plain
    possible = [model for model in others if model.penalty < RULED_OUT * best.penalty]
    banded = [(first or find(best, reach), best.penalty)]
    banded += [(find(model, reach), model.penalty) for model in possible]
    # A narrow band can pass for a camera curve, so single edges have a say as well.
    banded.sort(key=lambda pair: pair[0].score * pair[1])
    return [*(model for model, _ in banded), *others[len(possible) :]]


def _with_band(model: EdgeModel, reach: int) -> EdgeModel:
    """The model with the band that suits it best, or a shadow alone where that does as well."""
    profiles = long_profiles(model.greys, model.measured, reach)
    if profiles is None:
        return model
    banded = _judged(model, *find_bevel(profiles, not model.greys.mixed))
    # A band that ends as narrow as may be was not found.
    found = banded if banded.bevel.width_px > PINNED * NARROWEST_PX else model
    bare = _bare(banded)
    return found if bare is None or BAND_BETTER * found.score < bare.score else bare


def _bare(banded: EdgeModel) -> EdgeModel | None:
    """The same model with a shadow and no band, where that may be the face itself."""
    bevel, profiles = banded.bevel, banded.profiles
    like_face = max(abs(bevel.share[0]), bevel.unlike) < LIKE_FACE
    if profiles is None or not (like_face and bevel.width_px > 0 and bevel.shade > 0):
        return None
    return _judged(banded, *shadow_without_band(profiles, bevel))


def _with_shadow(model: EdgeModel, reach: int) -> EdgeModel:
    """The same model with the shadow that suits it best."""
    profiles = long_profiles(model.greys, model.measured, reach)
    return model if profiles is None else _judged(model, *find_shadow(profiles))


def _judged(model: EdgeModel, bevel: Bevel, profiles: Profiles) -> EdgeModel:
    left = misfit(profiles, model.greys, bevel)
    return replace(model, profiles=profiles, misfit=left, bevel=bevel)


def _settled(crossings: Crossings, model: EdgeModel, fit: Fit, reach: int) -> Bevel | None:
    """The bevel of a model as more of the outline has it; None where it is not surely there."""
    blur = None if model.profiles is None else median(model.profiles.blur)
    fit = replace(fit, bevel=model.bevel, blur=blur, grained=False)
    profiles = long_profiles(model.greys, sample_edge(model.greys, crossings, fit), reach)
    if profiles is None:
        return None
    bevel, gain, sure = settle_bevel(profiles, model.bevel)
    if sure < SURE or (gain < LEAST_GAIN and sure < SURE_OF_FAINT):
        return None
    if model.bevel.width_px:
        # A narrow band of one light all round is only another blur.
        resolved = bevel.width_px > RESOLVED_BLURS * median(profiles.blur)
        if bevel.width_px < PINNED * NARROWEST_PX or not (resolved or bevel.unlike > LEAST_UNLIKE):
            return None
    return bevel


def _stretches(samples: int, wanted: int) -> NDArray[np.int64]:
    """Long stretches spread round an outline, which tell camera and bevel as well as all of it."""
    index = np.arange(samples)
    every = ceil(samples / wanted)
    return np.asarray(index[(index // SAMPLE_STRETCH) % every == 0])


def _bevel_reach(fit: Fit) -> int:
    return int(np.clip(BEVEL_SHARE * fit.room_px, profile_reach(fit), LONGEST_ACROSS_BEVEL_PX))
