"""Two looks at the edges of one gear: is a second one called for, and whose flanks hang together.

A shadow, a side wall or a bevel that is taken for the edge follows the light, so flanks that face
the light otherwise lean otherwise; those that one cutter left all lean alike. What truly is wrong
with a gear, a step of its dividing as well, stands in both looks and tells nothing of either.
"""

from dataclasses import replace
from math import hypot, sqrt

import numpy as np

from cogloupe.fits.flank_guard import flank_status
from cogloupe.fits.flanks import FlankFits
from cogloupe.fits.measured import Measured
from cogloupe.fits.teeth_axis import FAR_OFF, lean_noise, strays
from cogloupe.forms.tooth_form import OUT
from cogloupe.numerics.angles import wrapped
from cogloupe.optics.joint.evidence import odds
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.robust import median, scatter

UNLIKE_PX = 0.03
"""How far flanks may lean unlike each other, beyond their noise, without a second look: places that
are off by as much leave a single pitch 0.04 px, about what one look reaches on a lamp."""
LEAST_STRAY_PX = 1e-3
"""Flanks this near to where they should be are as good as there."""


def flanks_unlike(fits: FlankFits) -> bool:
    """Tell whether flanks lean so unlike each other that they may be no edges of one cutter's."""
    lean = strays(fits)[1]
    seen = np.isfinite(lean)
    return bool(scatter(lean[seen]) > hypot(UNLIKE_PX, median(lean_noise(fits)[seen])))


def likelier(one: Measured, two: Measured) -> Measured:
    """The one of two looks whose flanks hang together better.

    Parameters
    ----------
    one, two : Measured
        Of one gear on one picture, with the same number of teeth.

    Returns
    -------
    Measured
        With what the other has elsewhere, by its chance, in the uncertainties.
    """
    sure = surer(one.fits, two.fits)
    best, other = (two, one) if sure > 0 else (one, two)
    return _doubted(best, other, odds(abs(sure)))


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


def _doubted(best: Measured, other: Measured, chance: float) -> Measured:
    """The better look, with what the other would have made of its flanks in doubt."""
    fits, outlines, share = best.fits, best.outlines, sqrt(chance)
    places = np.roll(other.fits.unwound, _later(fits, other.fits), axis=0)
    apart = wrapped(places - fits.unwound)
    common = np.nanmedian(apart, axis=0)
    own = share * np.nan_to_num(apart - common)
    thicker = float(np.mean(OUT * common * fits.curve.measuring_arm))
    return replace(
        best,
        fits=replace(fits, u_unwound=np.hypot(fits.u_unwound, own)),
        outlines=replace(outlines, u_level_px=hypot(outlines.u_level_px, share * thicker)),
    )
