"""Which tooth form the flanks of a gear follow: their mean curve against forms of one parameter.

The mean curve of a side is what all its fitted flanks have in common, so that dirt and pitch errors
drop out. Lengths px, angles rad.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import cos, radians
from typing import TypeVar

import numpy as np

from cogloupe.fits.flanks import FlankFits
from cogloupe.forms.cycloid import CycloidalForm, Epicycloid, RoundTop
from cogloupe.forms.involute import InvoluteForm
from cogloupe.forms.tooth_form import FormName, ToothForm
from cogloupe.numerics.grouped import grouped_medians
from cogloupe_calibration.arrays import Floats

Curve = Callable[[float, float], Epicycloid | RoundTop]
AnyForm = TypeVar("AnyForm", bound=ToothForm)

STRETCHES = 24
"""Stretches of a mean flank: enough for the bow of a form, few enough for the noise of each."""
ROLLING = (0.04, 4.0)
"""Radii of rolling circles that are tried, in pitch radii: from a pinion of 6 on a wheel of 75 to
a wheel of 96 on a pinion of 6, with some to spare."""
ARCS = (0.03, 1.0)
"""Radii of rounded tops that are tried, in pitch radii."""
BASES = (cos(radians(32)), cos(radians(10)))
"""Base circles that are tried, in pitch radii: the pressure angles that can be stated."""
JUDGED_BELOW = 0.25
"""How far below the reference circle flanks tell their form, in modules."""
TELLING_PX, TELLING_SHARE = 0.15, 0.5
"""Another form is named where the stated one misses the mean flanks by so many px, and the other by
at most this share of it."""


@dataclass(frozen=True)
class MeanFlank:
    """Curve that the flanks of each side have in common.

    Attributes
    ----------
    radius : ndarray, shape (n,)
        Px.
    turn : ndarray, shape (2, n)
        Mean turn of left and right flanks, rad, as `ToothForm.turn`; NaN where none was seen.
    measuring_radius : float
        Px.
    """

    radius: Floats
    turn: Floats
    measuring_radius: float


def mean_flank(fits: FlankFits) -> MeanFlank:
    """Common curve of each side of a gear's flanks.

    Parameters
    ----------
    fits : FlankFits
        Fitted against any form; its own turn is put back.
    """
    curve, points = fits.curve, fits.points
    radius = np.hypot(*(points.xy - fits.centre).T)
    low, high = curve.low_radius, curve.high_radius
    cell = np.clip(((radius - low) / (high - low) * STRETCHES).astype(int), 0, STRETCHES - 1)
    side = points.flank % 2
    own = points.unwound - (fits.unwound - fits.nominal).ravel()[points.flank]
    # Medians of all points, also of those set aside: about a wrong form that is the flank itself.
    use = points.good & np.isfinite(own)
    index = (side * STRETCHES + cell)[use]
    middles, count = grouped_medians(index, (points.sign * own)[use], 2 * STRETCHES)
    mean = np.where(count > 3, middles, np.nan).reshape(2, -1)
    middle = low + (np.arange(STRETCHES) + 0.5) / STRETCHES * (high - low)
    form = np.stack([curve.form.turn(middle, s) for s in (0, 1)])
    return MeanFlank(middle, form - mean, curve.measuring_radius)


def misfit(mean: MeanFlank, form: ToothForm) -> float:
    """Root mean square distance of the mean flanks from a form laid on them as well as it goes.

    Px along the normal.

    Parameters
    ----------
    form : ToothForm
        In px.
    """
    residual = []
    for side in (0, 1):
        arm = form.arm(mean.radius, side)
        off = (form.turn(mean.radius, side) - mean.turn[side]) * arm
        seen = np.isfinite(off)
        if seen.sum() > 3:
            turned = float(arm[seen] @ off[seen] / (arm[seen] @ arm[seen]))
            residual.append(off[seen] - turned * arm[seen])
    return float(np.sqrt(np.mean(np.concatenate(residual) ** 2))) if residual else float("nan")


def _best(
    mean: MeanFlank, make: Callable[[float], AnyForm], bounds: tuple[float, float]
) -> tuple[AnyForm, float]:
    """The best form of a family of one parameter, which runs evenly by its logarithm."""
    from scipy.optimize import minimize_scalar  # slow to import, and few readings need it

    tries = np.geomspace(*bounds, 24)
    values = np.array([misfit(mean, make(value)) for value in tries])
    if not np.isfinite(values).any():
        return make(float(tries[0])), float("nan")
    k = int(np.nanargmin(values))
    around = np.log((tries[max(k - 1, 0)], tries[min(k + 1, len(tries) - 1)]))
    found = minimize_scalar(
        lambda x: misfit(mean, make(float(np.exp(x)))), bounds=tuple(around), method="bounded",
        options={"xatol": 1e-4},
    )  # fmt: skip
    return make(float(np.exp(found.x))), float(found.fun)


def best_cycloidal(mean: MeanFlank, pitch_radius: float) -> tuple[CycloidalForm, float]:
    """The cycloidal form, with an epicycloid or a rounded top, that the mean flanks follow best.

    Parameters
    ----------
    pitch_radius : float
        Px.

    Returns
    -------
    CycloidalForm
    float
        Its misfit, px.
    """
    # A curve that does not reach as far out as the flanks were seen cannot have made them.
    seen = mean.radius[np.isfinite(mean.turn).any(axis=0)]
    reach = float(seen.max(initial=0.0)) / pitch_radius - 1
    rolling, arcs = max(ROLLING[0], reach / 2), max(ARCS[0], reach)

    def form(make: Curve) -> Callable[[float], CycloidalForm]:
        return lambda size: CycloidalForm(make(pitch_radius, size * pitch_radius))

    found = (
        _best(mean, form(Epicycloid), (rolling, ROLLING[1])),
        _best(mean, form(RoundTop), (arcs, ARCS[1])),
    )
    return min(found, key=lambda pair: pair[1])


def best_involute(mean: MeanFlank, pitch_radius: float) -> tuple[InvoluteForm, float]:
    """The involute, of any base circle, that the mean flanks follow best.

    Parameters
    ----------
    pitch_radius : float
        Px.

    Returns
    -------
    InvoluteForm
    float
        Its misfit, px.
    """
    return _best(mean, lambda share: InvoluteForm(share * pitch_radius), BASES)


def other_form(fits: FlankFits, pitch_radius: float) -> FormName | None:
    """The form that the flanks follow better than the stated one, if they do so clearly.

    Parameters
    ----------
    fits : FlankFits
        Fitted against the stated form.
    pitch_radius : float
        Of the reference circle, px.

    Returns
    -------
    {'involute', 'cycloidal'} or None

    Notes
    -----
    Each form is given the best of its own parameter, so that a wrong pressure angle or generating
    circle is not taken for a wrong form. Only what stands above, or little below, the reference
    circle is judged: further down there may be fillets and undercut.
    """
    stated = fits.curve.form.name
    if stated == "straight":
        return None
    mean = mean_flank(fits)
    deep = pitch_radius * (1 - 2 * JUDGED_BELOW / len(fits.unwound))
    mean = replace(mean, turn=np.where(mean.radius > deep, mean.turn, np.nan))
    if misfit(mean, fits.curve.form) < TELLING_PX:
        return None
    found: dict[FormName, float] = {
        "involute": best_involute(mean, pitch_radius)[1],
        "cycloidal": best_cycloidal(mean, pitch_radius)[1],
    }
    other: FormName = "cycloidal" if stated == "involute" else "involute"
    telling = found[stated] > TELLING_PX and found[other] < TELLING_SHARE * found[stated]
    return other if telling else None
