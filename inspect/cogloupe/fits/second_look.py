"""Two looks at the edges of one gear: is a second one called for, and whose flanks hang together.

A shadow, a side wall or a bevel that is taken for the edge follows the light, so flanks that face
the light otherwise lean otherwise; those that one cutter left all lean alike. What truly is wrong
with a gear, a step of its dividing as well, stands in both looks and tells nothing of either.
"""

from dataclasses import dataclass, replace
from math import hypot, sqrt

import numpy as np

from cogloupe.finding.tooth_map import map_teeth
from cogloupe.fits.flank_guard import flank_status
from cogloupe.fits.flanks import FlankFits, fit_flanks
from cogloupe.fits.measured import Measured
from cogloupe.fits.teeth_axis import FAR_OFF, lean_noise, strays
from cogloupe.forms.tooth_form import OUT
from cogloupe.numerics.angles import wrapped
from cogloupe.optics.joint.evidence import odds
from cogloupe.optics.sampling import EdgePoints
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import PhotoError
from cogloupe_calibration.robust import median, scatter

UNLIKE_PX = 0.03
"""How far flanks may lean unlike each other, beyond their noise, without a second look: places that
are off by as much leave a single pitch 0.04 px, about what one look reaches on a lamp."""
FEWEST = 8
"""Flanks that can be told to lean unlike each other: an axis and both sides' slopes take four."""
SURE = 2.5
"""Standard errors from which flanks speak for another explanation than the picture's own pixels do:
of half a dozen chance leaves one so far off in one of ten times."""
LEAST_STRAY_PX = 1e-3
"""Flanks this near to where they should be are as good as there."""


def unlike_px(fits: FlankFits) -> float:
    """How far flanks lean unlike each other beyond their noise, root mean square along them, px."""
    lean = strays(fits)[1]
    seen = np.isfinite(lean)
    if seen.sum() < FEWEST:
        return 0.0
    noise = median(lean_noise(fits)[seen])
    return sqrt(max(scatter(lean[seen]) ** 2 - noise**2, 0.0))


def doubted(measured: Measured) -> Measured:
    """A look with its flanks' places as much in doubt as they lean unlike each other.

    What tilts an edge moves it as well, and by as much or more where it reaches all along a flank.
    """
    return _in_doubt(measured, np.full(measured.fits.unwound.shape, unlike_px(measured.fits)))


@dataclass(frozen=True)
class Explained:
    """Which explanation of its edges the flanks of a gear call for.

    Attributes
    ----------
    chosen : int
        Of `Outlines.otherwise`: the first where no other is surely better.
    fits : FlankFits
        Flanks as it has them.
    common_px : float
        Standard uncertainty of all flanks alike, out of the material, for what the others have.
    own_px : ndarray, shape (z, 2)
        The same of each flank by itself.
    """

    chosen: int
    fits: FlankFits
    common_px: float
    own_px: Floats


def among_explanations(measured: Measured) -> Explained:
    """Choose the explanation by which the flanks of a gear hang together.

    Parameters
    ----------
    measured : Measured
        By the first of `Outlines.otherwise`.

    Returns
    -------
    Explained
        Explanations count by how well flanks hang together, up to what is called sure.
    """
    looks = [_fitted(points, measured) for points in measured.outlines.otherwise]
    first = looks[0] if looks else None
    if first is None:
        return Explained(0, measured.fits, 0.0, np.zeros(measured.fits.unwound.shape))
    sure = np.array([-np.inf if other is None else surer(first, other) for other in looks])
    sure[0] = 0.0
    chosen = int(sure.argmax()) if sure.max() > SURE else 0
    best = looks[chosen] or first
    weight = np.exp(np.minimum(sure, SURE))
    apart = [(0.0, 0 * best.unwound) if other is None else _apart(best, other) for other in looks]
    common, own = (np.stack([np.nan_to_num(one[k]) for one in apart]) for k in (0, 1))
    share = weight / weight.sum()
    own_px = np.sqrt(np.tensordot(share, own**2, axes=1))
    common_px = float(np.sqrt(share @ common**2))
    if chosen:  # what the pixels left open of all edges alike, no lean of flanks tells
        common_px = hypot(common_px, measured.outlines.u_level_px)
    return Explained(chosen, best, common_px, own_px)


