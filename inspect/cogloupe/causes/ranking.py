"""Ranks causes by how well the shapes they leave explain a reading.

Each cause offers families of shapes: columns over the vector of `patterns.Observed`, with unknown
sizes, and the scatter that may come on top. The evidence for a family is the likelihood of the
reading averaged over the sizes, positions and scatter it allows, so a cause that could have left
anything is worth less than one that left just this. "No cause" is ranked among them.

The prior of sizes is Zellner's g-prior: before the reading, a size is taken to be some sqrt(g)
times its own standard uncertainty, whatever its unit. Then, for p sizes that lower chi-square by
D, the likelihood ratio against no shape is ``(1 + g)^(-p/2) exp(g / (1 + g) D / 2)`` (A. Zellner
1986, from memory). Offsets that a reading leaves open are taken out by restricted likelihood
(REML).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from cogloupe.causes.model import Background, Family, Field, Scatter
from cogloupe_calibration.arrays import Floats

SIZE_PRIOR = 50.0
"""g of the g-prior: sizes up to some seven standard uncertainties are expected."""
NOISE_DOUBT, NOISE_DOUBTED = 0.6, 0.3
"""How much more each flank may err than a reading states, in its own terms and put under the root,
and the prior of that: a sixth more was met on simulated pictures."""
QUIET = 0.85
"""Prior of a pattern without scatter on top that shows; the rest is for two faults at once (common
practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class Fit:
    """The best member of a family.

    Attributes
    ----------
    family : Family
    member : int
    size : ndarray, shape (p,)
        Fitted sizes.
    u : ndarray, shape (p,)
        Their standard uncertainties, with what other members and scatters would have given.
    scatter, u_scatter : float
        Standard deviation of the scatter, µm, and its standard uncertainty.
    kind : str
        Kind of that scatter.
    shape : ndarray, shape (2 z + 9,)
        What the cause would leave at these sizes.
    """

    family: Family
    member: int
    size: Floats
    u: Floats
    scatter: float
    u_scatter: float
    kind: Scatter
    shape: Floats


def evidence(place: Field, families: Sequence[Family]) -> tuple[float, Fit]:
    """Log of the averaged likelihood of a cause's families, and their best fit.

    Parameters
    ----------
    place : Field
    families : sequence of Family
        At least one.

    Returns
    -------
    float, Fit
    """
    total = float(np.log(sum(family.weight for family in families)))
    logs, found = [], []
    for family in families:
        log, fit = _family_evidence(place, family)
        logs.append(log + np.log(family.weight) - total)
        found.append(fit)
    return float(logsumexp(logs)), found[int(np.argmax(logs))]()


def _family_evidence(place: Field, family: Family) -> tuple[float, Callable[[], Fit]]:
    """Evidence of a family; its best fit is worked out only when asked for."""
    options = _backgrounds(place, family)
    table = np.stack([back.base + _members(back, family).log + w for back, w in options])
    log = float(logsumexp(table)) - np.log(max(len(family.plus), family.stands_for))
    return log, lambda: _best(place, family, [b for b, _ in options], table)


def _backgrounds(place: Field, family: Family) -> list[tuple[Background, float]]:
    """Scatters that may come with a family, with their log priors."""
    doubt = place.background("flank", NOISE_DOUBT * place.observed.flank_noise)
    still = [(place.background("none", 0.0), 1 - NOISE_DOUBTED), (doubt, NOISE_DOUBTED)]
    if family.scatter == ("none",):
        return [(back, float(np.log(share))) for back, share in still]
    kinds: tuple[Scatter, ...] = family.scatter or ("flank", "gap")
    each = (1.0 if family.scatter else 1 - QUIET) / len(kinds) / len(place.steps)
    found = [(place.background(kind, float(s)), each) for kind in kinds for s in place.steps]
    if not family.scatter:
        found += [(back, QUIET * share) for back, share in still]
    return [(back, float(np.log(share))) for back, share in found]


@dataclass(frozen=True)
class _Members:
    """All members of a family on one background: evidence, sizes (M, p), their covariances."""

    log: Floats
    size: Floats
    covariance: Floats


def _members(back: Background, family: Family) -> _Members:
    count, p = family.plus.shape
    if p == 0:
        return _Members(np.zeros(count), np.zeros((count, 0)), np.zeros((count, 0, 0)))
    gram, dot = _products(back, family)
    if family.fixed:
        gain = 2 * dot.sum(axis=1) - gram.sum(axis=(1, 2))
        return _Members(gain / 2, np.ones((count, p)), np.zeros((count, p, p)))
    scale = np.sqrt(np.maximum(np.einsum("mii->mi", gram), 1e-12))
    ridge = gram / (scale[:, :, None] * scale[:, None, :]) + 1e-9 * np.eye(p)
    covariance = np.linalg.inv(ridge) / (scale[:, :, None] * scale[:, None, :])
    size = np.einsum("mij,mj->mi", covariance, dot)
    gain = np.einsum("mi,mi->m", size, dot)
    if family.positive:
        gain = np.where(((size >= 0) | ~np.array(family.positive)).all(axis=1), gain, 0.0)
    g = SIZE_PRIOR
    return _Members(0.5 * (g / (1 + g) * gain - p * np.log(1 + g)), size, covariance)


def _products(back: Background, family: Family) -> tuple[Floats, Floats]:
    """Inner products of each member's columns, (M, p, p), and with the figures, (M, p)."""
    plus, minus = family.plus, family.minus
    if (minus < 0).all():
        rows = family.basis[:, back.seen]
        half = rows @ back.omega
        return np.einsum("man,mbn->mab", half[plus], rows[plus]), (rows @ back.residual)[plus]
    every, dot = back.products(family.basis)
    p = plus.shape[1]
    gram = np.empty((len(plus), p, p))
    for a in range(p):
        for b in range(p):
            gram[:, a, b] = (
                every[plus[:, a], plus[:, b]] - every[plus[:, a], minus[:, b]]
                - every[minus[:, a], plus[:, b]] + every[minus[:, a], minus[:, b]]
            )  # fmt: skip
    return gram, dot[plus] - dot[minus]


def _best(place: Field, family: Family, backs: list[Background], table: Floats) -> Fit:
    """Best member with sizes averaged over what else would do."""
    b, member = np.unravel_index(int(np.argmax(table)), table.shape)
    back = backs[int(b)]
    here = _members(back, family)
    size, covariance = here.size[member], here.covariance[member]
    weight = np.exp(table[b] - table[b].max())
    weight /= weight.sum()
    near = weight > 1e-4
    spread = weight[near] @ (np.abs(here.size[near]) - np.abs(size)) ** 2
    own = np.maximum(np.diag(covariance), 0.0)
    scatter, u_scatter = _scatter_size(place, backs, table[:, member], back)
    shape = size @ family.shape(int(member)) if len(size) else np.zeros(len(place.observed.value))
    return Fit(
        family=family,
        member=int(member),
        size=size,
        u=np.sqrt(own + spread),
        scatter=scatter,
        u_scatter=u_scatter,
        kind=back.kind,
        shape=shape,
    )


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
    place : Field
    fit : Fit
        Of the cause.
    edges : ndarray, shape (k, 2 z + 9)
        Further shapes to leave open.

    Returns
    -------
    Field
    """
    taken = np.concatenate([place.taken, edges])
    rough = (fit.kind, fit.scatter) if fit.family.scatter and fit.scatter else place.rough
    if fit.family.fixed:
        kept = replace(place.observed, value=place.observed.value - fit.shape)
        return Field(kept, taken, rough)
    if len(fit.size):
        taken = np.concatenate([taken, fit.family.shape(fit.member)])
    return Field(place.observed, taken, rough)
