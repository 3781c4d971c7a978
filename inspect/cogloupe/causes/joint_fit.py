"""The sizes of all causes that were found, fitted together.

A cause is found before those that are found after it, so its size then holds what they did. Here
each is sized with the others left open, and against what all of them leave.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from cogloupe.causes.model import Field, Scatter
from cogloupe.causes.observed_pattern import Observed
from cogloupe.causes.ranking import USUAL_SCATTER, Fit
from cogloupe_calibration.arrays import Floats

TOLD_APART = 0.02
"""Share of a shape's weight that must be left beside the other causes for it to be sized anew."""


def sized_together(observed: Observed, fits: Sequence[Fit], edges: Floats) -> list[Fit]:
    """Size the causes that were found with one another.

    In the same order. Uncertainties are those of the fit together, with the scatter that it leaves,
    and no smaller than what was found of each alone.

    Parameters
    ----------
    fits : sequence of Fit
        As found, one after the other.
    edges : ndarray, shape (k, 2 z + 10)
        Further shapes to leave open: flanks that were cut half a step.
    """
    place = _explained(observed, fits, edges)
    return [_sized(place, fit, fits, edges) for fit in fits]


def _explained(observed: Observed, fits: Sequence[Fit], edges: Floats) -> Field:
    """The reading with all shapes left open, sizes that are known taken off, scatter put in."""
    known = sum(
        (fit.shape for fit in fits if fit.family.fixed), start=np.zeros(len(observed.value))
    )
    scatters = [(fit.kind, fit.scatter) for fit in fits if fit.family.scatter and fit.scatter]
    open_shapes = np.concatenate([edges, *(_columns(fit) for fit in fits)])
    observed = replace(observed, value=observed.value - known)
    place = Field(observed, open_shapes, scatters[0] if scatters else None)
    return place if scatters else Field(observed, open_shapes, _scatter_left(place))


def _scatter_left(place: Field) -> tuple[Scatter, float]:
    """The likeliest of the usual scatters for what the causes leave, where none was found."""
    tried = [place.background("none", 0.0)]
    tried += [place.background(k, float(s)) for k in USUAL_SCATTER for s in place.steps]
    best = max(tried, key=lambda back: back.base)
    return best.kind, best.size


def _columns(fit: Fit) -> Floats:
    if fit.family.fixed or not len(fit.size):
        return np.zeros((0, len(fit.shape)))
    return fit.family.shape(fit.member)


def _sized(place: Field, fit: Fit, fits: Sequence[Fit], edges: Floats) -> Fit:
    own = _columns(fit)
    if not len(own):
        return fit
    others = [_columns(other) for other in fits if other is not fit]
    alone = Field(place.observed, np.concatenate([edges, *others]), place.rough)
    back = alone.background("none", 0.0)
    rows = own[:, back.seen]
    inner, whole = rows @ back.omega @ rows.T, rows @ back.whole @ rows.T
    if (np.diag(inner) < TOLD_APART * np.diag(whole)).any():
        return fit
    covariance = np.linalg.pinv(inner, hermitian=True)
    size = covariance @ (rows @ back.residual)
    u = np.maximum(np.sqrt(np.diag(covariance)), fit.u)
    return replace(fit, size=size, u=u, shape=size @ own)
