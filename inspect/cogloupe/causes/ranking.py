"""Ranks causes by how well the shapes they leave explain a reading.

Each cause offers families of shapes: columns over the vector of `observed_pattern.Observed`, with
unknown sizes, and the scatter that may come on top. The evidence for a family is the likelihood of
the reading averaged over the sizes, positions and scatter it allows, so a cause that could have
left anything is worth less than one that left just this. "No cause" is ranked among them.

The prior of sizes is Zellner's g-prior: before the reading, a size is taken to be some sqrt(g)
times its own standard uncertainty, whatever its unit. Then, for p sizes that lower chi-square by
D, the likelihood ratio against no shape is ``(1 + g)^(-p/2) exp(g / (1 + g) D / 2)`` (A. Zellner
1986, from memory). Offsets that a reading leaves open are taken out by restricted likelihood
(REML). A shape of which little is left once they are taken out tells nothing, and is not tried.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import erfc, exp, pi, sqrt

import numpy as np

from cogloupe.causes.model import Background, Family, Field, Scatter
from cogloupe_calibration.arrays import Bools, Floats, Ints

SIZE_PRIOR = 50.0
"""g of the g-prior: sizes up to some seven standard uncertainties are expected."""
NOISE_DOUBT, NOISE_DOUBTED = 0.6, 0.3
"""How much more each flank may err than a reading states, in its own terms and put under the root,
and the prior of that: a sixth more was met on simulated pictures."""
QUIET = 0.85
"""Prior of a pattern without scatter on top that shows; the rest is for two faults at once (common
practice, no source)."""
USUAL_SCATTER: tuple[Scatter, ...] = ("gap", "mixed", "flank")
"""Scatter that may come with any pattern."""
LEAST_TOLD = 0.01
"""Least share of a shape's weight that must be left beside what a reading leaves open."""
ALIKE = 1e-3
"""Two columns of a shape that are alike but for this share of their squares cannot both
be sized."""
COVERAGE = 2.0
"""Standard uncertainties by which a size may lie beyond its reach (k = 2)."""
TRIED_ALL, FOLLOWED = 200, 40
"""A family of more members is looked through on few backgrounds first, and so many of its members
are followed up on all."""


@dataclass(frozen=True, kw_only=True)
class Fit:
    """The best member of a family.

    Attributes
    ----------
    size : ndarray, shape (p,)
        Fitted sizes.
    u : ndarray, shape (p,)
        Their standard uncertainties, with what other members and scatters would have given.
    scatter, u_scatter : float
        Standard deviation of the scatter, µm, and its standard uncertainty.
    kind : str
        Kind of that scatter.
    shape : ndarray, shape (2 z + 10,)
        What the cause would leave at these sizes.
    gain : float
        By how much what tells the cause lowers chi-square (minus twice the log likelihood, for a
        scatter) against no such cause.
    """

    family: Family
    member: int
    size: Floats
    u: Floats
    scatter: float
    u_scatter: float
    kind: Scatter
    shape: Floats
    gain: float

    @property
    def telling(self) -> int:
        """Number of sizes that tell the cause; a scatter counts as one."""
        return max(len(self.size) - self.family.companions, 1)


def evidence(
    place: Field, families: Sequence[Family], rough: bool = False
) -> tuple[float, Callable[[], Fit]]:
    """Log of the averaged likelihood of a cause's families, and their best fit.

    Parameters
    ----------
    families : sequence of Family
        At least one.
    rough : bool
        Hold shapes against a few scatters only, to see which causes are worth more.

    Returns
    -------
    float
    callable
        Works the fit out.
    """
    total = float(np.log(sum(family.weight for family in families)))
    logs, found = [], []
    for family in families:
        log, fit = _family_evidence(place, family, rough)
        logs.append(log + np.log(family.weight) - total)
        found.append(fit)
    return log_sum(np.array(logs)), found[int(np.argmax(logs))]


