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
from cogloupe.fits.measured_gear import Measured
from cogloupe.fits.teeth_axis import (
    FAR_OFF,
    flank_angles,
    flank_angles_about,
    lean_noise,
    strays,
)
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
SURE = 2.0
"""Standard errors from which flanks speak for another explanation than the picture's own pixels do
(common practice)."""
LEAST_STRAY_PX = 1e-3
"""Flanks this near to where they should be are as good as there."""


def unlike_px(fits: FlankFits) -> float:
    """How far flanks lean unlike each other beyond their noise, root mean square along them, px."""
    if not enough_followed(fits):
        return 0.0
    lean = followed_strays(fits)[1]
    seen = np.isfinite(lean)
    noise = median(lean_noise(fits)[seen])
    return sqrt(max(scatter(lean[seen]) ** 2 - noise**2, 0.0))


def doubted(measured: Measured) -> Measured:
    """A look with its flanks' places as much in doubt as they lean unlike each other.

    What tilts an edge moves it as well, and by as much or more where it reaches all along a flank.
    """
    return in_doubt(measured, np.full(measured.fits.unwound.shape, unlike_px(measured.fits)))


@dataclass(frozen=True)
class Explanations:
    """Flanks of a gear by each explanation of its edges, from one in so many of their samples.

    Attributes
    ----------
    fits : tuple of FlankFits
        In the order of `Outlines.otherwise`; the first again where too few can be followed.
    sure : ndarray, shape (n,)
        How surely they hang together better than by the first, in standard errors.
    odds : ndarray, shape (n,)
        Chance of each against the first, as the picture's pixels have it.
    """

    fits: tuple[FlankFits, ...]
    sure: Floats
    odds: Floats

    @property
    def likeliest(self) -> int:
        """The one by which flanks hang together best."""
        return int(self.sure.argmax())


def explanations(measured: Measured) -> Explanations:
    """Flanks by each explanation of a gear's edges.

    Parameters
    ----------
    measured : Measured
        By the first of `Outlines.otherwise`.
    """
    looks = [_fitted(points, measured) for points in measured.outlines.otherwise]
    first = looks[0] if looks and looks[0] else measured.fits
    fits = (first, *(look or first for look in looks[1:]))
    sure = np.array([0.0, *(surer(first, other) for other in fits[1:])])
    return Explanations(fits, sure, np.array(measured.outlines.odds or [0.5]))


def with_explanations(measured: Measured, number: int, told: Explanations) -> Measured:
    """A gear by one explanation of its edges, with what the others leave in doubt.

    Parameters
    ----------
    number : int
        Which explanation it was measured by.
    told : Explanations
        They count by how well flanks hang together, up to what is called sure, and by what pixels
        say of them, unless flanks had the last word.
    """
    best = told.fits[number]
    by_pixels = told.odds / (1 - told.odds)
    by_pixels[number] = 1.0
    weight = np.exp(np.minimum(told.sure, SURE)) * by_pixels
    share = weight / weight.sum()
    common, own = zip(*(_apart(best, other) for other in told.fits), strict=True)
    square = np.tensordot(share, np.nan_to_num(np.stack(own)) ** 2, axes=1)
    own_px = np.roll(np.sqrt(square), _later(measured.fits, best), axis=0)
    return in_doubt(measured, own_px, float(np.sqrt(share @ np.square(common))))


def _fitted(points: EdgePoints, measured: Measured) -> FlankFits | None:
    """Flanks of an outline of the same gear; None where too few can be followed."""
    teeth, fits = measured.teeth, measured.fits
    rough = (teeth.root_radius, teeth.tip_radius)
    try:
        mapped = map_teeth(points.xy, fits.centre, rough, teeth.teeth, not measured.region.cut_off)
    except PhotoError:
        return None
    fitted = fit_flanks(points, mapped, fits.centre, replace(fits.curve, tooth_high=None))
    return fitted if enough_followed(fitted) else None


def enough_followed(fits: FlankFits) -> bool:
    """Whether flanks enough were followed to be told to lean unlike each other."""
    return int((flank_status(fits) == "ok").sum()) >= FEWEST