def with_explanation(measured: Measured, explained: Explained) -> Measured:
    """A gear measured by an explanation, with what the others leave in doubt."""
    own = np.roll(explained.own_px, _later(measured.fits, explained.fits), axis=0)
    return _in_doubt(measured, own, explained.common_px)


def _fitted(points: EdgePoints, measured: Measured) -> FlankFits | None:
    """Flanks of an outline of the same gear; None where its teeth cannot be told."""
    teeth, fits = measured.teeth, measured.fits
    rough = (teeth.root_radius, teeth.tip_radius)
    try:
        mapped = map_teeth(points.xy, fits.centre, rough, teeth.teeth, not measured.region.cut_off)
    except PhotoError:
        return None
    return fit_flanks(points, mapped, fits.centre, replace(fits.curve, tooth_high=None))


def _in_doubt(measured: Measured, own_px: Floats, common_px: float = 0.0) -> Measured:
    """The same with further standard uncertainties, of each flank's place and of all alike."""
    fits, outlines = measured.fits, measured.outlines
    wider = np.hypot(fits.u_unwound, own_px / fits.curve.measuring_arm)
    level = hypot(outlines.u_level_px, common_px)
    return replace(
        measured,
        fits=replace(fits, u_unwound=wider),
        outlines=replace(outlines, u_level_px=level),
    )


def likelier(one: Measured, two: Measured) -> Measured:
    """The one of two looks whose flanks hang together better.

    Parameters
    ----------
    one, two : Measured
        Of one gear on one picture, with the same number of teeth.

    Returns
    -------
    Measured
        With what the other has elsewhere, by its chance, in the uncertainties. Where flanks lean
        unlike each other in both, and the looks differ, neither is to be trusted further.
    """
    sure = surer(one.fits, two.fits)
    best, other = (two, one) if sure > 0 else (one, two)
    common, own = _apart(best.fits, other.fits)
    chance = odds(abs(sure))
    astray = min(unlike_px(best.fits), scatter(own[np.isfinite(own)]))
    own = np.hypot(astray, sqrt(chance) * np.nan_to_num(own))
    return _in_doubt(best, own, sqrt(chance) * common)


def surer(one: FlankFits, two: FlankFits) -> float:
    """How surely the second of two looks has the flanks hang together better.

    Parameters
    ----------
    one, two : FlankFits
        With the same number of teeth; they may be counted from another one.

    Returns
    -------
    float
        In standard errors of what the flanks say; negative where the first does.
    """
    later = _later(one, two)
    pairs = zip(_followed(one), np.roll(_followed(two), later, axis=1), strict=True)
    gains, errors = zip(*(_gain(*pair) for pair in pairs), strict=True)
    return float(sum(gains) / max(hypot(*errors), 1e-9))


def _later(one: FlankFits, two: FlankFits) -> int:
    """By how many teeth the second look begins to count later than the first."""
    off = np.nanmedian(wrapped(two.unwound - one.unwound))
    return int(np.rint(off * len(one.unwound) / (2 * np.pi)))


def _followed(fits: FlankFits) -> Floats:
    """How far flanks stray that were followed without a break, shape (2, z, 2); else NaN."""
    return np.where(flank_status(fits) == "ok", np.abs(strays(fits)), np.nan)


def _gain(one: Floats, two: Floats) -> tuple[float, float]:
    """Mean gain of a flank by the second look, natural logarithm, and its standard error.

    A flank that one look alone can follow counts in the other like those that are set aside.
    """
    seen = np.isfinite(one) | np.isfinite(two)
    more = np.subtract(*(np.log(_filled(each)[seen] + LEAST_STRAY_PX) for each in (one, two)))
    return float(more.mean()), float(more.std(ddof=1)) / sqrt(len(more))


def _filled(stray: Floats) -> Floats:
    seen = stray[np.isfinite(stray)]
    # Half of them stray less than the median, which is 0.67 standard deviations.
    return np.where(np.isfinite(stray), stray, FAR_OFF * median(seen) / 0.6745)


def _apart(best: FlankFits, other: FlankFits) -> tuple[float, Floats]:
    """How far out of the material the other look has all flanks, and each one besides, px."""
    places = np.roll(other.unwound, _later(best, other), axis=0)
    out = OUT * wrapped(places - best.unwound) * best.curve.measuring_arm
    common = np.nanmedian(out, axis=0)
    return float(common.mean()), np.asarray(out - common)