def log_sum(logs: Floats) -> float:
    """Logarithm of the sum of what has these logarithms; that of nothing is minus infinity."""
    most = float(logs.max(initial=-np.inf))
    return most + float(np.log(np.exp(logs - most).sum())) if np.isfinite(most) else most


def by_chance(gain: float, sizes: int, members: int) -> float:
    """Chance that noise alone gives some member of a family such a gain, or a larger one.

    Parameters
    ----------
    gain : float
        Of chi-square.
    sizes : int
        Fitted sizes, of one to three; a scatter counts as one.
    members : int
        Looked through; each is counted as if it were another throw (Bonferroni), so that the true
        chance is no larger.
    """
    half = max(gain, 0.0) / 2
    if sizes >= 3:
        beyond = erfc(sqrt(half)) + 2 * sqrt(half / pi) * exp(-half)
    else:
        beyond = exp(-half) if sizes == 2 else erfc(sqrt(half))
    return min(members * beyond, 1.0)


def _family_evidence(place: Field, family: Family, rough: bool) -> tuple[float, Callable[[], Fit]]:
    """Evidence of a family; its best fit is worked out only when asked for."""
    options = _backgrounds(place, family, rough)
    tried = place.once(family, _tried)
    if not len(tried):
        return -np.inf, lambda: _none_of(place, family)
    few = replace(family, plus=family.plus[tried], minus=family.minus[tried])
    backs = [back for back, _ in options]
    before = np.array([back.base + weight for back, weight in options])
    table = before[:, None] + _on_each(backs, few).log.reshape(len(backs), -1)
    log = log_sum(table.ravel()) - float(np.log(max(len(family.plus), family.stands_for)))
    return log, lambda: _best(place, family, tried, backs, table)


def _tried(place: Field, family: Family) -> Ints:
    """Members worth to be held against all backgrounds: those that can be told at all.

    Of very many the likeliest, with and without a scatter as large as neighbours differ by.
    """
    quiet = place.background("none", 0.0)
    told = _told(quiet, family)
    if len(told) <= TRIED_ALL:
        return np.flatnonzero(told)
    best = np.zeros(len(told), bool)
    for back in (quiet, *_usual(place)):
        log = np.where(told, _members(back, family).log, -np.inf)
        best[np.argpartition(log, -FOLLOWED)[-FOLLOWED:]] = True
    return np.flatnonzero(best & told)


def _usual(place: Field) -> tuple[Background, ...]:
    """Scatters that stand for the usual ones: as neighbours differ, and what fits best."""
    if place.rough is not None:
        return ()
    local = place.steps[np.argmin(np.abs(place.steps - place.local_scatter))]
    every = [place.background(kind, float(s)) for kind in USUAL_SCATTER for s in place.steps]
    near = [place.background(kind, float(local)) for kind in USUAL_SCATTER]
    return *near, max(every, key=lambda back: back.base)


def _backgrounds(
    place: Field, family: Family, rough: bool = False
) -> list[tuple[Background, float]]:
    """Scatters that may come with a family, with their log priors."""
    doubt = place.background("flank", NOISE_DOUBT * place.observed.flank_noise)
    still = [(place.background("none", 0.0), 1 - NOISE_DOUBTED), (doubt, NOISE_DOUBTED)]
    if family.scatter == ("none",):
        return [(back, float(np.log(share))) for back, share in still]
    kinds = family.scatter or (USUAL_SCATTER if place.rough is None else ())
    each = (1.0 if family.scatter else 1 - QUIET) / max(len(kinds) * len(place.steps), 1)
    if rough and not family.scatter:
        found = [(back, each) for back in _usual(place)]
    else:
        found = [(place.background(kind, float(s)), each) for kind in kinds for s in place.steps]
    if not family.scatter:
        found += [(back, QUIET * share) for back, share in still]
    return [(back, float(np.log(share))) for back, share in found]


@dataclass(frozen=True)
class _Members:
    """All members of a family on a background, or on several, one after the other.

    Evidence and gain of chi-square (M,), sizes (M, p), their covariances.
    """

    log: Floats
    gain: Floats
    size: Floats
    covariance: Floats