def in_doubt(measured: Measured, own_px: Floats, common_px: float = 0.0) -> Measured:
    """The same with further standard uncertainties, of each flank's place and of all alike."""
    fits, outlines = measured.fits, measured.outlines
    wider = np.hypot(fits.u_unwound, own_px / fits.curve.measuring_arm)
    explained = hypot(outlines.u_explained_px, common_px)
    return replace(
        measured,
        fits=replace(fits, u_unwound=wider),
        outlines=replace(outlines, u_explained_px=explained),
    )


def agree(one: FlankFits, two: FlankFits) -> bool:
    """Tell whether two looks see the same flanks, so that how these lean is the gear's own.

    A wrong edge is off by as much as it tilts flanks or more; looks nearer together than the first
    has its flanks lean unlike do not owe that to their edges.
    """
    own = _apart(one, two)[1]
    own = own[np.isfinite(own)]
    return len(own) >= FEWEST and scatter(own) < max(UNLIKE_PX, unlike_px(one))


def likelier(one: Measured, two: Measured) -> Measured:
    """The one of two looks whose flanks hang together better.

    With what the other has elsewhere, by its chance, in the uncertainties. Where flanks lean unlike
    each other in both, and the looks differ, neither is to be trusted further.

    Parameters
    ----------
    one, two : Measured
        Of one gear on one picture, with the same number of teeth.
    """
    sure = surer(one.fits, two.fits)
    best, other = (two, one) if sure > 0 else (one, two)
    common, own = _apart(best.fits, other.fits)
    chance = odds(abs(sure))
    astray = min(unlike_px(best.fits), scatter(own[np.isfinite(own)]))
    own = np.hypot(astray, sqrt(chance) * np.nan_to_num(own))
    return in_doubt(best, own, sqrt(chance) * common)


def surer(one: FlankFits, two: FlankFits) -> float:
    """How surely the second of two looks has the flanks hang together better.

    In standard errors of what the flanks say; negative where the first does, and where the second
    cannot follow enough of them.

    Parameters
    ----------
    one, two : FlankFits
        With the same number of teeth; they may be counted from another one.
    """
    if not (enough_followed(one) and enough_followed(two)):
        return -np.inf
    later = _later(one, two)
    pairs = zip(
        abs(followed_strays(one)), np.roll(abs(followed_strays(two)), later, axis=1), strict=True
    )
    gains, errors = zip(*(_gain(*pair) for pair in pairs), strict=True)
    return float(sum(gains) / max(hypot(*errors), 1e-9))


def _later(one: FlankFits, two: FlankFits) -> int:
    """By how many teeth the second look begins to count later than the first."""
    off = np.nanmedian(wrapped(two.unwound - one.unwound))
    return int(np.rint(off * len(one.unwound) / (2 * np.pi)))


def followed_strays(fits: FlankFits) -> Floats:
    """How far flanks stray that were followed without a break, as `strays` has it; else NaN."""
    followed = flank_status(fits) == "ok"
    places, slopes = (np.where(followed, each, np.nan) for each in (fits.unwound, fits.slope))
    return strays(replace(fits, unwound=places, slope=slopes))


def _gain(one: Floats, two: Floats) -> tuple[float, float]:
    """Mean gain of a flank by the second look, natural logarithm, and its standard error.

    A flank that one look alone can follow counts in the other like those that are set aside.
    """
    seen = np.isfinite(one) | np.isfinite(two)
    more = np.subtract(*(np.log(_filled(each)[seen] + LEAST_STRAY_PX) for each in (one, two)))
    return float(more.mean()), float(more.std(ddof=1)) / sqrt(len(more))


def _filled(stray: Floats) -> Floats:
    seen = np.isfinite(stray)
    return np.where(seen, stray, FAR_OFF * scatter(stray[seen]))


def _apart(best: FlankFits, other: FlankFits) -> tuple[float, Floats]:
    """How far out of the material the other look has all flanks, and each one besides, px.

    A gear that lies elsewhere as a whole is none of it; flanks not followed in both are NaN.
    """
    later = _later(best, other)
    places = np.roll(flank_angles_about(other, best.centre), later, axis=0)
    out = OUT * wrapped(places - flank_angles(best)) * best.curve.measuring_arm
    own = np.roll(followed_strays(other)[0], later, axis=0) - followed_strays(best)[0]
    return float(np.nanmedian(out, axis=0).mean()), own