def _members(back: Background, family: Family) -> _Members:
    return _on_each([back], family)


def _on_each(backs: Sequence[Background], family: Family) -> _Members:
    """All members on one background after the other, in one array: most are few and small."""
    (count, p), many = family.plus.shape, len(backs)
    if p == 0:
        none = np.zeros(many * count)
        return _Members(none, none, np.zeros((len(none), 0)), np.zeros((len(none), 0, 0)))
    products = [back.products(family.basis) for back in backs]
    gram = np.concatenate([_of_members(every, family) for every, _ in products])
    dot = np.concatenate([dots[family.plus] - dots[family.minus] for _, dots in products])
    if family.fixed:
        gain = 2 * dot.sum(axis=1) - gram.sum(axis=(1, 2))
        return _Members(gain / 2, gain, np.ones(dot.shape), np.zeros(gram.shape))
    covariance = _inverse(gram)
    size = np.einsum("mij,mj->mi", covariance, dot)
    gain = np.einsum("mi,mi->m", size, dot)
    gain = np.where(_possible(family, size, covariance), gain, 0.0)
    g = SIZE_PRIOR
    log = 0.5 * (g / (1 + g) * gain - p * np.log(1 + g))
    return _Members(log, gain, size, covariance)


def _possible(family: Family, size: Floats, covariance: Floats) -> Bools:
    """Members whose sizes there can be, the first one's uncertainty heeded."""
    beyond = COVERAGE * np.sqrt(np.maximum(covariance[:, 0, 0], 0.0))
    least, most = family.reach
    possible = (size[:, 0] + beyond >= least) & (size[:, 0] - beyond <= most)
    if family.positive:
        possible &= ((size >= 0) | ~np.array(family.positive)).all(axis=1)
    return np.asarray(possible)


def _inverse(gram: Floats) -> Floats:
    """Inverses of small matrices, those of one and two by formula."""
    p = gram.shape[1]
    floor = 1e-9 * np.maximum(np.einsum("mii->mi", gram).max(axis=1), 1e-100)
    gram = gram + floor[:, None, None] * np.eye(p)
    if p == 1:
        return np.asarray(1 / gram)
    if p == 2:
        turned = gram[:, ::-1, ::-1].swapaxes(1, 2) * np.array([[1, -1], [-1, 1]])
        determinant = gram[:, 0, 0] * gram[:, 1, 1] - gram[:, 0, 1] ** 2
        return np.asarray(turned / determinant[:, None, None])
    return np.asarray(np.linalg.inv(gram))


def _told(back: Background, family: Family) -> Bools:
    """Members of which enough is left beside what is open, and whose columns are not alike."""
    if family.plus.shape[1] == 0 or family.fixed:
        return np.ones(len(family.plus), bool)
    gram = _of_members(back.products(family.basis)[0], family)
    whole = _of_members(back.weights(family.basis), family)
    own, all_of_it = np.einsum("mii->mi", gram), np.einsum("mii->mi", whole)
    told = (own > LEAST_TOLD * all_of_it) & (all_of_it > 0)
    if gram.shape[1] > 1:
        scale = np.sqrt(np.where(told, own, 1.0))
        shaped = gram / (scale[:, :, None] * scale[:, None, :])
        told &= (np.linalg.det(shaped) > ALIKE)[:, None]
    return np.asarray(told.all(axis=1))


def _of_members(table: Floats, family: Family) -> Floats:
    """Products of each member's columns, (M, p, p), from those of the basis's rows."""
    plus, minus = family.plus, family.minus
    found = np.empty((*plus.shape, plus.shape[1]))
    alone = bool((minus < 0).all())
    for a in range(plus.shape[1]):
        for b in range(a, plus.shape[1]):
            found[:, a, b] = table[plus[:, a], plus[:, b]]
            if not alone:
                found[:, a, b] += (
                    table[minus[:, a], minus[:, b]] - table[plus[:, a], minus[:, b]]
                    - table[minus[:, a], plus[:, b]]
                )  # fmt: skip
            found[:, b, a] = found[:, a, b]
    return found


def _best(place: Field, family: Family, tried: Ints, backs: list[Background], table: Floats) -> Fit:
    """Best member with sizes averaged over what else would do."""
    few = replace(family, plus=family.plus[tried], minus=family.minus[tried])
    b, at = np.unravel_index(int(np.argmax(table)), table.shape)
    back, member = backs[int(b)], int(tried[at])
    here = _members(back, few)
    size, covariance = here.size[at], here.covariance[at]
    weight = np.exp(table[b] - table[b].max())
    weight /= weight.sum()
    near = weight > 1e-4
    spread = weight[near] @ (np.abs(here.size[near]) - np.abs(size)) ** 2
    own = np.maximum(np.diag(covariance), 0.0)
    scatter, u_scatter = _scatter_size(place, backs, table[:, at], back)
    gain = float(here.gain[at])
    if family.companions:
        # What the telling sizes add beside the rest: their chi-square, the others left open.
        telling = slice(len(size) - family.companions)
        gain = float(size[telling] @ np.linalg.solve(covariance[telling, telling], size[telling]))
    bare = backs
    if family.scatter and family.scatter != ("none",):
        bare = [b for b, _ in _backgrounds(place, replace(family, scatter=("none",)))]
    # Without the cause the scatter may be another.
    gain += 2 * (back.base - max(b.base for b in bare))
    shape = size @ family.shape(member) if len(size) else np.zeros(len(place.observed.value))
    return Fit(
        family=family,
        member=member,
        size=size,
        u=np.sqrt(own + spread),
        scatter=scatter,
        u_scatter=u_scatter,
        kind=back.kind,
        shape=shape,
        gain=gain,
    )


def _none_of(place: Field, family: Family) -> Fit:
    """Fit of a family of which nothing can be told."""
    p = family.plus.shape[1]
    nothing = np.zeros(len(place.observed.value))
    return Fit(
        family=family, member=0, size=np.zeros(p), u=np.full(p, np.inf), scatter=0.0,
        u_scatter=0.0, kind="none", shape=nothing, gain=0.0,
    )  # fmt: skip


def _scatter_size(
    place: Field, backs: list[Background], log: Floats, best: Background
) -> tuple[float, float]:
    """Scatter and its standard uncertainty, from the likelihood of neighbouring sizes."""
    if best.kind == "none":
        return 0.0, 0.0
    same = [k for k, back in enumerate(backs) if back.kind == best.kind]
    same.sort(key=lambda k: backs[k].size)
    if len(same) < 3:
        return best.size, best.size
    sizes, values = np.log([backs[k].size for k in same]), log[same]
    k = int(np.clip(np.argmax(values), 1, len(values) - 2))
    curve = np.polyfit(sizes[k - 1 : k + 2] - sizes[k], values[k - 1 : k + 2], 2)
    bend = max(-2 * curve[0], 0.5)
    at = sizes[k] + np.clip(curve[1] / bend, -0.7, 0.7)
    return float(np.exp(at)), float(np.exp(at) / np.sqrt(bend))


def without(place: Field, fit: Fit, edges: Floats) -> Field:
    """The reading with what a cause explains left open, for looking at what remains.

    Parameters
    ----------
    fit : Fit
        Of the cause.
    edges : ndarray, shape (k, 2 z + 10)
        Further shapes to leave open.
    """
    if fit.family.fixed:
        kept = replace(place.observed, value=place.observed.value - fit.shape)
        place = Field(kept, place.taken, place.rough)
    elif len(fit.size):
        edges = np.concatenate([edges, fit.family.shape(fit.member)])
    if fit.family.scatter and fit.scatter:
        place = Field(place.observed, place.taken, (fit.kind, fit.scatter))
    return place.leaving(edges)
